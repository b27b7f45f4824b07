import { useEffect, useState } from "preact/hooks";
import { outboxFiles, type Carried, type OutboxFile } from "../../outbox-file.ts";
import { ageOf, type Age, type Waiting } from "../../store.ts";
import { strings } from "../../strings.ts";
import { install, installOffer } from "../offline.ts";
import { Dock, BackButton, Heading, Icon, Notice } from "../parts.tsx";
import {
  askToKeep,
  lasting,
  lastSent,
  lastTried,
  outbox,
  phone,
  room,
  send,
  sending,
  sendRefusedAgain,
  store,
} from "../state.ts";

const LINES_SHOWN = 60;

/** What the service does not have yet, how old it is, what it refused, and the other way there. */
export function Unsent({ loss }: { loss: string }) {
  const waiting = outbox.value;
  const refused = waiting.filter((one) => one.refused !== null);
  const events = waiting.filter((one) => one.kind === "event").length;
  const now = Date.now();
  const oldest = Math.min(now, ...waiting.map((one) => one.since));
  const age = ageOf(waiting, now);
  const shown = [...refused, ...waiting.filter((one) => one.refused === null)].slice(
    0,
    LINES_SHOWN,
  );
  return (
    <div class="stack">
      <Heading title={strings.unsentHeading} lead={strings.thisPhone(phone.value?.name ?? "")} />
      {waiting.length === 0 ? (
        <Notice kind="done" title={strings.nothingUnsent} />
      ) : (
        <>
          {age !== "calm" && <AgeNotice age={age} />}
          <dl class="figures">
            <Figure term={strings.unsentEvents} value={String(events)} />
            <Figure term={strings.unsentPhotos} value={String(waiting.length - events)} />
            <Figure
              term={strings.unsentOldest}
              value={strings.ago(Math.floor((now - oldest) / 60_000))}
            />
          </dl>
          <LastTry now={now} />
        </>
      )}
      {refused.length > 0 && (
        <Notice kind="error" title={strings.refusedList}>
          <p>{strings.someRefused}</p>
        </Notice>
      )}
      <Keeping />
      {waiting.length > 0 && (
        <>
          <ul class="waiting panel">
            {shown.map((one) => (
              <WaitingLine key={one.key} waiting={one} now={now} />
            ))}
            {waiting.length > shown.length && (
              <li>{strings.moreWaiting(waiting.length - shown.length)}</li>
            )}
          </ul>
          <ToFile />
        </>
      )}
      <Dock>
        <BackButton to={{ at: "pieces", loss }} />
        {waiting.length > 0 && (
          <button
            type="button"
            class="button button--primary button--field"
            disabled={sending.value}
            onClick={() => void (refused.length > 0 ? sendRefusedAgain() : send())}
          >
            <Icon name="send" />
            {sending.value ? strings.sending : strings.sendNow}
          </button>
        )}
      </Dock>
    </div>
  );
}

function AgeNotice({ age }: { age: Exclude<Age, "calm"> }) {
  return (
    <div class={`age age--${age}`}>
      <Icon name={age === "over_day" ? "clock" : "caution"} size={28} />
      <div>
        <p class="age__title">{strings.ageTitle[age]}</p>
        <p>{strings.ageText}</p>
      </div>
    </div>
  );
}

/** What the last attempt came to, and when it was. */
function LastTry({ now }: { now: number }) {
  const sent = lastSent.value;
  const tried = lastTried.value;
  const when = tried !== null && (
    <p>{strings.lastTry(Math.max(0, Math.floor((now - tried) / 60_000)))}</p>
  );
  if (sent?.outcome === "not_reached") {
    return (
      <Notice kind="caution" title={strings.loadFailed}>
        <p>{strings.notReached}</p>
        {when}
      </Notice>
    );
  }
  if (sent?.outcome === "service_refused") {
    return (
      <Notice kind="error" title={strings.allRefused}>
        <p>{sent.why}</p>
        {when}
      </Notice>
    );
  }
  return null;
}

/** Whether the phone has room, and whether the browser may take it back. */
function Keeping() {
  const left = room.value;
  return (
    <>
      {left?.scarce && (
        <Notice kind="caution" title={strings.roomScarce(megabytes(left.left))}>
          <p>{strings.roomScarceText}</p>
        </Notice>
      )}
      {!lasting.value && (
        <Notice kind="note" title={strings.mayBeCleared}>
          <p>{strings.mayBeClearedText}</p>
          <div class="row row--ask">
            {installOffer.value !== null && (
              <button
                type="button"
                class="button button--field"
                onClick={() => void install().then(askToKeep)}
              >
                {strings.installApp}
              </button>
            )}
            <button
              type="button"
              class="button button--field"
              onClick={() => void askToKeep()}
            >
              {strings.askAgain}
            </button>
          </div>
        </Notice>
      )}
    </>
  );
}

/** Everything unsent as files: shared where the phone can share them, else downloaded. */
export function ToFile() {
  const [carried, setCarried] = useState<Carried | null>(null);
  const [busy, setBusy] = useState(false);
  const [failed, setFailed] = useState(false);

  const make = async () => {
    setBusy(true);
    setFailed(false);
    try {
      setCarried(await outboxFiles(store, new Date()));
    } catch {
      setFailed(true);
    } finally {
      setBusy(false);
    }
  };

  return (
    <section class="panel">
      <h2>{strings.fileHeading}</h2>
      <p>{strings.fileText}</p>
      <button
        type="button"
        class="button button--field button--wide"
        disabled={busy}
        onClick={() => void make()}
      >
        <Icon name="download" />
        {busy ? strings.makingFile : strings.makeFile}
      </button>
      {failed && <Notice kind="error" title={strings.fileFailed} />}
      {carried !== null && carried.unreadable.length > 0 && (
        <Notice kind="error" title={strings.photosUnreadable(carried.unreadable.length)} />
      )}
      {carried !== null && (
        <ul class="file-list" aria-live="polite">
          {carried.files.map((one) => (
            <FileLine key={one.name} file={one} />
          ))}
        </ul>
      )}
    </section>
  );
}

function FileLine({ file }: { file: OutboxFile }) {
  const [href, setHref] = useState("");
  useEffect(() => {
    const made = URL.createObjectURL(file.data);
    setHref(made);
    return () => URL.revokeObjectURL(made);
  }, [file]);

  const share = (event: MouseEvent) => {
    const files = [new File([file.data], file.name, { type: file.data.type })];
    if (!navigator.canShare?.({ files })) return; // The link downloads it.
    event.preventDefault();
    navigator.share({ files }).catch(() => undefined); // Given up by the person.
  };

  return (
    <li>
      <a
        class="button button--primary button--field button--wide"
        href={href}
        download={file.name}
        onClick={share}
      >
        <Icon name="download" />
        {strings.fileReady(file.name, megabytes(file.data.size))}
      </a>
      <p class="quiet">{strings.fileHolds(file.events, file.photos)}</p>
    </li>
  );
}

function megabytes(bytes: number): string {
  return (bytes / 1_000_000).toFixed(bytes < 10_000_000 ? 1 : 0);
}

function Figure({ term, value }: { term: string; value: string }) {
  return (
    <div class="figures__one">
      <dt>{term}</dt>
      <dd>{value}</dd>
    </div>
  );
}

function WaitingLine({ waiting, now }: { waiting: Waiting; now: number }) {
  const [name, setName] = useState<string>(strings.photoName);
  useEffect(() => {
    if (waiting.kind !== "event") return;
    void store.event(waiting.ref).then((found) => {
      const type = String(found?.event.body["type"]);
      setName(strings.eventName[type] ?? type);
    });
  }, [waiting.ref]);
  return (
    <li>
      <Icon name={waiting.refused === null ? "waiting" : "error"} />
      <span>
        <strong>{name}</strong>{" "}
        <span class="quiet">
          {strings.ago(Math.max(0, Math.floor((now - waiting.since) / 60_000)))}
        </span>
        {waiting.refused !== null && <span class="waiting__why">{waiting.refused}</span>}
      </span>
    </li>
  );
}
