// The piece in hand: what has been said of it so far, until it is saved as events.
import {
  MOULDY,
  WETTING,
  type Body,
  type Damage,
  type Extent,
  type Material,
  type ObjectType,
  type PartRole,
} from "../contract.ts";
import type { Piece, Place } from "../pieces.ts";
import type { MouldCondition } from "../triage.ts";

/** When it got wet: as the site did, not known, or a time of its own (null until a good one). */
export type WetSince = { kind: "site" } | { kind: "unknown" } | { kind: "at"; at: string | null };

/** What was seen of the damage to a piece. */
export interface Seen {
  damages: Readonly<Partial<Record<Damage, Extent>>>;
  wetSince: WetSince;
  /** Null where nobody qualified has said. */
  mouldCondition: MouldCondition | null;
}

export const NOTHING_SEEN: Seen = {
  damages: {},
  wetSince: { kind: "site" },
  mouldCondition: null,
};

export interface Draft extends Seen {
  /** The loss the piece belongs to; a draft of another loss is not carried over. */
  loss: string | null;
  tag: string | null;
  parent: string | null;
  role: PartRole | null;
  photos: readonly string[];
  objectType: ObjectType | null;
  materials: readonly Material[];
  quantity: number;
  found: Place;
  /** Anything else to say at once, such as what a bag of fragments holds. */
  note: string;
}

export const EMPTY_DRAFT: Draft = {
  loss: null,
  tag: null,
  parent: null,
  role: null,
  photos: [],
  objectType: null,
  materials: [],
  quantity: 1,
  ...NOTHING_SEEN,
  found: { floor: "", room: "", wall: "" },
  note: "",
};

/** The events that say all of a finished draft. Throws when tag, type or material is missing. */
export function bodiesOf(draft: Draft, siteWetSince: string | null): Body[] {
  const { tag, objectType, materials } = draft;
  if (tag === null || objectType === null || materials.length === 0) {
    throw new Error("a piece needs its tag, its type and a material");
  }
  return [
    {
      type: "item_tagged",
      tag,
      object_type: objectType,
      materials: [...materials],
      found: draft.found,
      quantity: draft.quantity,
      ...(draft.parent === null ? {} : { parent: draft.parent, role: draft.role ?? "other" }),
    },
    ...(draft.note.trim() === ""
      ? []
      : [{ type: "item_described" as const, tag, description: draft.note.trim() }]),
    ...damageBodies(tag, draft, siteWetSince),
    ...draft.photos.map((photo) => photoBody(tag, photo)),
  ];
}

/**
 * One event for each kind of damage; those that wet carry the time of wetting, those of mould its
 * condition.
 */
export function damageBodies(tag: string, seen: Seen, siteWetSince: string | null): Body[] {
  const { damages, wetSince, mouldCondition } = seen;
  const since =
    wetSince.kind === "at" ? wetSince.at : wetSince.kind === "site" ? siteWetSince : null;
  return (Object.entries(damages) as [Damage, Extent][]).map(([damage, extent]) => ({
    type: "damage_noted",
    tag,
    damage,
    extent,
    ...(since !== null && WETTING.has(damage) ? { wet_since: since } : {}),
    ...(mouldCondition !== null && MOULDY.has(damage) ? { mould_condition: mouldCondition } : {}),
  }));
}

/** Whether a time of wetting is asked for and none that can be right was given. */
export function wetTimeMissing({ damages, wetSince }: Seen): boolean {
  const asked = Object.keys(damages).some((damage) => WETTING.has(damage));
  return asked && wetSince.kind === "at" && wetSince.at === null;
}

/** What `piece` suffered, to be said of the next one too. */
export function seenOf(piece: Piece, siteWetSince: string | null): Seen {
  const { wetSince: at, mouldCondition } = piece;
  const wet = [...piece.damages.keys()].some((damage) => WETTING.has(damage));
  const wetSince: WetSince =
    !wet || at === siteWetSince
      ? { kind: "site" }
      : at === null
        ? { kind: "unknown" }
        : { kind: "at", at };
  return { damages: Object.fromEntries(piece.damages), wetSince, mouldCondition };
}

/** All that the next piece may have from `piece`: never its tag, its photos or its count. */
export function likeOf(piece: Piece, siteWetSince: string | null): Partial<Draft> {
  return {
    objectType: piece.objectType,
    materials: piece.materials,
    ...seenOf(piece, siteWetSince),
  };
}

/** What a part most often is; everything can be changed. Common practice, no source. */
export function likelyPart(role: PartRole, parent: Piece | undefined): Partial<Draft> {
  switch (role) {
    case "frame":
      return { objectType: "frame" };
    case "glazing":
      return { objectType: "other", materials: ["glass"] };
    case "fragments":
      return {
        objectType: parent?.objectType ?? null,
        materials: parent?.materials ?? [],
        damages: { broken: "wide" },
      };
    default:
      return {};
  }
}

export function photoBody(tag: string, photo: string): Body {
  return { type: "photo_taken", tag, photo, kind: "site" };
}
