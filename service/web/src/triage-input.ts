// What this phone knows of a piece, put together for triage as service/assessing.py does it: from
// its own events, from the briefing, and from what the service last said of the piece.
import type { Item, ItemPage, Loss } from "./api.ts";
import type { Body, Damage, Hazard, Material } from "./contract.ts";
import type { Made } from "./packing.ts";
import type { Piece } from "./pieces.ts";
import type { KeptEvent } from "./store.ts";
import type { DamageSeen, Facts, Significance, TriageInput } from "./triage.ts";

/** What this phone holds of the open loss. */
export interface Phone {
  loss: Loss;
  pieces: ReadonlyMap<string, Piece>;
  /** Its own events on the loss, oldest first. */
  kept: readonly KeptEvent[];
}

interface Known {
  materials: readonly Material[];
  damages: Map<Damage, DamageSeen>;
  significance: Significance;
  conservatorOnly: boolean;
  value: string | null;
}

/** The cautions that `person` has read, by the service's word and by this phone's own events. */
export function cautionsRead(
  loss: Loss,
  kept: readonly KeptEvent[],
  person: string,
): ReadonlySet<string> {
  const own = kept
    .map(bodyOf)
    .flatMap((body) =>
      body.type === "cautions_acknowledged" && body.person === person ? body.cautions : [],
    );
  return new Set([...(loss.acknowledged[person] ?? []), ...own]);
}

/** Whether the service's answer counts all that this phone has said and not taken back. */
export function countsAll(page: ItemPage, phone: Phone): boolean {
  const counted = eventsIn(page.item);
  const own = phone.pieces.get(page.item.tag)?.events ?? [];
  return own.every((id) => counted.has(id)) && !countsTakenBack(page.item, phone);
}

/**
 * The piece at `now`, for triage. Null where this phone has no record of it, and where the piece
 * has come to the facility: from then on what counts (cold stores, drying) is known only there.
 *
 * A time that lies ahead stays as it is, so that triage tells the crew to check the clock.
 */
export function inputOf(
  tag: string,
  page: ItemPage | undefined,
  phone: Phone,
  facts: Facts,
  now: Date,
): TriageInput | null {
  if (page !== undefined && (page.item.received_at !== null || page.item.steps.length > 0)) {
    return null;
  }
  const usable = page?.item.loss === phone.loss.loss && !countsTakenBack(page.item, phone);
  const base = usable ? page : undefined;
  if (base === undefined && !phone.pieces.has(tag)) return null;
  const piece = knownOf(tag, base?.item, phone);
  const parts = partsOf(tag, base?.parts ?? [], phone);
  const { loss } = phone;
  return {
    now: now.toISOString(),
    materials: [...new Set([piece, ...parts].flatMap((one) => one.materials))],
    damages: [...piece.damages.values()].map((seen) => ({
      ...seen,
      water_category: seen.water_category ?? loss.water_category,
      wet_since: seen.wet_since ?? loss.wet_since,
    })),
    hazards: standingHazards(phone, facts),
    significance: piece.significance,
    value: piece.value,
    mean_temperature_c: loss.mean_temperature_c ? Number(loss.mean_temperature_c) : null,
    loss_at: loss.happened_at,
    frozen: [],
    conservator_only: piece.conservatorOnly,
  };
}

/** What the packing of a piece hangs on; null where this phone has no record of it. */
export function madeOf(tag: string, page: ItemPage | undefined, phone: Phone): Made | null {
  const usable = page !== undefined && !countsTakenBack(page.item, phone);
  if (!usable && !phone.pieces.has(tag)) return null;
  const known = knownOf(tag, usable ? page.item : undefined, phone);
  return { materials: known.materials, damages: [...known.damages.keys()] };
}

/** Hazards that hold pieces where they are, until somebody has read the cautions and gone in. */
function standingHazards({ loss, kept }: Phone, facts: Facts): Hazard[] {
  const bodies = kept.map(bodyOf);
  const acknowledged =
    Object.keys(loss.acknowledged).length > 0 ||
    bodies.some((body) => body.type === "cautions_acknowledged");
  if (acknowledged) return [];
  const undone = new Set(
    bodies.flatMap((body) => (body.type === "event_undone" ? [body.event] : [])),
  );
  const noted = kept
    .filter(({ id }) => !undone.has(id))
    .map(bodyOf)
    .flatMap((body) => (body.type === "hazard_noted" ? [body.hazard] : []));
  return [...new Set([...loss.hazards, ...noted])].filter(
    (hazard) => facts.rowOrNull("hazard_gates", hazard)?.gate === "human_safety",
  );
}

function partsOf(tag: string, ofService: readonly Item[], phone: Phone): Known[] {
  const items = new Map(ofService.map((item) => [item.tag, item]));
  const own = [...phone.pieces.values()].filter((piece) => piece.parent === tag);
  const tags = new Set([...items.keys(), ...own.map((piece) => piece.tag)]);
  return [...tags].sort().map((part) => {
    const item = items.get(part);
    const usable = item !== undefined && !countsTakenBack(item, phone);
    return knownOf(part, usable ? item : undefined, phone);
  });
}

/** The service's record, where there is one, and this phone's events that it does not count. */
function knownOf(tag: string, item: Item | undefined, phone: Phone): Known {
  const known: Known = {
    materials: item?.materials ?? [],
    damages: new Map(item?.damages.map((seen) => [seen.damage, seen])),
    significance: item?.significance ?? "ordinary",
    conservatorOnly: item?.conservator_only ?? false,
    value: item?.valuation?.value.amount ?? null,
  };
  const standing = new Set(phone.pieces.get(tag)?.events);
  const counted = eventsIn(item);
  for (const one of phone.kept) {
    if (standing.has(one.id) && !counted.has(one.id)) apply(known, bodyOf(one));
  }
  return known;
}

function apply(known: Known, body: Body): void {
  switch (body.type) {
    case "item_tagged":
      known.materials = body.materials;
      break;
    case "item_described":
      known.materials = body.materials ?? known.materials;
      known.significance = body.significance ?? known.significance;
      known.conservatorOnly = body.conservator_only ?? known.conservatorOnly;
      break;
    case "damage_noted":
      known.damages.set(body.damage, merged(known.damages.get(body.damage), body));
      break;
    case "damage_withdrawn":
      known.damages.delete(body.damage);
      break;
    case "value_stated":
      known.value = body.value.amount;
      break;
  }
}

/** A second note of the same damage: the later extent, the earliest wetting, the worst rest. */
function merged(
  seen: DamageSeen | undefined,
  body: Extract<Body, { type: "damage_noted" }>,
): DamageSeen {
  return {
    damage: body.damage,
    extent: body.extent ?? "partial",
    wet_since: least([seen?.wet_since, body.wet_since], (one) => Date.parse(one)),
    water_category: least([seen?.water_category, body.water_category], (one) => -Number(one)),
    mould_condition: least([seen?.mould_condition, body.mould_condition], (one) => -one),
  };
}

function least<One>(
  all: readonly (One | null | undefined)[],
  measure: (one: One) => number,
): One | null {
  const there = all.filter((one) => one !== null && one !== undefined);
  return there.sort((one, other) => measure(one) - measure(other))[0] ?? null;
}

/** Whether a record counts an event that this phone has since taken back. */
function countsTakenBack(item: Item, phone: Phone): boolean {
  const piece = phone.pieces.get(item.tag);
  const standing = new Set(piece?.events);
  const tags = piece?.tags ?? [item.tag];
  const counted = eventsIn(item);
  return phone.kept.some((one) => {
    const body = bodyOf(one);
    return "tag" in body && tags.includes(body.tag) && !standing.has(one.id) && counted.has(one.id);
  });
}

function eventsIn(item: Item | undefined): ReadonlySet<string> {
  return new Set(item?.custody.map((one) => one.event));
}

function bodyOf({ event }: KeptEvent): Body {
  return event.body as unknown as Body;
}
