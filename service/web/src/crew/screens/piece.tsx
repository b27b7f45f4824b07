import { useEffect, useState } from "preact/hooks";
import type { ItemPage, Triage } from "../../api.ts";
import {
  labelsOf,
  type Damage,
  type Extent,
  type Material,
  type ObjectType,
} from "../../contract.ts";
import type { Piece } from "../../pieces.ts";
import { strings } from "../../strings.ts";
import { clockOf } from "../clock.ts";
import { shortTime } from "../damage-choice.tsx";
import { photoBody } from "../draft.ts";
import { Band, Icon, Notice, TagCode } from "../parts.tsx";
import { PhotoTaker, Thumb } from "../photos.tsx";
import { address, go } from "../route.ts";
import {
  answers,
  askAbout,
  beginDraft,
  outbox,
  pieces,
  record,
  rulingOn,
  sentenceFor,
  type Ruling,
} from "../state.ts";
import { wordsFor } from "./step-place.tsx";

const OBJECTS = labelsOf<ObjectType>("ObjectType");
const MATERIALS = labelsOf<Material>("Material");
const DAMAGES = labelsOf<Damage>("Damage");
const EXTENTS = labelsOf<Extent>("Extent");
/** Characters of the facts' version: enough to tell two apart, short enough to read out. */
const VERSION_SHOWN = 12;

/** Of one piece: hours left, why, what never to do; then its record and what can be added. */
export function PieceScreen({ loss, tag }: { loss: string; tag: string }) {
  const piece = pieces.value.get(tag);
  const answer = answers.value.get(tag);
  const ruling = rulingOn(tag);
  const unsent = outbox.value.filter((one) => piece?.events.includes(one.ref)).length;
  const [failure, setFailure] = useState<string | null>(null);

  // Asked again once the last event of the piece has been sent: only then the answer counts it.
  useEffect(() => {
    if (unsent === 0) {
      askAbout(tag).catch((error: unknown) => setFailure(sentenceFor(error)));
    }
  }, [tag, unsent]);

  const doing = (work: Promise<void>) => {
    setFailure(null);
    work.catch((error: unknown) => setFailure(sentenceFor(error)));
  };

  return (
    <div class="stack">
      <header class="piece-head">
        <h1 tabIndex={-1}>{titleOf(piece, answer)}</h1>
        <p class="row">
          <TagCode tag={tag} />
          {piece !== undefined && (
            <span class={`flag flag--${unsent === 0 ? "done" : "caution"}`}>
              {unsent === 0 ? strings.savedAndSent : strings.savedOnPhone}
            </span>
          )}
        </p>
      </header>
      {ruling === null ? (
        <Notice kind="caution" title={strings.triageWaiting}>
          <p>{strings.triageWaitingText}</p>
        </Notice>
      ) : (
        <RulingOf ruling={ruling} />
      )}
      {failure !== null && (
        <Notice kind="error" title={strings.saveFailed}>
          <p>{failure}</p>
        </Notice>
      )}
      {piece === undefined ? (
        <Notice kind="note" title={strings.unknownPiece} />
      ) : (
        <Recorded loss={loss} piece={piece} doing={doing} />
      )}
      <div class="dock">
        <a class="button button--field dock__back" href={address({ at: "pieces", loss })}>
          <Icon name="list" />
          {strings.allPieces}
        </a>
        <button
          type="button"
          class="button button--primary button--scan"
          onClick={() => doing(beginDraft(loss).then(() => go({ at: "step", loss, step: "tag" })))}
        >
          <Icon name="scan" size={32} />
          {strings.nextPiece}
        </button>
      </div>
    </div>
  );
}

function titleOf(piece: Piece | undefined, answer: ItemPage | undefined): string {
  const title = piece?.title || answer?.item.title;
  if (title) return title;
  const type = piece?.objectType ?? answer?.item.object_type;
  return (type !== undefined && OBJECTS.get(type)) || strings.triageWaiting;
}

function RulingOf({ ruling: { triage, label, here } }: { ruling: Ruling }) {
  const [first, ...then] = triage.route;
  return (
    <>
      <section class={`ruling ruling--${triage.band}`}>
        <Hours triage={triage} />
        <Band band={triage.band} label={label} />
        {triage.deadline !== null && !triage.paused && (
          <p class="ruling__by">
            {(triage.hours_left ?? 0) > 0
              ? strings.moveBy(shortTime(triage.deadline))
              : strings.wasDue(shortTime(triage.deadline))}
          </p>
        )}
      </section>
      {here && (
        <Notice kind="note" title={strings.workedOutHere}>
          <p>{strings.workedOutHereText(triage.facts_version.slice(0, VERSION_SHOWN))}</p>
        </Notice>
      )}
      {triage.gates.map((gate) => (
        <Notice kind="caution" title={gate.sentence} key={gate.gate}>
          {!triage.route.includes(gate.do_first) && <p>{gate.do_first}</p>}
        </Notice>
      ))}
      {first !== undefined && (
        <section class="first">
          <h2>{strings.first}</h2>
          <p class="first__what">{first}</p>
          {then.length > 0 && (
            <>
              <h3>{strings.then}</h3>
              <ol>
                {then.map((one) => (
                  <li key={one}>{one}</li>
                ))}
              </ol>
            </>
          )}
        </section>
      )}
      {triage.never.length > 0 && (
        <section class="nevers">
          <h2>
            <Icon name="never" size={28} />
            {strings.never}
          </h2>
          {neversByCause(triage).map(([because, sentences]) => (
            <div key={because}>
              <h3>{because}</h3>
              <ul>
                {sentences.map((sentence) => (
                  <li key={sentence}>{sentence}</li>
                ))}
              </ul>
            </div>
          ))}
        </section>
      )}
      <section class="panel">
        <h2>{strings.why}</h2>
        <p>{triage.sentence}</p>
        <ul class="whys">
          {triage.factors.map((factor) => (
            <li key={factor.name}>{factor.sentence}</li>
          ))}
        </ul>
        <p>
          <strong>{strings.freezing}: </strong>
          {triage.freeze_wet.sentence}
        </p>
      </section>
    </>
  );
}

function neversByCause(triage: Triage): [string, string[]][] {
  const groups = new Map<string, string[]>();
  for (const { because, sentence } of triage.never) {
    groups.set(because, [...(groups.get(because) ?? []), sentence]);
  }
  return [...groups];
}

function Hours({ triage }: { triage: Triage }) {
  const [number, words] = clockOf(triage);
  if (number === "") return <p class="hours hours--words">{words}</p>;
  return (
    <p class="hours">
      <span class="hours__number">{number}</span> {words}
    </p>
  );
}

function Recorded(props: { loss: string; piece: Piece; doing: (work: Promise<void>) => void }) {
  const { loss, piece, doing } = props;
  const parts = [...pieces.value.values()].filter((one) => one.parent === piece.tag);
  const damages = [...piece.damages].map(
    ([damage, extent]) => `${DAMAGES.get(damage)} (${EXTENTS.get(extent)?.toLowerCase()})`,
  );
  const facts: [string, string][] = [
    [strings.materials, piece.materials.map((one) => MATERIALS.get(one)).join("; ")],
    [strings.damage, damages.join("; ") || strings.noDamage],
    [strings.where, wordsFor(piece.found) || strings.notRecorded],
  ];
  if (piece.quantity > 1) facts.unshift([strings.howManyShort, String(piece.quantity)]);
  return (
    <>
      <section class="panel">
        <h2>{strings.recorded}</h2>
        {piece.photos.length > 0 && (
          <ul class="photos">
            {piece.photos.map((sha, place) => (
              <li key={sha}>
                <Thumb sha={sha} alt={strings.photoAlt(place + 1)} />
              </li>
            ))}
          </ul>
        )}
        <dl class="facts">
          {facts.map(([term, value]) => (
            <div key={term}>
              <dt>{term}</dt>
              <dd>{value}</dd>
            </div>
          ))}
          {piece.parent !== null && (
            <div>
              <dt>{strings.parentPiece}</dt>
              <dd>
                <a href={address({ at: "piece", loss, tag: piece.parent })}>
                  <TagCode tag={piece.parent} />
                </a>
              </dd>
            </div>
          )}
          {parts.length > 0 && (
            <div>
              <dt>{strings.parts}</dt>
              <dd>
                {parts.map((part) => (
                  <a
                    class="part"
                    key={part.tag}
                    href={address({ at: "piece", loss, tag: part.tag })}
                  >
                    {OBJECTS.get(part.objectType)} <TagCode tag={part.tag} />
                  </a>
                ))}
              </dd>
            </div>
          )}
        </dl>
        <UndoLast piece={piece} doing={doing} />
      </section>
      <section class="panel">
        <PhotoTaker
          label={strings.addPhoto}
          onTaken={(sha) => record([photoBody(piece.tag, sha)])}
        />
        <div class="actions">
          <a class="button button--field" href={address({ at: "damage", loss, tag: piece.tag })}>
            <Icon name="plus" />
            {strings.addDamage}
          </a>
          <a class="button button--field" href={address({ at: "details", loss, tag: piece.tag })}>
            <Icon name="pen" />
            {strings.addDetails}
          </a>
          {piece.parent === null && (
            <button
              type="button"
              class="button button--field"
              onClick={() =>
                doing(
                  beginDraft(loss, {
                    parent: piece.tag,
                    role: null,
                    found: piece.found,
                  }).then(() => go({ at: "step", loss, step: "tag" })),
                )
              }
            >
              <Icon name="parts" />
              {strings.addPart}
            </button>
          )}
        </div>
      </section>
    </>
  );
}

/** Takes back the last thing said of the piece that may be taken back. */
function UndoLast({ piece, doing }: { piece: Piece; doing: (work: Promise<void>) => void }) {
  const { last } = piece;
  if (last === null) return null;
  const undo = () =>
    doing(
      record([
        {
          type: "event_undone",
          event: last.id,
          subject: `item:${piece.tag}`,
          reason: strings.undoReason,
        },
      ]),
    );
  return (
    <button type="button" class="button button--field" onClick={undo}>
      <Icon name="undo" />
      {strings.undo(nameOf(last.body))}
    </button>
  );
}

function nameOf(body: NonNullable<Piece["last"]>["body"]): string {
  switch (body.type) {
    case "damage_noted":
    case "damage_withdrawn":
      return strings.undoName[body.type](DAMAGES.get(body.damage) ?? body.damage);
    case "photo_taken":
    case "item_described":
      return strings.undoName[body.type];
    default:
      return strings.eventName[body.type] ?? body.type;
  }
}
