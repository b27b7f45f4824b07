import { useEffect, useState } from "preact/hooks";
import { containersOf, notYetLoaded, readName } from "../../moving.ts";
import { keptApart, packingNevers } from "../../packing.ts";
import { signalTrouble } from "../../scan-signal.ts";
import { strings } from "../../strings.ts";
import { readTag } from "../../tag.ts";
import {
  NameForm,
  PieceLines,
  TagReader,
  whatIs,
} from "../moving-parts.tsx";
import { BackButton, Dock, Heading, Icon, Notice, TagCode } from "../parts.tsx";
import { address, go } from "../route.ts";
import {
  answers,
  askAbout,
  loadLosses,
  lossList,
  lossOf,
  moves,
  packingOf,
  pieces,
  record,
  sentenceFor,
} from "../state.ts";
import { TypingSwitch, useTyping } from "../typing.tsx";

export function Pack({ loss, container }: { loss: string; container: string | null }) {
  if (container === null) return <ChooseContainer loss={loss} />;
  return <Filling loss={loss} container={container} />;
}

/** A container of the crew's own naming, or one begun before. */
function ChooseContainer({ loss }: { loss: string }) {
  const [fault, setFault] = useState<string | null>(null);
  const [scanning, setScanning] = useState(false);
  const { containers } = notYetLoaded(moves.value, []);

  /** Goes on with that container, or gives what is wrong with its name. */
  const start = (typed: string): string | null => {
    const reading = readTag(typed);
    const read = "tag" in reading ? reading.tag : readName(typed);
    if (read === null) return strings.moving.containerWrong;
    if (pieces.value.has(read)) return strings.moving.containerIsPiece;
    go({ at: "pack", loss, container: read });
    return null;
  };

  return (
    <div class="stack">
      <Heading title={strings.moving.whichContainer} lead={strings.moving.whichContainerLead} />
      {containers.size > 0 && (
        <section>
          <h2 class="group">{strings.moving.carryOnWith}</h2>
          <div class="tiles">
            {[...containers].map(([one, tags]) => (
              <a class="tile" key={one} href={address({ at: "pack", loss, container: one })}>
                <span>
                  <strong class="container-name">{one}</strong> {strings.moving.pieces(tags.length)}
                </span>
              </a>
            ))}
          </div>
        </section>
      )}
      {scanning && <TagReader typing={false} onTag={(tag) => setFault(start(tag))} />}
      <NameForm
        id="container"
        label={strings.moving.containerName}
        hint={strings.moving.containerHint}
        capitals
        onName={start}
      >
        <button
          type="button"
          class="button button--scan button--wide"
          onClick={() => setScanning(!scanning)}
        >
          <Icon name="scan" />
          {scanning ? strings.moving.stopScan : strings.moving.scanSpare}
        </button>
      </NameForm>
      {fault !== null && <Notice kind="error" title={fault} />}
      <Dock>
        <BackButton to={{ at: "move", loss }} />
        <button type="submit" form="container-form" class="button button--primary button--field">
          {strings.moving.startPacking}
          <Icon name="next" />
        </button>
      </Dock>
    </div>
  );
}

type Scan =
  | { kind: "packed"; tag: string; before: string | null; loss: string | null }
  | { kind: "already"; tag: string }
  | { kind: "own" };

/** One piece after another goes in. */
function Filling({ loss, container }: { loss: string; container: string }) {
  const [typing, setTyping] = useTyping();
  const [scan, setScan] = useState<Scan | null>(null);
  const [failure, setFailure] = useState<string | null>(null);
  const inside = containersOf(moves.value).get(container) ?? [];
  // A piece of another loss is named by that loss's title.
  useEffect(() => void loadLosses().catch(() => undefined), []);
  // What is inside already, for what must not join it.
  useEffect(() => {
    for (const tag of inside) void askAbout(tag).catch(() => undefined);
  }, []);

  const attempt = async (work: () => Promise<void>) => {
    setFailure(null);
    try {
      await work();
    } catch (error) {
      setFailure(sentenceFor(error));
    }
  };
  const pack = async (tag: string) => {
    const before = moves.value.packed.get(tag)?.container ?? null;
    if (tag === container || before === container) {
      signalTrouble();
      setScan(tag === container ? { kind: "own" } : { kind: "already", tag });
      return;
    }
    const owner = await lossOf(tag);
    await record([{ type: "item_packed", tag, container }]);
    if (before !== null || owner !== loss) signalTrouble();
    setScan({ kind: "packed", tag, before, loss: owner });
    await askAbout(tag);
  };
  const undo = async () => {
    const last = inside.at(-1);
    const packing = last === undefined ? undefined : moves.value.packed.get(last);
    if (packing === undefined) return;
    setScan(null);
    await record([
      {
        type: "event_undone",
        event: packing.event,
        subject: `item:${packing.tag}`,
        reason: strings.undoReason,
      },
    ]);
  };

  return (
    <div class="stack">
      <Heading title={strings.moving.packing(container)} />
      <div aria-live="polite" class="stack">
        {scan !== null && <ScanWords loss={loss} scan={scan} inside={inside} />}
      </div>
      <TagReader typing={typing} onTag={(tag) => void attempt(() => pack(tag))} />
      <TypingSwitch typing={typing} onSwitch={setTyping} />
      {failure !== null && (
        <Notice kind="error" title={strings.saveFailed}>
          <p>{failure}</p>
        </Notice>
      )}
      <section class="panel">
        <h2>{strings.moving.inside(inside.length)}</h2>
        {inside.length === 0 ? (
          <p class="quiet">{strings.moving.emptyContainer}</p>
        ) : (
          <PieceLines tags={[...inside].reverse()} />
        )}
      </section>
      <div class="dock">
        <BackButton to={{ at: "move", loss }} />
        {inside.length > 0 && (
          <button type="button" class="button button--field" onClick={() => void attempt(undo)}>
            <Icon name="undo" />
            {strings.moving.undoLast}
          </button>
        )}
      </div>
    </div>
  );
}

/** What the last scan was, and what to mind. */
function ScanWords(props: { loss: string; scan: Scan; inside: readonly string[] }) {
  const { loss, scan, inside } = props;
  if (scan.kind === "own") return <Notice kind="caution" title={strings.moving.isContainer} />;
  if (scan.kind === "already") {
    return (
      <Notice kind="caution" title={strings.moving.alreadyPacked}>
        <p>
          {whatIs(scan.tag)} <TagCode tag={scan.tag} />
        </p>
        <p>{strings.moving.alreadyPackedText}</p>
      </Notice>
    );
  }
  const answer = answers.value.get(scan.tag);
  const owner = scan.loss ?? answer?.item.loss ?? null;
  const what = whatIs(scan.tag);
  const rows = packingOf(scan.tag);
  const nevers = packingNevers(rows);
  const clashes = inside
    .filter((tag) => tag !== scan.tag)
    .map((tag) => [tag, keptApart(rows, packingOf(tag))] as const)
    .filter(([, reasons]) => reasons.length > 0);
  return (
    <>
      <Notice
        kind="done"
        title={`${strings.moving.packedNow}: ${what ?? strings.moving.unknownHere}`}
      >
        <p>
          <TagCode tag={scan.tag} />
        </p>
        {scan.before !== null && <p>{strings.moving.takenFrom(scan.before)}</p>}
      </Notice>
      {what === null && <Notice kind="note" title={strings.moving.unknownHereText} />}
      {owner !== null && owner !== loss && (
        <Notice
          kind="caution"
          title={strings.moving.otherLoss(
            lossList.value?.find((one) => one.loss === owner)?.title ?? owner,
          )}
        >
          <p>{strings.moving.otherLossText}</p>
        </Notice>
      )}
      {answer?.triage.may_move === false && (
        <Notice kind="never" title={strings.moving.mayNotMove}>
          {answer.triage.gates.map((gate) => (
            <p key={gate.gate}>{gate.sentence}</p>
          ))}
        </Notice>
      )}
      {clashes.length > 0 && (
        <Notice kind="never" title={strings.moving.keptApart}>
          <p>
            {strings.moving.keptApartText(
              clashes.map(([tag]) => whatIs(tag) ?? tag.slice(0, 4)).join(", "),
            )}
          </p>
          <PlainList lines={clashes.flatMap(([, reasons]) => reasons)} />
        </Notice>
      )}
      {nevers.length > 0 && (
        <Notice kind="never" title={strings.moving.neverPacking}>
          <PlainList lines={nevers} />
        </Notice>
      )}
    </>
  );
}

function PlainList({ lines }: { lines: readonly string[] }) {
  return (
    <ul class="plain-list">
      {[...new Set(lines)].map((line) => (
        <li key={line}>{line}</li>
      ))}
    </ul>
  );
}
