// The mend of a tag that was tied to two pieces: this phone's piece goes under another tag, with all
// that this phone said of it, and gives the first tag up to the other piece.
import { UNDOABLE, type Body } from "./contract.ts";
import type { Piece } from "./pieces.ts";
import type { KeptEvent } from "./store.ts";

/** What is said of a piece whatever else befalls it, and holds under another tag too. */
const MOVES_OVER: ReadonlySet<string> = new Set([
  "item_tagged",
  "item_described",
  "damage_noted",
  "damage_withdrawn",
  "photo_taken",
  "value_stated",
  "item_packed",
]);

/** The events that enter `piece` anew under `tag`, then take back what was said under the old. */
export function enteredAnew(
  kept: readonly KeptEvent[],
  piece: Piece,
  tag: string,
  reason: string,
): Body[] {
  const own = new Set(piece.events);
  const said = kept
    .filter(({ id }) => own.has(id))
    .map(({ id, event }) => ({ id, body: event.body as unknown as Body }));
  const anew = said
    .filter(({ body }) => MOVES_OVER.has(body.type))
    .map(({ body }) => ({ ...body, tag }) as Body);
  const takenBack = said
    .filter(({ body }) => UNDOABLE.has(body.type) || body.type === "item_tagged")
    .map(({ id }): Body => ({
      type: "event_undone",
      event: id,
      subject: `item:${piece.tag}`,
      reason,
    }));
  return [...anew, ...takenBack];
}
