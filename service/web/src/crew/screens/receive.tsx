import { useEffect, useState } from "preact/hooks";
import { cameraPossible } from "../../camera.ts";
import { readListAddress } from "../../list-code.ts";
import { countOff, readName, receivedOn, type Count } from "../../moving.ts";
import { signalScan, signalTrouble } from "../../scan-signal.ts";
import { strings } from "../../strings.ts";
import {
  expectedWords,
  NameForm,
  PieceLines,
  TagReader,
  whatIs,
} from "../moving-parts.tsx";
import {
  BackButton,
  Card,
  Dock,
  Field,
  Heading,
  Icon,
  NextButton,
  Notice,
  TagCode,
} from "../parts.tsx";
import { PhotoTaker } from "../photos.tsx";
import { address, go, NO_LIST } from "../route.ts";
import {
  firstTag,
  loadRoad,
  loads,
  moves,
  onTheRoad,
  record,
  sentenceFor,
  store,
} from "../state.ts";
import { TypingSwitch, useTyping } from "../typing.tsx";
import { Viewfinder } from "../viewfinder.tsx";

/** Where pieces go while this phone has never seen what places the facility has. */
const RECEIVING_AREA = "receiving";
const STATION_NOTE = "receiving-station";

export function Receive({ loss, list }: { loss: string; list: string | null }) {
  const [reached, setReached] = useState(true);
  useEffect(() => void loadRoad(loss).catch(() => setReached(false)), [loss]);
  if (list === null) return <ChooseList loss={loss} reached={reached} />;
  return <Arriving loss={loss} list={list === NO_LIST ? null : list} />;
}

function ChooseList({ loss, reached }: { loss: string; reached: boolean }) {
  const [scanning, setScanning] = useState(false);
  const [noCode, setNoCode] = useState(false);
  const [other, setOther] = useState<{ loss: string; manifest: string } | null>(null);
  const lists = [...loads.value.values()];

  /** As the list is really called, where it is known here. */
  const nameOf = (manifest: string) =>
    lists.find((one) => one.manifest.toLowerCase() === manifest.toLowerCase())?.manifest ??
    manifest;
  const useTyped = (name: string): string | null => {
    const typed = readName(name);
    if (typed === null) return strings.moving.otherListWrong;
    // Phones name their lists in capitals.
    go({ at: "receive", loss, list: nameOf(typed.toUpperCase()) });
    return null;
  };

  return (
    <div class="stack">
      <Heading title={strings.moving.receiveHeading} lead={strings.moving.receiveLead} />
      {!reached && <Notice kind="note" title={strings.moving.receiveOffline} />}
      <ul class="cards">
        {lists.map((load) => {
          const count = countOff(load.tags, load.received);
          return (
            <li key={load.manifest}>
              <Card to={{ at: "receive", loss, list: load.manifest }} title={load.vehicle}>
                <span class="list-name">{load.manifest}</span>
                {load.expectedAt !== null && <span class="card__line">{expectedWords(load)}</span>}
                <span class="card__flags">
                  <span class={`flag flag--${count.missing.length === 0 ? "done" : "caution"}`}>
                    {strings.moving.ofListed(count.arrived.length, load.tags.length)}
                  </span>
                </span>
              </Card>
            </li>
          );
        })}
      </ul>
      {scanning && (
        <Viewfinder
          onCode={(text) => {
            const read = readListAddress(text);
            if (read !== null && read.manifest === other?.manifest) return;
            setNoCode(read === null);
            if (read === null) return;
            signalScan();
            setOther(read.loss === loss ? null : read);
            if (read.loss === loss) go({ at: "receive", loss, list: nameOf(read.manifest) });
          }}
        />
      )}
      <div aria-live="polite">
        {noCode && <Notice kind="caution" title={strings.moving.notListCode} />}
        {other !== null && (
          <Notice kind="caution" title={strings.moving.listOfOtherLoss(other.loss)}>
            <a
              class="button button--field"
              href={address({ at: "receive", loss: other.loss, list: other.manifest })}
            >
              {strings.moving.openOtherLoss}
            </a>
          </Notice>
        )}
      </div>
      <NameForm
        id="list"
        label={strings.moving.otherList}
        hint={strings.moving.otherListHint}
        capitals
        onName={useTyped}
      >
        <button type="submit" class="button button--field button--wide">
          {strings.moving.useList}
        </button>
      </NameForm>
      <div class="dock dock--wrap">
        {cameraPossible() && (
          <button
            type="button"
            class="button button--primary button--scan button--wide"
            onClick={() => setScanning(!scanning)}
          >
            <Icon name="scan" size={32} />
            {scanning ? strings.moving.stopScan : strings.moving.scanList}
          </button>
        )}
        <BackButton to={{ at: "move", loss }} />
        <a class="button button--field" href={address({ at: "receive", loss, list: NO_LIST })}>
          {strings.moving.withoutList}
        </a>
      </div>
    </div>
  );
}

type Scan = { tag: string; before: boolean };

/** One piece after another comes off the truck; the counts stand beside. */
function Arriving({ loss, list }: { loss: string; list: string | null }) {
  const [typing, setTyping] = useTyping();
  const [station, setStation] = useStation();
  const [condition, setCondition] = useState("");
  const [scan, setScan] = useState<Scan | null>(null);
  const [finished, setFinished] = useState(false);
  const [failure, setFailure] = useState<string | null>(null);
  const load = list === null ? undefined : loads.value.get(list);
  const received = load?.received ?? receivedOn(moves.value, list).map(firstTag.value);
  const count = countOff(load?.tags ?? null, received);

  const receive = async (tag: string) => {
    setFailure(null);
    const piece = firstTag.value(tag);
    const before = received.includes(piece);
    setScan({ tag, before });
    if (before || (load !== undefined && !load.tags.includes(piece))) signalTrouble();
    if (before) return;
    try {
      await record([
        {
          type: "item_received",
          tag,
          station,
          ...(list === null ? {} : { manifest: list }),
          ...(condition.trim() === "" ? {} : { condition: condition.trim() }),
        },
      ]);
      setCondition("");
    } catch (error) {
      setScan(null);
      setFailure(sentenceFor(error));
    }
  };

  if (finished) {
    return (
      <Finished
        loss={loss}
        listed={load?.tags.length ?? null}
        count={count}
        onBack={() => setFinished(false)}
      />
    );
  }
  return (
    <div class="stack">
      <Heading
        title={list === null ? strings.moving.receivingNone : strings.moving.receiving(list)}
        {...(load === undefined ? {} : { lead: load.vehicle })}
      />
      {load === undefined && (
        <Notice
          kind="note"
          title={list === null ? strings.moving.noListText : strings.moving.listNotKnown}
        >
          {list !== null && <p>{strings.moving.listNotKnownText}</p>}
        </Notice>
      )}
      <div aria-live="polite" class="stack">
        {scan !== null && (
          <ScanWords scan={scan} surplus={count.surplus.includes(firstTag.value(scan.tag))} />
        )}
        <Counts count={count} known={load !== undefined} />
      </div>
      <TagReader typing={typing} onTag={(tag) => void receive(tag)} />
      <TypingSwitch typing={typing} onSwitch={setTyping} />
      {scan !== null && (
        <section class="panel" key={scan.tag}>
          <h2>{strings.moving.damagePhotoOf(whatIs(scan.tag) ?? scan.tag.slice(0, 4))}</h2>
          <PhotoTaker
            label={strings.moving.damagePhoto}
            onTaken={(sha) =>
              record([{ type: "photo_taken", tag: scan.tag, photo: sha, kind: "intake" }])
            }
          />
        </section>
      )}
      {failure !== null && (
        <Notice kind="error" title={strings.saveFailed}>
          <p>{failure}</p>
        </Notice>
      )}
      <section class="panel">
        <Field
          id="condition"
          label={strings.moving.condition}
          hint={strings.moving.conditionHint}
          value={condition}
          lines={2}
          onInput={(value) => setCondition(value.slice(0, 4000))}
        />
        <StationChoice station={station} onChoose={setStation} />
      </section>
      <Lists count={count} />
      <Dock>
        <BackButton to={{ at: "receive", loss, list: null }} />
        <NextButton label={strings.moving.finish} onPress={() => setFinished(true)} />
      </Dock>
    </div>
  );
}

function ScanWords({ scan, surplus }: { scan: Scan; surplus: boolean }) {
  const title = scan.before
    ? strings.moving.arrivedBefore
    : surplus
      ? strings.moving.surplusNow
      : strings.moving.arrivedNow;
  return (
    <Notice kind={scan.before || surplus ? "caution" : "done"} title={title}>
      <p>
        {whatIs(scan.tag) ?? strings.moving.unknownHere} <TagCode tag={scan.tag} />
      </p>
      {scan.before && <p>{strings.moving.arrivedBeforeText}</p>}
    </Notice>
  );
}

function Counts({ count, known }: { count: Count; known: boolean }) {
  const figures: [string, number][] = [[strings.moving.arrived, count.arrived.length]];
  if (known) {
    figures.push(
      [strings.moving.missing, count.missing.length],
      [strings.moving.surplus, count.surplus.length],
    );
  }
  return (
    <dl class="counts">
      {figures.map(([term, value]) => (
        <div key={term}>
          <dt>{term}</dt>
          <dd>{value}</dd>
        </div>
      ))}
    </dl>
  );
}

function Lists({ count }: { count: Count }) {
  const groups = [
    [strings.moving.missing, count.missing, "caution"],
    [strings.moving.surplus, count.surplus, "stop"],
    [strings.moving.arrived, count.arrived, "done"],
  ] as const;
  return (
    <>
      {groups.map(
        ([title, tags, kind]) =>
          tags.length > 0 && (
            <section class="panel" key={title}>
              <h2>
                {title}: {tags.length}
              </h2>
              <PieceLines tags={tags} state={title} kind={kind} />
            </section>
          ),
      )}
    </>
  );
}

function Finished(props: {
  loss: string;
  listed: number | null;
  count: Count;
  onBack: () => void;
}) {
  const { count, listed } = props;
  return (
    <div class="stack">
      <Heading
        title={
          listed === null
            ? strings.moving.receivedCount(count.arrived.length)
            : strings.moving.receivedHeading(count.arrived.length, listed)
        }
      />
      {listed === null && <Notice kind="note" title={strings.moving.noListText} />}
      {listed !== null && count.missing.length + count.surplus.length === 0 && (
        <Notice kind="done" title={strings.moving.allHere} />
      )}
      {count.missing.length > 0 && (
        <Notice kind="caution" title={`${strings.moving.missing}: ${count.missing.length}`}>
          <p>{strings.moving.missingText}</p>
        </Notice>
      )}
      {count.surplus.length > 0 && (
        <Notice kind="caution" title={`${strings.moving.surplus}: ${count.surplus.length}`}>
          <p>{strings.moving.surplusText}</p>
        </Notice>
      )}
      <Lists count={count} />
      <Dock>
        <button type="button" class="button button--field dock__back" onClick={props.onBack}>
          <Icon name="back" />
          {strings.moving.scanOn}
        </button>
        <a
          class="button button--primary button--field"
          href={address({ at: "move", loss: props.loss })}
        >
          {strings.moving.done}
        </a>
      </Dock>
    </div>
  );
}

/** Where arriving pieces are put: as chosen last, or the first bench of the facility. */
function useStation(): [string, (station: string) => void] {
  const [chosen, setChosen] = useState<string | null>(null);
  useEffect(() => {
    void store.note<string>(STATION_NOTE).then((noted) => setChosen((now) => now ?? noted ?? null));
  }, []);
  const known = onTheRoad.value?.stations ?? [];
  const usual = known.find((one) => one.kind === "bench") ?? known[0];
  const choose = (station: string) => {
    setChosen(station);
    void store.keepNote(STATION_NOTE, station);
  };
  return [chosen ?? usual?.id ?? RECEIVING_AREA, choose];
}

function StationChoice(props: { station: string; onChoose: (station: string) => void }) {
  const known = onTheRoad.value?.stations ?? [];
  const options = known.some((one) => one.id === props.station)
    ? known
    : [{ id: props.station, label: strings.moving.receivingArea }, ...known];
  return (
    <div class="field field--large">
      <label for="station">{strings.moving.putIt}</label>
      <select
        id="station"
        value={props.station}
        onChange={(event) => props.onChoose(event.currentTarget.value)}
      >
        {options.map((one) => (
          <option key={one.id} value={one.id}>
            {one.label}
          </option>
        ))}
      </select>
    </div>
  );
}
