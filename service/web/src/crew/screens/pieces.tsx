import { labelsOf, type ObjectType } from "../../contract.ts";
import type { Piece } from "../../pieces.ts";
import { strings } from "../../strings.ts";
import { clockOf } from "../clock.ts";
import { Thumb } from "../photos.tsx";
import { Band, Heading, Icon, Notice, TagCode } from "../parts.tsx";
import { address, go } from "../route.ts";
import { beginDraft, draft, loss as openLoss, outbox, pieces, rulingOn, unread } from "../state.ts";
import { placeWords } from "../words.ts";

const OBJECTS = labelsOf<ObjectType>("ObjectType");

/** The loss's own page: tag a piece, and what was tagged on this phone. */
export function Pieces({ loss }: { loss: string }) {
  const list = [...pieces.value.values()].reverse();
  const title = openLoss.value?.loss.title ?? "";
  const inHand = draft.value.loss === loss ? draft.value.tag : null;
  return (
    <div class="stack">
      <Heading title={strings.piecesOnPhone(list.length)} lead={title} />
      {unread.value.length > 0 && (
        <Notice kind="caution" title={strings.tagging.newCautions}>
          <a class="button button--field" href={address({ at: "entry", loss })}>
            {strings.tagging.readNow}
          </a>
        </Notice>
      )}
      {list.length === 0 && <p class="empty">{strings.noPieces}</p>}
      <ul class="cards">
        {list.map((piece) => (
          <li key={piece.tag}>
            <PieceCard loss={loss} piece={piece} />
          </li>
        ))}
      </ul>
      <p class="row">
        <a class="button button--field" href={address({ at: "entry", loss })}>
          {strings.cautionsAgain}
        </a>
        <a class="button button--field" href={address({ at: "losses" })}>
          {strings.changeLoss}
        </a>
      </p>
      <a class="button button--field" href={address({ at: "move", loss })}>
        <Icon name="set" />
        {strings.moving.button}
      </a>
      <div class="dock dock--one">
        {inHand !== null && (
          <a
            class="button button--field button--wide"
            href={address({ at: "step", loss, step: "photos" })}
          >
            {strings.carryOn(inHand.slice(0, 4))}
          </a>
        )}
        <button
          type="button"
          class="button button--primary button--scan button--wide"
          onClick={() => void beginDraft(loss).then(() => go({ at: "step", loss, step: "tag" }))}
        >
          <Icon name="scan" size={36} />
          {strings.tagPiece}
        </button>
      </div>
    </div>
  );
}

function PieceCard({ loss, piece }: { loss: string; piece: Piece }) {
  const ruling = rulingOn(piece.tag);
  const place = placeWords(piece.found);
  return (
    <a class="card" href={address({ at: "piece", loss, tag: piece.tag })}>
      <Thumb sha={piece.photos[0] ?? null} alt="" />
      <span class="card__body">
        <span class="card__title">{piece.title || OBJECTS.get(piece.objectType)}</span>
        <TagCode tag={piece.tags.at(-1) ?? piece.tag} />
        {place !== "" && <span class="card__line">{place}</span>}
        {ruling !== null && (
          <span class="card__line">
            {clockOf(ruling.triage).join(" ").trim()}
            {ruling.here && ` (${strings.workedOutHereShort})`}
          </span>
        )}
        <span class="card__flags">
          {ruling !== null && <Band band={ruling.triage.band} label={ruling.label} />}
          {piece.parent !== null && (
            <span class="flag">{strings.partOf(piece.parent.slice(0, 4))}</span>
          )}
          {piece.quantity > 1 && <span class="flag">{strings.setOf(piece.quantity)}</span>}
          <SendingFlag piece={piece} />
        </span>
      </span>
      <Icon name="next" size={28} />
    </a>
  );
}

function SendingFlag({ piece }: { piece: Piece }) {
  const own = outbox.value.filter(
    (one) => piece.events.includes(one.ref) || piece.photos.includes(one.ref),
  );
  if (own.some((one) => one.refused !== null)) {
    return <span class="flag flag--stop">{strings.pieceRefused}</span>;
  }
  if (own.length > 0) {
    return <span class="flag flag--caution">{strings.pieceNotSent}</span>;
  }
  return null;
}
