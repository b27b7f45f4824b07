// What moves first, worked out on the phone itself. The same rules in the same order as
// shared/triage.py, on the tables that /api/facts compiles: a test runs thousands of pieces
// through both and lets no word and no bit of a number differ.
import type { Triage } from "./api.ts";
import type { Damage, Extent, Hazard, Material, WaterCategory } from "./contract.ts";
import type { PackingRow } from "./packing.ts";

export type Permission = "yes" | "conservator" | "no";
export type MouldCondition = 1 | 2 | 3;
export type Significance = string;

interface MaterialRow {
  material: Material;
  window_h: number;
  gates: string[];
  route: string[];
  never: string[];
}

interface RatingRow {
  material: Material;
  salvage_gain: number;
  mould_sensitivity: string;
}

interface GateRow {
  gate: string;
  rank: number;
  band: string;
  may_move: boolean;
  sentence: string;
  do_first: string;
}

interface DamageRow {
  damage: Damage;
  clock: boolean;
  wets: boolean;
  mould_clock: boolean;
  window_h: number | null;
  severity: number;
  gates: string[];
  assumed_water: WaterCategory | null;
  freeze_wet: Permission;
  do_first: string;
  never: string[];
  sentence: string;
}

interface MouldConditionRow {
  condition: MouldCondition;
  meaning: string;
  severity: number;
  gates: string[];
}

/** What `/api/facts` answers; see `facts_as_json` in shared/facts.py. */
export interface CompiledFacts {
  version: string;
  tables: {
    materials: MaterialRow[];
    ratings: RatingRow[];
    gates: GateRow[];
    hazard_gates: { hazard: Hazard; gate: string; sentence: string }[];
    damages: DamageRow[];
    prohibitions: { phrase: string; harm: string }[];
    water_categories: { category: WaterCategory; severity: number; gates: string[] }[];
    mould_conditions: MouldConditionRow[];
    bands: { band: string; up_to_hours_left: number }[];
    significances: { significance: Significance; factor: number }[];
    extents: { extent: Extent; factor: number }[];
    constants: { name: string; value: number }[];
    permissions: { material: Material; permission: Permission; reason: string }[];
    packing: PackingRow[];
  };
  /** By vocabulary: the plain words of each value, in the vocabulary's own order. */
  labels: Record<string, Record<string, string>>;
  /** Rows of any table that a facility changed, with what a row must concern to be used. */
  changed: { table: string; source: string; material: Material | null; damage: Damage | null }[];
}

export interface DamageSeen {
  damage: Damage;
  extent: Extent;
  water_category: WaterCategory | null;
  /** ISO 8601 with its offset, as every time here. */
  wet_since: string | null;
  mould_condition: MouldCondition | null;
}

/** What is known of a piece and all its parts; see `TriageInput` in shared/triage.py. */
export interface TriageInput {
  now: string;
  materials: readonly Material[];
  damages: readonly DamageSeen[];
  hazards: readonly Hazard[];
  significance: Significance;
  value: string | null;
  mean_temperature_c: number | null;
  loss_at: string | null;
  frozen: readonly { start: string; end: string | null }[];
  conservator_only: boolean;
}

const STRICTNESS: Readonly<Record<Permission, number>> = { yes: 0, conservator: 1, no: 2 };
/** What comes of doing what is never to be done, the gravest first. */
const HARMS = ["people", "lost", "lasting", "mendable"];
const NO_GATE_RANK = 99;
const HOUR_US = 3_600_000_000;

/** The tables by their keys, made once for each version of the facts. */
export class Facts {
  readonly version: string;
  readonly changed: CompiledFacts["changed"];
  readonly gates: readonly GateRow[];
  readonly bands: CompiledFacts["tables"]["bands"];
  readonly packing: CompiledFacts["tables"]["packing"];
  readonly #tables: ReadonlyMap<string, ReadonlyMap<string | number, unknown>>;
  readonly #labels: CompiledFacts["labels"];

  constructor(compiled: CompiledFacts) {
    const { tables } = compiled;
    this.version = compiled.version;
    this.changed = compiled.changed;
    this.gates = [...tables.gates].sort((one, other) => one.rank - other.rank);
    this.bands = tables.bands;
    this.packing = tables.packing;
    this.#labels = compiled.labels;
    this.#tables = new Map<string, ReadonlyMap<string | number, unknown>>([
      ["materials", byKey(tables.materials, (row) => row.material)],
      ["ratings", byKey(tables.ratings, (row) => row.material)],
      ["gates", byKey(tables.gates, (row) => row.gate)],
      ["hazard_gates", byKey(tables.hazard_gates, (row) => row.hazard)],
      ["damages", byKey(tables.damages, (row) => row.damage)],
      ["prohibitions", byKey(tables.prohibitions ?? [], (row) => row.phrase)],
      ["water_categories", byKey(tables.water_categories, (row) => row.category)],
      ["mould_conditions", byKey(tables.mould_conditions, (row) => row.condition)],
      ["significances", byKey(tables.significances, (row) => row.significance)],
      ["extents", byKey(tables.extents, (row) => row.extent)],
      ["constants", byKey(tables.constants, (row) => row.name)],
      ["permissions", byKey(tables.permissions, (row) => row.material)],
    ]);
  }

  /** The row of `table` under `key`. Throws when the facts on this phone have none. */
  row<Table extends keyof CompiledFacts["tables"]>(
    table: Table,
    key: string | number,
  ): CompiledFacts["tables"][Table][number] {
    const found = this.rowOrNull(table, key);
    if (found === null) throw new Error(`the facts on this phone have no ${table} row ${key}`);
    return found;
  }

  rowOrNull<Table extends keyof CompiledFacts["tables"]>(
    table: Table,
    key: string | number,
  ): CompiledFacts["tables"][Table][number] | null {
    const found = this.#tables.get(table)?.get(key);
    return (found as CompiledFacts["tables"][Table][number] | undefined) ?? null;
  }

  constant(name: string): number {
    return this.row("constants", name).value;
  }

  /** What no row speaks of counts among the gravest, as do all in facts of an older service. */
  harmOf(phrase: string): string {
    return this.rowOrNull("prohibitions", phrase)?.harm ?? "people";
  }

  label(vocabulary: string, value: string): string {
    return this.#labels[vocabulary]?.[value] ?? value;
  }

  /** The bands from the most urgent to the least. */
  bandOrder(): string[] {
    return Object.keys(this.#labels["Band"] ?? {});
  }
}

function byKey<Row, Key>(rows: readonly Row[], key: (row: Row) => Key): ReadonlyMap<Key, Row> {
  return new Map(rows.map((row) => [key(row), row]));
}

/** Triage one piece. Throws on a time without its offset or a word that the facts don't know. */
export function assess(piece: TriageInput, facts: Facts): Triage {
  return new Assessment(piece, facts).result();
}

/** One window that runs from wetting, and what sets it. */
interface Limit {
  window_h: number;
  sentence: string;
}

type GateFired = Triage["gates"][number];

/** The steps of one triage; each method answers one question. */
class Assessment {
  readonly piece: TriageInput;
  readonly facts: Facts;
  readonly now: number;
  readonly frozen: { start: number; end: number | null }[];
  readonly materials: MaterialRow[];
  readonly damages: { seen: DamageSeen; row: DamageRow }[];

  constructor(piece: TriageInput, facts: Facts) {
    this.piece = piece;
    this.facts = facts;
    this.now = microseconds(piece.now);
    this.frozen = piece.frozen
      .map(({ start, end }) => ({
        start: microseconds(start),
        end: end === null ? null : microseconds(end),
      }))
      .sort((one, other) => one.start - other.start);
    this.materials = [...new Set(piece.materials)].map((one) => facts.row("materials", one));
    this.damages = piece.damages.map((seen) => ({ seen, row: facts.row("damages", seen.damage) }));
  }

  result(): Triage {
    const gates = this.gates();
    const limit = this.limit();
    const [hoursLeft, clockSentence] = this.hoursLeft(limit);
    const paused = limit !== null && this.isFrozen();
    const band = this.band(gates, hoursLeft, paused);
    const factors = this.factors(hoursLeft, clockSentence);
    const route = this.route(gates, limit);
    const rows = gates.map((fired) => this.facts.row("gates", fired.gate));
    return {
      gates,
      may_move: rows.every((row) => row.may_move),
      window_h: limit?.window_h ?? null,
      hours_left: hoursLeft,
      deadline: hoursLeft === null ? null : textOf(hoursLater(this.now, hoursLeft)),
      paused,
      band,
      score: factors.reduce((score, factor) => score * factor.value, 1),
      factors,
      route,
      never: this.never(),
      freeze_wet: this.freezeWet(),
      sentence: this.sentence(gates, band, hoursLeft, paused, route[0] ?? ""),
      value: this.piece.value,
      facts_version: this.facts.version,
      changed_facts: this.changedFacts(),
      rank: rows.length === 0 ? NO_GATE_RANK : Math.min(...rows.map((row) => row.rank)),
    };
  }

  /** The gates that fire, the weightiest first, each once with all its causes. */
  gates(): GateFired[] {
    const causes = new Map<string, Set<string>>();
    for (const [gate, cause] of this.gateCauses()) {
      causes.set(gate, (causes.get(gate) ?? new Set()).add(cause));
    }
    return this.facts.gates.flatMap((row) => {
      const found = causes.get(row.gate);
      if (found === undefined) return [];
      const sentence = [row.sentence, ...found].join(" ");
      return [{ gate: row.gate, sentence, do_first: row.do_first }];
    });
  }

  *gateCauses(): Iterable<[gate: string, cause: string]> {
    for (const hazard of [...new Set(this.piece.hazards)].sort()) {
      const row = this.facts.rowOrNull("hazard_gates", hazard);
      if (row !== null) yield [row.gate, row.sentence];
    }
    for (const row of this.materials) {
      for (const gate of row.gates) yield [gate, `${this.labelOf(row)}.`];
    }
    for (const { seen, row } of this.damages) {
      for (const gate of row.gates) yield [gate, row.sentence];
      const category = seen.water_category ?? row.assumed_water;
      if (category !== null) {
        const { gates } = this.facts.row("water_categories", category);
        for (const gate of gates) yield [gate, row.sentence];
      }
      if (seen.mould_condition !== null) {
        const condition = this.facts.row("mould_conditions", seen.mould_condition);
        for (const gate of condition.gates) yield [gate, `${condition.meaning}.`];
      }
    }
    if (this.piece.conservator_only) yield ["conservator_only", "It is marked so."];
    if (this.isFrozen() && this.freezeWet().permission === "no") {
      yield ["conservator_only", "It is frozen although it must not be."];
    }
  }

  /** The shortest window that applies, or null if nothing runs out. */
  limit(): Limit | null {
    return firstLeast([...this.limits()], (limit) => limit.window_h);
  }

  *limits(): Iterable<Limit> {
    for (const { row } of this.damages) {
      if (row.window_h !== null) yield { window_h: row.window_h, sentence: row.sentence };
    }
    if (this.isWet()) {
      if (this.materials.length === 0) {
        yield {
          window_h: this.facts.constant("immediate_h"),
          sentence: "Nobody has said what it is made of, so it is taken as the most delicate.",
        };
      }
      for (const row of this.materials) {
        const time = hoursInWords(row.window_h);
        yield {
          window_h: row.window_h,
          sentence: `${this.labelOf(row)} comes to lasting harm in ${time} when wet.`,
        };
      }
    }
    if (this.mouldMayStart()) {
      const [window_h, air] = this.mouldWindow();
      yield { window_h, sentence: `Mould may start within ${hoursInWords(window_h)}${air}.` };
    }
  }

  isWet(): boolean {
    return this.damages.some(({ row }) => row.wets);
  }

  mouldMayStart(): boolean {
    const damp = this.damages.some(({ row }) => row.mould_clock);
    const resistant =
      this.materials.length > 0 &&
      this.materials.every(
        (row) => this.facts.row("ratings", row.material).mould_sensitivity === "resistant",
      );
    return damp && !resistant;
  }

  /** The hours that mould needs, and the words for air that sets them apart. */
  mouldWindow(): [window_h: number, air: string] {
    const temperature = this.piece.mean_temperature_c;
    const { facts } = this;
    if (temperature !== null && temperature > facts.constant("mould_warm_above_c")) {
      return [facts.constant("mould_precaution_warm_h"), " in air this warm"];
    }
    if (temperature !== null && temperature < facts.constant("mould_cold_below_c")) {
      return [facts.constant("mould_precaution_cold_h"), " in air this cold"];
    }
    return [facts.constant("mould_precaution_h"), ""];
  }

  /**
   * The hours left and a sentence saying why. The clock starts at the earliest wetting known;
   * the loss's own time stands in for one that is not; without either the time counts as gone.
   */
  hoursLeft(limit: Limit | null): [hours: number | null, sentence: string] {
    if (limit === null) return [null, "Nothing on it is running out."];
    const running = this.damages.filter(({ row }) => row.clock).map(({ seen }) => seen);
    const known = running
      .map((seen) => seen.wet_since ?? this.piece.loss_at)
      .filter((start) => start !== null)
      .map(microseconds);
    if (known.length < running.length) {
      const left = known.map((start) => limit.window_h - this.elapsedHours(start));
      return [
        Math.min(0, ...left),
        `${limit.sentence} Nobody knows since when, so that time is counted as gone.`,
      ];
    }
    const start = Math.min(...known);
    const left = limit.window_h - this.elapsedHours(start);
    let sentence = `${limit.sentence} ${timeLeft(left)}`;
    if (running.some((seen) => seen.wet_since === null)) {
      sentence += " Counted from the loss, for want of a better time.";
    }
    if (start > this.now) sentence += " Its starting time lies ahead: check the clock.";
    return [left, sentence];
  }

  /** Hours from `start` till now without frozen time; whole microseconds, so nothing is rounded. */
  elapsedHours(start: number): number {
    const total = Math.max(this.now - start, 0);
    let frozen = 0;
    let reached = start;
    for (const interval of this.frozen) {
      const begin = Math.max(interval.start, reached);
      const end = Math.min(interval.end ?? this.now, this.now);
      if (end > begin) {
        frozen += end - begin;
        reached = end;
      }
    }
    return (total - frozen) / HOUR_US;
  }

  isFrozen(): boolean {
    return this.frozen.some(
      ({ start, end }) => start <= this.now && (end === null || end > this.now),
    );
  }

  /** The most urgent of the clock's band and the gates'. */
  band(gates: readonly GateFired[], hoursLeft: number | null, paused: boolean): string {
    const order = this.facts.bandOrder();
    const found = gates.map((fired) => this.facts.row("gates", fired.gate).band);
    if (hoursLeft !== null && !paused) {
      for (const row of this.facts.bands) {
        if (hoursLeft <= row.up_to_hours_left) found.push(row.band);
      }
    }
    return order.find((band) => found.includes(band)) ?? "can_wait";
  }

  /** Urgency, severity, salvage gain and significance, in that order. */
  factors(hoursLeft: number | null, clockSentence: string): Triage["factors"] {
    const { facts } = this;
    const counted = hoursLeft === null ? facts.constant("no_clock_h") : Math.max(hoursLeft, 0);
    const urgency =
      facts.constant("urgency_full") / (1 + counted / facts.constant("urgency_scale_h"));
    const { significance } = this.piece;
    return [
      { name: "urgency", value: urgency, sentence: clockSentence },
      this.severity(),
      this.salvageGain(),
      {
        name: "significance",
        value: facts.row("significances", significance).factor,
        sentence: `${facts.label("Significance", significance)}.`,
      },
    ];
  }

  severity(): Triage["factors"][number] {
    const { facts } = this;
    const none = this.damages.length === 0;
    let worst = none ? 1 : 0;
    let sentence = none ? "No damage was seen." : "";
    for (const { seen, row } of this.damages) {
      let { severity } = row;
      const words = [row.sentence, `${facts.label("Extent", seen.extent)}.`];
      const category = seen.water_category ?? row.assumed_water;
      if (category !== null) {
        severity = Math.max(severity, facts.row("water_categories", category).severity);
        words.push(`${facts.label("WaterCategory", category)}.`);
      }
      if (seen.mould_condition !== null) {
        const condition = facts.row("mould_conditions", seen.mould_condition);
        severity = Math.max(severity, condition.severity);
        words.push(`${condition.meaning}.`);
      }
      const weighed = severity * facts.row("extents", seen.extent).factor;
      if (weighed > worst) {
        worst = weighed;
        sentence = words.join(" ");
      }
    }
    return { name: "severity", value: worst, sentence };
  }

  salvageGain(): Triage["factors"][number] {
    const name = "salvage gain";
    const ratings = this.materials.map((row) => this.facts.row("ratings", row.material));
    const best = firstLeast(ratings, (rating) => -rating.salvage_gain);
    if (best === null) {
      return {
        name,
        value: 1,
        sentence: "Nobody has said what it is made of, so all of it counts as savable.",
      };
    }
    const share = `${roundHalfEven(best.salvage_gain * 100)}%`;
    return {
      name,
      value: best.salvage_gain,
      sentence: `${this.labelOf(best)}: about ${share} of it can be saved by prompt work.`,
    };
  }

  /** The strictest permission of all materials and damages, with its reason. */
  freezeWet(): Triage["freeze_wet"] {
    let permission: Permission = "yes";
    let sentence = "It may be frozen to gain time.";
    if (this.materials.length === 0) {
      permission = "conservator";
      sentence = "Nobody has said what it is made of: ask a conservator before freezing it.";
    }
    for (const material of this.materials) {
      const row = this.facts.row("permissions", material.material);
      if (STRICTNESS[row.permission] > STRICTNESS[permission]) {
        permission = row.permission;
        sentence = `${freezeWords(permission)} ${this.labelOf(material)}: ${row.reason}.`;
      }
    }
    for (const { row } of this.damages) {
      if (STRICTNESS[row.freeze_wet] > STRICTNESS[permission]) {
        permission = row.freeze_wet;
        sentence = `${freezeWords(permission)} ${row.sentence}`;
      }
    }
    return { permission, sentence };
  }

  /** What to do, in order: gates, the worst damage, the most pressing material. */
  route(gates: readonly GateFired[], limit: Limit | null): string[] {
    const steps = gates.map((fired) => fired.do_first);
    const bySeverity = this.damages
      .map(({ row }) => row)
      .sort((one, other) => other.severity - one.severity);
    steps.push(...bySeverity.map((row) => row.do_first).filter((step) => step !== ""));
    if (this.isWet()) {
      const pressing = firstLeast(this.materials, (row) => row.window_h);
      steps.push(...(pressing?.route ?? []).map(capital));
    }
    if (steps.length === 0) {
      steps.push("Keep it level and apart, with its label and nothing touching its face");
    }
    const held = gates.some((fired) => fired.gate === "conservator_only");
    const mayFreeze = this.freezeWet().permission === "yes" && !held && !this.isFrozen();
    if (limit !== null && this.isWet() && mayFreeze) {
      steps.push("Freeze it if it can't be drying in time");
    }
    return [...new Set(steps)];
  }

  /**
   * What never to do and because of what, each thing once, the gravest first: what can hurt people,
   * then by harm, and of like harms by the window of what says it. What only adds to another
   * is left out: the plain one forbids it already.
   */
  never(): Triage["never"] {
    const found = new Map<string, { because: string; harm: number; window: number }>();
    const add = (row: MaterialRow | DamageRow, because: string) => {
      const guardsPeople = row.gates.some((gate) => gate !== "conservator_only");
      const window = row.window_h ?? Infinity;
      for (const phrase of row.never) {
        const harm = HARMS.indexOf(guardsPeople ? "people" : this.facts.harmOf(phrase));
        const before = found.get(phrase);
        if (before === undefined) found.set(phrase, { because, harm, window });
        else if (harm < before.harm || (harm === before.harm && window < before.window)) {
          Object.assign(before, { harm, window });
        }
      }
    };
    for (const row of this.materials) add(row, this.labelOf(row));
    for (const { row } of this.damages) add(row, this.facts.label("Damage", row.damage));
    const plain = [...found.keys()];
    return [...found]
      .filter(([phrase]) => !plain.some((other) => addsTo(phrase, other)))
      .sort(([, a], [, b]) => a.harm - b.harm || Math.sign(a.window - b.window) || 0)
      .map(([phrase, { because, harm }]) => ({
        sentence: `Never ${phrase}`,
        because,
        harm: HARMS[harm] ?? "people",
      }));
  }

  /** What a crew member needs to know, in a few plain sentences. */
  sentence(
    gates: readonly GateFired[],
    band: string,
    hoursLeft: number | null,
    paused: boolean,
    first: string,
  ): string {
    const parts = gates.slice(0, 1).map((fired) => fired.sentence);
    if (paused && hoursLeft !== null) {
      parts.push(
        `Frozen: its clock stands still. ${timeLeft(hoursLeft)} ` +
          "Thaw it only when it can be dried at once.",
      );
    } else if (hoursLeft !== null) {
      parts.push(timeLeft(hoursLeft));
    } else if (gates.length === 0) {
      parts.push("Nothing on it is running out.");
    }
    return [`${this.facts.label("Band", band)}.`, ...parts, `First: ${lower(first)}.`].join(" ");
  }

  /** The rows used here that a facility has changed. */
  changedFacts(): string[] {
    const materials = new Set(this.piece.materials);
    const damages = new Set(this.damages.map(({ row }) => row.damage));
    return this.facts.changed
      .filter(
        ({ material, damage }) =>
          (material === null || materials.has(material)) &&
          (damage === null || damages.has(damage)),
      )
      .map(({ table, source }) => `${table}: ${source}`);
  }

  labelOf({ material }: { material: Material }): string {
    return this.facts.label("Material", material);
  }
}

/** The first of those with the least measure, or null of none. */
function firstLeast<One>(all: readonly One[], measure: (one: One) => number): One | null {
  let least: One | null = null;
  for (const one of all) {
    if (least === null || measure(one) < measure(least)) least = one;
  }
  return least;
}

function addsTo(phrase: string, plain: string): boolean {
  return phrase.startsWith(`${plain} `) || phrase.startsWith(`${plain}:`);
}

function freezeWords(permission: Permission): string {
  if (permission === "no") return "Do not freeze it.";
  return "Freeze it only on a conservator's word.";
}

// Rounded down: nobody should count on time that is not there.
function hoursInWords(hours: number): string {
  const whole = Math.trunc(hours);
  if (whole < 1) return "less than an hour";
  if (whole < 72) return `${whole} hour${whole === 1 ? "" : "s"}`;
  return `${Math.floor(whole / 24)} days`;
}

function timeLeft(hours: number): string {
  if (hours > 0) return `${capital(hoursInWords(hours))} left.`;
  return hours > -1 ? "Its time is up." : `Its time ran out ${hoursInWords(-hours)} ago.`;
}

function capital(text: string): string {
  return text.slice(0, 1).toUpperCase() + text.slice(1);
}

function lower(text: string): string {
  return text.slice(0, 1).toLowerCase() + text.slice(1);
}

const TIME = /^(.+?)(?:\.(\d+))?(Z|[+-]\d\d:?\d\d)$/;

/** Microseconds since 1970, a whole number and exact for the years 1685 to 2255. */
function microseconds(text: string): number {
  const [, whole, fraction, offset] = TIME.exec(text) ?? [];
  const found = Date.parse(`${whole}${offset}`) * 1000;
  if (Number.isNaN(found)) throw new RangeError(`${text} is not a time with its offset from UTC`);
  return found + Number((fraction ?? "").padEnd(6, "0").slice(0, 6));
}

/** A moment in UTC, its microseconds left out where there are none. */
function textOf(moment: number): string {
  const fraction = ((moment % 1_000_000) + 1_000_000) % 1_000_000;
  const whole = new Date((moment - fraction) / 1000).toISOString().slice(0, -".000Z".length);
  return fraction === 0 ? `${whole}Z` : `${whole}.${String(fraction).padStart(6, "0")}Z`;
}

/** `moment` and some hours, rounded to the microsecond as Python's timedelta rounds. */
function hoursLater(moment: number, hours: number): number {
  const whole = Math.trunc(hours);
  const rest = (hours - whole) * HOUR_US;
  return moment + whole * HOUR_US + roundHalfEven(rest);
}

/** The nearest whole number; of two as near, the even one. */
function roundHalfEven(number: number): number {
  const below = Math.floor(number);
  const rest = number - below;
  if (rest !== 0.5) return rest < 0.5 ? below : below + 1;
  return below % 2 === 0 ? below : below + 1;
}
