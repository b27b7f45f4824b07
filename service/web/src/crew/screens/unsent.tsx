import { useEffect, useState } from "preact/hooks";
import type { Waiting } from "../../store.ts";
import { strings } from "../../strings.ts";
import { Dock, BackButton, Heading, Icon, Notice } from "../parts.tsx";
import { lastSent, outbox, send, sending, sendRefusedAgain, store } from "../state.ts";

/** What the service does not have yet, how old it is, and what it refused. */
export function Unsent({ loss }: { loss: string }) {
  const waiting = outbox.value;
  const sent = lastSent.value;
  const refused = waiting.filter((one) => one.refused !== null);
  const events = waiting.filter((one) => one.kind === "event").length;
  const oldest = Math.min(...waiting.map((one) => one.since));
  return (
    <div class="stack">
      <Heading title={strings.unsentHeading} />
      {waiting.length === 0 ? (
        <Notice kind="done" title={strings.nothingUnsent} />
      ) : (
        <dl class="figures">
          <Figure term={strings.unsentEvents} value={String(events)} />
          <Figure term={strings.unsentPhotos} value={String(waiting.length - events)} />
          <Figure term={strings.unsentOldest} value={strings.ago((Date.now() - oldest) / 60_000)} />
        </dl>
      )}
      {sent?.outcome === "not_reached" && waiting.length > 0 && (
        <Notice kind="caution" title={strings.loadFailed}>
          <p>{strings.notReached}</p>
        </Notice>
      )}
      {sent?.outcome === "service_refused" && (
        <Notice kind="error" title={strings.allRefused}>
          <p>{sent.why}</p>
        </Notice>
      )}
      {refused.length > 0 && (
        <Notice kind="error" title={strings.refusedList}>
          <p>{strings.someRefused}</p>
        </Notice>
      )}
      {waiting.length > 0 && (
        <ul class="waiting panel">
          {waiting.map((one) => (
            <WaitingLine key={one.key} waiting={one} />
          ))}
        </ul>
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

function Figure({ term, value }: { term: string; value: string }) {
  return (
    <div class="figures__one">
      <dt>{term}</dt>
      <dd>{value}</dd>
    </div>
  );
}

function WaitingLine({ waiting }: { waiting: Waiting }) {
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
        <span class="quiet">{strings.ago((Date.now() - waiting.since) / 60_000)}</span>
        {waiting.refused !== null && <span class="waiting__why">{waiting.refused}</span>}
      </span>
    </li>
  );
}
