import { useEffect, useState } from "preact/hooks";
import type { ItemPage, Triage } from "../../api.ts";
import { labelsOf, type Damage, type ObjectType, type PartRole } from "../../contract.ts";
import { carrying, type Piece } from "../../pieces.ts";
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
import { damageWords, materialWords, objectWords, placeWords } from "../words.ts";

const OBJECTS = labelsOf<ObjectType>("ObjectType");
const ROLES = labelsOf<PartRole>("PartRole");
const DAMAGES = labelsOf<Damage>("Damage");
/** Characters of the facts' version: enough to tell two apart, short enough to read out. */
const VERSION_SHOWN = 12;

/** Of one piece: hours left, why, what never to do; then its record and what can be added. */
export function PieceScreen({ loss, tag: asked }: { loss: string; tag: string }) {
  const piece = carrying(pieces.value, asked);
  const tag = piece?.tag ?? asked;
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
          <TagCode tag={piece?.tags.at(-1) ?? tag} />
          {piece !== undefined && (
            <span class={`flag flag--${unsent === 0 ? "done" : "caution"}`}>
              {unsent === 0 ? strings.savedAndSent : strings.savedOnPhone}
            </span>
          )}
        </p>
      </header>
      {piece !== undefined && <OnTwoPieces loss={loss} piece={piece} answer={answer} />}
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
  const facts: [string, string][] = [
    [strings.materials, materialWords(piece.materials)],
    [strings.damage, damageWords(piece.damages, piece.mouldCondition) || strings.noDamage],
    [strings.where, placeWords(piece.found) || strings.notRecorded],
  ];
  if (piece.description !== "") {
    const term = piece.role === "fragments" ? strings.tagging.holds : strings.tagging.notes;
    facts.push([term, piece.description]);
  }
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
          {piece.tags.length > 1 && (
            <div>
              <dt>{strings.tagging.tags}</dt>
              {piece.tags.toReversed().map((one, place) => (
                <dd key={one}>
                  <TagCode tag={one} /> (
                  {place === 0 ? strings.tagging.now : strings.tagging.before})
                </dd>
              ))}
            </div>
          )}
          {piece.parent !== null && (
            <div>
              <dt>{strings.parentPiece}</dt>
              <dd>
                <a class="part" href={address({ at: "piece", loss, tag: piece.parent })}>
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
                    {part.role === null ? objectWords(part.objectType) : ROLES.get(part.role)}{" "}
                    <TagCode tag={part.tags.at(-1) ?? part.tag} />
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
          <a class="button button--field" href={address({ at: "correct", loss, tag: piece.tag })}>
            <Icon name="pen" />
            {strings.tagging.correct}
          </a>
          <a class="button button--field" href={address({ at: "retag", loss, tag: piece.tag })}>
            <Icon name="scan" />
            {strings.tagging.retag}
          </a>
          {piece.parent === null && (
            <button
              type="button"
              class="button button--field"
              onClick={() =>
                doing(
                  beginDraft(loss, {
                    parent: piece.tag,
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

/** Takes back the last thing said of the piece that may be taken back; says first what that is. */
function UndoLast({ piece, doing }: { piece: Piece; doing: (work: Promise<void>) => void }) {
  const [asked, setAsked] = useState(false);
  const [undone, setUndone] = useState<string | null>(null);
  const { last } = piece;
  const said = undone !== null && (
    <p role="status" class="undone">
      <Icon name="done" size={20} />
      {strings.tagging.undone(undone)}
    </p>
  );
  if (last === null) {
    return (
      <>
        {said}
        <p class="quiet">{strings.tagging.nothingToUndo}</p>
      </>
    );
  }
  const what = nameOf(last.body);
  if (!asked) {
    return (
      <>
        {said}
        <button
          type="button"
          class="button button--field"
          onClick={() => {
            setUndone(null);
            setAsked(true);
          }}
        >
          <Icon name="undo" />
          {strings.tagging.undo}
        </button>
      </>
    );
  }
  const undo = async () => {
    await record([
      {
        type: "event_undone",
        event: last.id,
        subject: `item:${piece.tag}`,
        reason: strings.undoReason,
      },
    ]);
    setAsked(false);
    setUndone(what);
  };
  return (
    <Notice kind="caution" title={strings.tagging.undoHeading(what)}>
      <p>{strings.tagging.undoWhen(shortTime(last.at))}</p>
      <p class="row">
        <button type="button" class="button button--field" onClick={() => doing(undo())}>
          <Icon name="undo" />
          {strings.tagging.takeBack}
        </button>
        <button type="button" class="button button--field" onClick={() => setAsked(false)}>
          {strings.tagging.keepIt}
        </button>
      </p>
    </Notice>
  );
}

/** Shown once the service's record lists this phone's claim of the tag beside another. */
function OnTwoPieces(props: { loss: string; piece: Piece; answer: ItemPage | undefined }) {
  const { loss, piece, answer } = props;
  const claims = answer?.item.conflicts?.find((one) => one.field === "tag")?.values ?? [];
  const own = new Set(piece.events);
  if (!claims.some((claim) => own.has(claim.event))) return null;
  const others = claims
    .filter((claim) => !own.has(claim.event))
    .map((claim) => {
      const { object_type: type, found } = claim.value ?? {};
      const what = type && objectWords(type);
      return [what, found && placeWords(found), claim.actor].filter(Boolean).join(", ");
    });
  const mine = [objectWords(piece.objectType), placeWords(piece.found)].filter(Boolean).join(", ");
  return (
    <Notice kind="error" title={strings.tagging.twice}>
      <p>{strings.tagging.twiceText(mine, others.join("; "))}</p>
      <a class="button button--field" href={address({ at: "anew", loss, tag: piece.tag })}>
        <Icon name="scan" />
        {strings.tagging.anew}
      </a>
    </Notice>
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
