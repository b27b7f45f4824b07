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
import type { MouldCondition } from "./triage.ts";

export interface Place {
  floor: string;
  room: string;
  wall: string;
}

export interface Piece {
  /** The first tag, which stays the piece's name. */
  tag: string;
  /** Every tag it has carried, the one it carries now last. */
  tags: string[];
  objectType: ObjectType;
  materials: Material[];
  quantity: number;
  parent: string | null;
  role: PartRole | null;
  found: Place;
  title: string;
  /** Anything else said of it, such as what a bag of fragments holds. */
  description: string;
  damages: Map<Damage, Extent>;
  /** Since when it is wet, and the condition of its mould, as last said. */
  wetSince: string | null;
  mouldCondition: MouldCondition | null;
  photos: string[];
  /** Ids of this phone's events on the piece, oldest first. */
  events: string[];
  /** The last event on the piece that may be taken back. */
  last: { id: string; body: Body; at: string } | null;
}

/** Pieces by tag, in the order they were tagged. */
export function foldPieces(kept: readonly KeptEvent[]): Map<string, Piece> {
  const undone = new Set(
    kept
      .map(({ event }) => event.body as unknown as Body)
      .flatMap((body) => (body.type === "event_undone" ? [body.event] : [])),
  );
  const pieces = new Map<string, Piece>();
  const first = new Map<string, string>();
  for (const { id, event } of kept) {
    if (undone.has(id)) continue;
    const body = event.body as unknown as Body;
    if (!("tag" in body)) continue;
    const tag = first.get(body.tag) ?? body.tag;
    if (body.type === "item_tagged" && !pieces.has(tag)) pieces.set(tag, tagged(body));
    const piece = pieces.get(tag);
    if (piece === undefined) continue;
    if (body.type === "tag_replaced") first.set(body.new_tag, tag);
    apply(piece, body);
    piece.events.push(id);
    if (UNDOABLE.has(body.type)) piece.last = { id, body, at: event.device_time };
  }
  return pieces;
}

/** The piece that carries `tag` now or carried it before. */
export function carrying(pieces: ReadonlyMap<string, Piece>, tag: string): Piece | undefined {
  return pieces.get(tag) ?? [...pieces.values()].find((piece) => piece.tags.includes(tag));
}

function tagged(body: Extract<Body, { type: "item_tagged" }>): Piece {
  return {
    tag: body.tag,
    tags: [body.tag],
    objectType: body.object_type,
    materials: body.materials,
    quantity: body.quantity ?? 1,
    parent: body.parent ?? null,
    role: body.role ?? null,
    found: placeOf(body.found),
    title: "",
    description: "",
    damages: new Map(),
    wetSince: null,
    mouldCondition: null,
    photos: [],
    events: [],
    last: null,
  };
}

function placeOf(spot: Partial<Place> | undefined): Place {
  return { floor: spot?.floor ?? "", room: spot?.room ?? "", wall: spot?.wall ?? "" };
}

function apply(piece: Piece, body: Body): void {
  switch (body.type) {
    case "item_described":
      piece.title = body.title ?? piece.title;
      piece.description = body.description ?? piece.description;
      piece.objectType = body.object_type ?? piece.objectType;
      piece.materials = body.materials ?? piece.materials;
      piece.quantity = body.quantity ?? piece.quantity;
      if (body.found) piece.found = placeOf(body.found);
      break;
    case "damage_noted":
      piece.damages.set(body.damage, body.extent ?? "partial");
      piece.wetSince = body.wet_since ?? piece.wetSince;
      piece.mouldCondition = body.mould_condition ?? piece.mouldCondition;
      break;
    case "damage_withdrawn":
      piece.damages.delete(body.damage);
      break;
    case "tag_replaced":
      piece.tags.push(body.new_tag);
      break;
    case "photo_taken":
      piece.photos.push(body.photo);
      break;
  }
}
