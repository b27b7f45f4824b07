// The piece in hand: what has been said of it so far, until it is saved as events.
import {
  WETTING,
  type Body,
  type Damage,
  type Extent,
  type Material,
  type ObjectType,
  type PartRole,
} from "../contract.ts";
import type { Place } from "../pieces.ts";

/** When it got wet: as the site did, not known, or a time of its own (null until a good one). */
export type WetSince = { kind: "site" } | { kind: "unknown" } | { kind: "at"; at: string | null };

export interface Draft {
  /** The loss the piece belongs to; a draft of another loss is not carried over. */
  loss: string | null;
  tag: string | null;
  parent: string | null;
  role: PartRole | null;
  photos: readonly string[];
  objectType: ObjectType | null;
  materials: readonly Material[];
  quantity: number;
  damages: Readonly<Partial<Record<Damage, Extent>>>;
  wetSince: WetSince;
  found: Place;
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
  damages: {},
  wetSince: { kind: "site" },
  found: { floor: "", room: "", wall: "" },
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
    ...damageBodies(tag, draft.damages, draft.wetSince, siteWetSince),
    ...draft.photos.map((photo) => photoBody(tag, photo)),
  ];
}

/** One event for each kind of damage; those that wet carry the time of wetting. */
export function damageBodies(
  tag: string,
  damages: Draft["damages"],
  wetSince: WetSince,
  siteWetSince: string | null,
): Body[] {
  const since =
    wetSince.kind === "at" ? wetSince.at : wetSince.kind === "site" ? siteWetSince : null;
  return (Object.entries(damages) as [Damage, Extent][]).map(([damage, extent]) => ({
    type: "damage_noted",
    tag,
    damage,
    extent,
    ...(since !== null && WETTING.has(damage) ? { wet_since: since } : {}),
  }));
}

/** Whether a time of wetting is asked for and none that can be right was given. */
export function wetTimeMissing(damages: Draft["damages"], wetSince: WetSince): boolean {
  const asked = Object.keys(damages).some((damage) => WETTING.has(damage));
  return asked && wetSince.kind === "at" && wetSince.at === null;
}

export function photoBody(tag: string, photo: string): Body {
  return { type: "photo_taken", tag, photo, kind: "site" };
}
