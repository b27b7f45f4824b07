// The shapes of the service's answers, as far as the phone reads them. Where there is a network,
// anything may answer: what has not the right shape is not the service's and is not kept.
import * as v from "valibot";
import type {
  Damage,
  Extent,
  Hazard,
  Material,
  ObjectType,
  Peril,
  WaterCategory,
} from "./contract.ts";
import type { CompiledFacts, MouldCondition } from "./triage.ts";

/** A word of a vocabulary; which one is not judged, for a newer service may know more words. */
const word = <Word extends string>() => v.custom<Word>((found) => typeof found === "string");
const text = v.string();
const texts = v.array(text);
const perhaps = <Shape extends v.GenericSchema>(shape: Shape) => v.nullable(shape);

export const LOSSES = v.array(
  v.object({
    loss: text,
    title: text,
    site: text,
    peril: word<Peril>(),
    hazards: v.array(word<Hazard>()),
    authorised: v.boolean(),
  }),
);

export const BRIEFING = v.object({
  loss: v.object({
    loss: text,
    title: text,
    site: text,
    zone: text,
    peril: word<Peril>(),
    happened_at: perhaps(text),
    wet_since: perhaps(text),
    water_category: perhaps(word<WaterCategory>()),
    mean_temperature_c: perhaps(text),
    hazards: v.array(word<Hazard>()),
    authorisations: v.array(v.object({ given_by: text, covers: text })),
    acknowledged: v.record(text, texts),
  }),
  cautions: v.array(v.object({ id: text, trigger: text, text })),
  standing: texts,
});

export const TRIAGE = v.object({
  band: text,
  hours_left: perhaps(v.number()),
  deadline: perhaps(text),
  paused: v.boolean(),
  gates: v.array(v.object({ gate: text, sentence: text, do_first: text })),
  factors: v.array(v.object({ name: text, value: v.number(), sentence: text })),
  route: texts,
  never: v.array(v.object({ sentence: text, because: text, harm: v.optional(text, "people") })),
  freeze_wet: v.object({ permission: text, sentence: text }),
  sentence: text,
  may_move: v.boolean(),
  window_h: perhaps(v.number()),
  score: v.number(),
  value: perhaps(text),
  facts_version: text,
  changed_facts: texts,
  rank: v.number(),
});

const SPOT = v.object({
  floor: v.optional(text, ""),
  room: v.optional(text, ""),
  wall: v.optional(text, ""),
});
/** One of the pieces that a doubly tied tag was tied to; null for what other fields are told. */
const CLAIMED = v.fallback(
  perhaps(v.object({ object_type: word<ObjectType>(), found: v.optional(SPOT) })),
  null,
);
const CONFLICT = v.object({
  field: text,
  values: v.array(v.object({ event: text, actor: text, value: CLAIMED })),
});

const ITEM = v.object({
  tag: text,
  loss: perhaps(text),
  object_type: word<ObjectType>(),
  title: text,
  materials: v.array(word<Material>()),
  damages: v.array(
    v.object({
      damage: word<Damage>(),
      extent: word<Extent>(),
      water_category: perhaps(word<WaterCategory>()),
      wet_since: perhaps(text),
      mould_condition: perhaps(
        v.custom<MouldCondition>((found) => found === 1 || found === 2 || found === 3),
      ),
    }),
  ),
  significance: text,
  conservator_only: v.boolean(),
  valuation: perhaps(v.object({ value: v.object({ amount: text }) })),
  received_at: perhaps(text),
  steps: v.array(v.looseObject({})),
  conflicts: v.optional(v.array(CONFLICT)),
  /** Every event that the record counts. */
  custody: v.array(v.object({ event: text })),
});

export const ITEM_PAGE = v.object({
  item: ITEM,
  parts: v.array(ITEM),
  triage: TRIAGE,
  band_label: text,
  /** When this phone had it, in milliseconds since 1970 by its own clock; not the service's. */
  asked_at: v.optional(v.number()),
});

/** The loads of one loss, what the pieces on them are, and where an arriving one can be put. */
export const ROAD = v.object({
  manifests: v.array(
    v.object({
      manifest: text,
      vehicle: text,
      expected_at: perhaps(text),
      delays: v.optional(texts, []),
      tags: texts,
      received: texts,
      handovers: v.array(v.object({ given_by: text, taken_by: text, signature: perhaps(text) })),
    }),
  ),
  pieces: v.array(v.object({ tag: text, object_type: word<ObjectType>(), title: text })),
  stations: v.array(v.object({ id: text, label: text, kind: text })),
  /** Tags that replaced one listed or received, each with the piece's first tag. */
  first_tags: v.optional(v.record(text, text), {}),
});

const ROWS = v.array(v.looseObject({}));
const TABLES: readonly (keyof CompiledFacts["tables"])[] = [
  "materials",
  "ratings",
  "gates",
  "hazard_gates",
  "damages",
  "water_categories",
  "mould_conditions",
  "bands",
  "significances",
  "extents",
  "constants",
  "permissions",
];
/** What a phone may have kept of an older service, whose facts had not these. */
const NEWER: readonly (keyof CompiledFacts["tables"])[] = ["prohibitions", "packing"];

/** The tables by their names; their cells were judged by the service that compiled them. */
export const FACTS = v.pipe(
  v.object({
    version: text,
    tables: v.object({
      ...Object.fromEntries(TABLES.map((name) => [name, ROWS])),
      ...Object.fromEntries(NEWER.map((name) => [name, v.optional(ROWS, [])])),
    }),
    labels: v.record(text, v.record(text, text)),
    changed: ROWS,
  }),
  v.transform((found) => found as unknown as CompiledFacts),
);

export type LossSummary = v.InferOutput<typeof LOSSES>[number];
/** A loss and what to read before entry. */
export type Briefing = v.InferOutput<typeof BRIEFING>;
export type Loss = Briefing["loss"];
export type Caution = Briefing["cautions"][number];
export type Triage = v.InferOutput<typeof TRIAGE>;
/** Of the service's record of a piece, what this phone reads. */
export type Item = v.InferOutput<typeof ITEM>;
export type ItemPage = v.InferOutput<typeof ITEM_PAGE>;
export type Road = v.InferOutput<typeof ROAD>;

/** `found` when it has the shape, else null. */
export function shaped<Shape extends v.GenericSchema>(
  shape: Shape,
  found: unknown,
): v.InferOutput<Shape> | null {
  const read = v.safeParse(shape, found);
  return read.success ? read.output : null;
}
