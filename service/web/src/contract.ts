// The event contract as generated from shared/events.py, and the words people see for its values.
import type { Body1, Contract } from "./generated/contract.ts";
import vocabulary from "./generated/vocabulary.json" with { type: "json" };

export type {
  Damage,
  Extent,
  Hazard,
  Material,
  ObjectType,
  PartRole,
  Peril,
  WaterCategory,
} from "./generated/contract.ts";

export type Body = Body1;
export type BodyType = Body["type"];
export type BodyOf<T extends BodyType> = Extract<Body, { type: T }>;
export type Event = Contract["event"];

type EnumName = keyof typeof vocabulary.labels;

/** The plain words of every value of an enum, in the order people see them. */
export function labelsOf<Value extends string>(name: EnumName): ReadonlyMap<Value, string> {
  return new Map(Object.entries(vocabulary.labels[name]) as [Value, string][]);
}

/** Event types that their writer may take back. */
export const UNDOABLE: ReadonlySet<string> = new Set(vocabulary.undoable);

/** Kinds of damage for which the condition of the mould is asked. */
export const MOULDY: ReadonlySet<string> = new Set(vocabulary.mouldy);

/** For each material the words by which somebody may look for it, apart from its name. */
export const MATERIAL_WORDS: Readonly<Record<string, string>> = vocabulary.material_words;

/** Kinds of damage for which the time of wetting is asked. */
export const WETTING: ReadonlySet<string> = new Set(vocabulary.wetting);
