// The pieces tagged on this phone, folded from its own events.
import {
  UNDOABLE,
  type Body,
  type Damage,
  type Extent,
  type Material,
  type ObjectType,
  type PartRole,
} from "./contract.ts";
import type { KeptEvent } from "./store.ts";

export interface Place {
  floor: string;
  room: string;
  wall: string;
}

export interface Piece {
  tag: string;
  objectType: ObjectType;
  materials: Material[];
  quantity: number;
  parent: string | null;
  role: PartRole | null;
  found: Place;
  title: string;
  damages: Map<Damage, Extent>;
  photos: string[];
  /** Ids of this phone's events on the piece, oldest first. */
  events: string[];
  /** The last event on the piece that may be taken back. */
  last: { id: string; body: Body } | null;
}

/** Pieces by tag, in the order they were tagged. */
export function foldPieces(kept: readonly KeptEvent[]): Map<string, Piece> {
  const undone = new Set(
    kept
      .map(({ event }) => event.body as unknown as Body)
      .flatMap((body) => (body.type === "event_undone" ? [body.event] : [])),
  );
  const pieces = new Map<string, Piece>();
  for (const { id, event } of kept) {
    if (undone.has(id)) continue;
    const body = event.body as unknown as Body;
    if (body.type === "item_tagged" && !pieces.has(body.tag)) pieces.set(body.tag, tagged(body));
    const piece = "tag" in body ? pieces.get(body.tag) : undefined;
    if (piece === undefined) continue;
    apply(piece, body);
    piece.events.push(id);
    if (UNDOABLE.has(body.type)) piece.last = { id, body };
  }
  return pieces;
}

function tagged(body: Extract<Body, { type: "item_tagged" }>): Piece {
  return {
    tag: body.tag,
    objectType: body.object_type,
    materials: body.materials,
    quantity: body.quantity ?? 1,
    parent: body.parent ?? null,
    role: body.role ?? null,
    found: {
      floor: body.found?.floor ?? "",
      room: body.found?.room ?? "",
      wall: body.found?.wall ?? "",
    },
    title: "",
    damages: new Map(),
    photos: [],
    events: [],
    last: null,
  };
}

function apply(piece: Piece, body: Body): void {
  switch (body.type) {
    case "item_described":
      piece.title = body.title ?? piece.title;
      break;
    case "damage_noted":
      piece.damages.set(body.damage, body.extent ?? "partial");
      break;
    case "damage_withdrawn":
      piece.damages.delete(body.damage);
      break;
    case "photo_taken":
      piece.photos.push(body.photo);
      break;
  }
}
