import { useState } from "preact/hooks";
import { manifestName, notYetLoaded } from "../../moving.ts";
import { signalTrouble } from "../../scan-signal.ts";
import { strings } from "../../strings.ts";
import { clockOf } from "../clock.ts";
import {
  localInput,
  TagReader,
  whatIs,
} from "../moving-parts.tsx";
import {
  BackButton,
  Dock,
  Field,
  Heading,
  Icon,
  NextButton,
  Notice,
  TagCode,
  Tile,
} from "../parts.tsx";
import { go } from "../route.ts";
import { moves, pieces, record, rulingOn, sentenceFor, store } from "../state.ts";
import { TypingSwitch, useTyping } from "../typing.tsx";

const USUAL_DRIVE_H = 2;

/** What goes on one truck: everything that waits, until somebody takes it off the list. */
export function Truck({ loss }: { loss: string }) {
  const waiting = notYetLoaded(moves.value, pieces.value.keys());
  const [left, setLeft] = useState<ReadonlySet<string>>(new Set());
  const [added, setAdded] = useState<readonly string[]>([]);
  const [scanning, setScanning] = useState(false);
  const [typing, setTyping] = useTyping();
  const [scanned, setScanned] = useState<{ tag: string; fresh: boolean } | null>(null);
  const [vehicle, setVehicle] = useState("");
  const [leaves, setLeaves] = useState(localInput(new Date()));
  const [expected, setExpected] = useState(
    localInput(new Date(Date.now() + USUAL_DRIVE_H * 3_600_000)),
  );
  const [faults, setFaults] = useState<{ vehicle?: string; leaves?: string; expected?: string }>(
    {},
  );
  const [failure, setFailure] = useState<string | null>(null);
  const [busy, setBusy] = useState(false);

  const loose = [...new Set([...waiting.loose, ...added])];
  const tags = [
    ...[...waiting.containers].flatMap(([name, inside]) => (left.has(name) ? [] : inside)),
    ...loose.filter((tag) => !left.has(tag)),
  ];
  const toggle = (name: string) => {
    const next = new Set(left);
    if (!next.delete(name)) next.add(name);
    setLeft(next);
  };
  const add = (tag: string) => {
    const fresh = !tags.includes(tag);
    if (!fresh) signalTrouble();
    setScanned({ tag, fresh });
    if (left.has(tag)) toggle(tag);
    else if (fresh) setAdded([...added, tag]);
  };

  const close = async () => {
    const leavesAt = new Date(leaves);
    const expectedAt = new Date(expected);
    const wrong = {
      ...(vehicle.trim() === "" ? { vehicle: strings.moving.vehicleMissing } : {}),
      ...(Number.isNaN(leavesAt.getTime()) ? { leaves: strings.moving.timeMissing } : {}),
      ...(Number.isNaN(expectedAt.getTime())
        ? { expected: strings.moving.timeMissing }
        : expectedAt < leavesAt
          ? { expected: strings.moving.timeOrder }
          : {}),
    };
    setFaults(wrong);
    setFailure(tags.length === 0 ? strings.moving.nothingChosen : null);
    if (Object.keys(wrong).length > 0 || tags.length === 0) return;
    setBusy(true);
    try {
      const journal = await store.journal();
      if (journal === undefined) throw new Error(strings.storageFault);
      const manifest = manifestName(journal);
      await record([
        {
          type: "manifest_closed",
          manifest,
          vehicle: vehicle.trim(),
          tags: tags as [string, ...string[]],
          leaves_at: leavesAt.toISOString(),
          expected_at: expectedAt.toISOString(),
        },
      ]);
      go({ at: "handover", loss, manifest }, true);
    } catch (error) {
      setFailure(sentenceFor(error));
      setBusy(false);
    }
  };

  return (
    <div class="stack">
      <Heading title={strings.moving.truckHeading} lead={strings.moving.truckLead} />
      {waiting.containers.size + loose.length === 0 && (
        <p class="empty">{strings.moving.nothingToLoad}</p>
      )}
      {waiting.containers.size > 0 && (
        <section>
          <h2 class="group">{strings.moving.containersHeading}</h2>
          <div class="tiles">
            {[...waiting.containers].map(([name, inside]) => (
              <Tile key={name} pressed={!left.has(name)} onPress={() => toggle(name)}>
                <strong class="container-name">{name}</strong>{" "}
                {strings.moving.pieces(inside.length)}
                <TimeLeft tags={inside} />
              </Tile>
            ))}
          </div>
        </section>
      )}
      {loose.length > 0 && (
        <section>
          <h2 class="group">{strings.moving.looseHeading}</h2>
          <div class="tiles">
            {loose.map((tag) => (
              <Tile key={tag} pressed={!left.has(tag)} onPress={() => toggle(tag)}>
                {whatIs(tag) ?? strings.moving.unknownHere} <TagCode tag={tag} />
                <TimeLeft tags={[tag]} />
              </Tile>
            ))}
          </div>
        </section>
      )}
      {scanning && <TagReader typing={typing} onTag={add} />}
      <div class="row row--even">
        <button type="button" class="button button--scan" onClick={() => setScanning(!scanning)}>
          <Icon name="scan" />
          {scanning ? strings.moving.stopScan : strings.moving.addByScan}
        </button>
        {scanning && <TypingSwitch typing={typing} onSwitch={setTyping} />}
      </div>
      <div aria-live="polite">
        {scanned !== null && (
          <Notice
            kind={scanned.fresh ? "done" : "caution"}
            title={scanned.fresh ? strings.moving.added : strings.moving.alreadyListed}
          >
            <p>
              {whatIs(scanned.tag)} <TagCode tag={scanned.tag} />
            </p>
          </Notice>
        )}
      </div>
      <section class="panel">
        <Field
          id="vehicle"
          label={strings.moving.vehicle}
          hint={strings.moving.vehicleHint}
          value={vehicle}
          error={faults.vehicle ?? null}
          onInput={setVehicle}
          attributes={{ autocomplete: "off", maxLength: 300 }}
        />
        <Field
          id="leaves"
          label={strings.moving.leavesAt}
          value={leaves}
          error={faults.leaves ?? null}
          onInput={setLeaves}
          attributes={{ type: "datetime-local" }}
        />
        <Field
          id="expected"
          label={strings.moving.expectedAt}
          value={expected}
          error={faults.expected ?? null}
          onInput={setExpected}
          attributes={{ type: "datetime-local" }}
        />
      </section>
      {failure !== null && <Notice kind="error" title={failure} />}
      <Dock>
        <BackButton to={{ at: "move", loss }} />
        <NextButton
          label={busy ? strings.saving : strings.moving.closeList(tags.length)}
          busy={busy}
          onPress={() => void close()}
        />
      </Dock>
    </div>
  );
}

/** The shortest time that any of these pieces has, for choosing what goes first. */
function TimeLeft({ tags }: { tags: readonly string[] }) {
  const [shortest] = tags
    .flatMap((tag) => rulingOn(tag)?.triage ?? [])
    .filter((triage) => triage.hours_left !== null && !triage.paused)
    .sort((one, other) => (one.hours_left ?? 0) - (other.hours_left ?? 0));
  if (shortest === undefined) return null;
  return <span class="time-left">{clockOf(shortest).join(" ")}</span>;
}
