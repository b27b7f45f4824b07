import assert from "node:assert/strict";
import test from "node:test";
import type { Item, ItemPage, Loss } from "./api.ts";
import type { Body } from "./contract.ts";
import { write } from "./journal.ts";
import { foldPieces } from "./pieces.ts";
import type { KeptEvent } from "./store.ts";
import { countsAll, inputOf, type Phone } from "./triage-input.ts";
import { assess, Facts, type CompiledFacts, type TriageInput } from "./triage.ts";

const TAG = "ABCDEFGHJKMN7";
const FRAME = "ABCDEFGHJKMP5";
const NOW = "2026-03-04T12:00:00Z";

/** Tables of two materials and three damages, with round numbers: invented, for these tests. */
const tables: CompiledFacts["tables"] = {
  materials: [
    row("print_paper", { window_h: 48, route: ["lay it flat"], never: ["stack it", "rub it"] }),
    row("plain_frame", { window_h: 72, route: ["stand it up"], never: ["stack it for long"] }),
  ],
  ratings: [
    { material: "print_paper", salvage_gain: 0.125, mould_sensitivity: "very_sensitive" },
    { material: "plain_frame", salvage_gain: 0.1, mould_sensitivity: "resistant" },
  ],
  gates: [
    gate("conservator_only", 5, "today", "Only a conservator touches it.", "Ring a conservator"),
    gate("human_safety", 1, "now", "Hold.", "Keep out"),
  ],
  hazard_gates: [{ hazard: "building", gate: "human_safety", sentence: "It is not released." }],
  damages: [
    damage("soaked", { clock: true, wets: true, mould_clock: true, severity: 3 }),
    damage("soot_dry", { severity: 2 }),
    damage("broken", { severity: 1, freeze_wet: "no" }),
  ],
  prohibitions: [
    { phrase: "stack it", harm: "lasting" },
    { phrase: "rub it", harm: "lost" },
  ],
  water_categories: [
    { category: "1", severity: 1, gates: [] },
    { category: "3", severity: 3, gates: [] },
  ],
  mould_conditions: [{ condition: 3, meaning: "Mould grows", severity: 3, gates: [] }],
  bands: [
    { band: "now", up_to_hours_left: 8 },
    { band: "today", up_to_hours_left: 24 },
    { band: "this_week", up_to_hours_left: 168 },
  ],
  significances: [
    { significance: "ordinary", factor: 1 },
    { significance: "irreplaceable", factor: 2 },
  ],
  extents: [
    { extent: "partial", factor: 0.9 },
    { extent: "wide", factor: 1 },
  ],
  constants: [
    { name: "immediate_h", value: 8 },
    { name: "urgency_full", value: 10 },
    { name: "urgency_scale_h", value: 24 },
    { name: "no_clock_h", value: 216 },
    { name: "mould_precaution_h", value: 40 },
    { name: "mould_precaution_warm_h", value: 20 },
    { name: "mould_precaution_cold_h", value: 80 },
    { name: "mould_warm_above_c", value: 25 },
    { name: "mould_cold_below_c", value: 10 },
  ],
  permissions: [
    { material: "print_paper", permission: "yes", reason: "it comes to no harm" },
    { material: "plain_frame", permission: "conservator", reason: "the joints open" },
  ],
  packing: [],
};
const labels = {
  Band: { now: "Now", today: "Today", this_week: "This week", can_wait: "Can wait" },
  Material: { print_paper: "Prints", plain_frame: "Plain frame" },
};
const facts = new Facts({ version: "v1", tables, labels, changed: [] });

type Tables = CompiledFacts["tables"];

function row(
  material: Tables["materials"][number]["material"],
  more: Omit<Tables["materials"][number], "material" | "gates">,
): Tables["materials"][number] {
  return { material, gates: [], ...more };
}

function gate(
  name: string,
  rank: number,
  band: string,
  sentence: string,
  do_first: string,
): Tables["gates"][number] {
  return { gate: name, rank, band, may_move: rank > 1, sentence, do_first };
}

function damage(
  name: Tables["damages"][number]["damage"],
  more: Partial<Tables["damages"][number]>,
): Tables["damages"][number] {
  return {
    damage: name,
    clock: false,
    wets: false,
    mould_clock: false,
    window_h: null,
    severity: 1,
    gates: [],
    assumed_water: null,
    freeze_wet: "yes",
    do_first: "",
    never: [],
    sentence: `It is ${name}.`,
    ...more,
  };
}

const soaked: TriageInput = {
  now: NOW,
  materials: ["print_paper"],
  damages: [
    {
      damage: "soaked",
      extent: "wide",
      water_category: null,
      wet_since: "2026-03-04T10:00:00Z",
      mould_condition: null,
    },
  ],
  hazards: [],
  significance: "ordinary",
  value: null,
  mean_temperature_c: null,
  loss_at: null,
  frozen: [],
  conservator_only: false,
};

test("mould sets the time where it comes before the material's own harm", () => {
  const found = assess(soaked, facts);
  assert.equal(found.window_h, 40);
  assert.equal(found.hours_left, 38);
  assert.equal(found.deadline, "2026-03-06T02:00:00Z");
  assert.equal(found.band, "this_week");
  assert.equal(found.score, (10 / (1 + 38 / 24)) * 3 * 0.125);
  assert.equal(found.sentence, "This week. 38 hours left. First: lay it flat.");
  assert.deepEqual(found.route, ["Lay it flat", "Freeze it if it can't be drying in time"]);
});

test("warm air halves the time for mould and cold air doubles it, at the limits neither", () => {
  const hours = (mean_temperature_c: number) =>
    assess({ ...soaked, mean_temperature_c }, facts).window_h;
  assert.deepEqual([25.1, 25, 10].map(hours), [20, 40, 40]);
  assert.equal(hours(9.9), 48, "then the paper itself is the first to come to harm");
});

test("frozen time does not count, overlaps count once and the last stay is still open", () => {
  const frozen = [
    { start: "2026-03-04T10:30:00Z", end: "2026-03-04T11:00:00Z" },
    { start: "2026-03-04T11:45:00+01:00", end: "2026-03-04T12:15:00+01:00" },
    { start: "2026-03-04T11:30:00Z", end: null },
  ];
  const found = assess({ ...soaked, frozen }, facts);
  assert.equal(found.hours_left, 39.25);
  assert.equal(found.paused, true);
  assert.equal(found.band, "can_wait");
});

test("times are added up to the microsecond, whatever their offsets", () => {
  const since = { ...soaked.damages[0]!, wet_since: "2026-03-04T15:30:00.000001+05:30" };
  const found = assess({ ...soaked, damages: [since] }, facts);
  assert.equal(found.hours_left, 40 - 7_199_999_999 / 3_600_000_000);
  assert.equal(found.deadline, "2026-03-06T02:00:00.000001Z");
});

test("a wetting that nobody timed counts as gone", () => {
  const untimed = { ...soaked, damages: [{ ...soaked.damages[0]!, wet_since: null }] };
  assert.equal(assess(untimed, facts).hours_left, 0);
  assert.equal(assess(untimed, facts).band, "now");
  const found = assess({ ...untimed, loss_at: "2026-03-04T11:00:00Z" }, facts);
  assert.equal(found.hours_left, 39);
});

test("the weightiest gate speaks first", () => {
  const found = assess({ ...soaked, hazards: ["building"], conservator_only: true }, facts);
  assert.deepEqual(
    found.gates.map((fired) => fired.sentence),
    ["Hold. It is not released.", "Only a conservator touches it. It is marked so."],
  );
  assert.equal(found.rank, 1);
  assert.equal(found.may_move, false);
  assert.equal(found.route[0], "Keep out");
  assert.ok(!found.route.includes("Freeze it if it can't be drying in time"));
});

test("what only adds to a plainer prohibition is left out; the strictest permission holds", () => {
  const found = assess({ ...soaked, materials: ["print_paper", "plain_frame"] }, facts);
  assert.deepEqual(
    found.never.map((one) => one.sentence),
    ["Never rub it", "Never stack it"],
  );
  assert.equal(found.freeze_wet.permission, "conservator");
  const broken = { ...soaked.damages[0]!, damage: "broken" as const };
  const damages = [...soaked.damages, broken];
  const ruling = assess({ ...soaked, damages }, facts).freeze_wet;
  assert.equal(ruling.sentence, "Do not freeze it. It is broken.");
});

test("facts of an older service, without harms, still rule: nothing counts as slight", () => {
  const { prohibitions: _, ...older } = tables;
  const known = new Facts({
    ...{ version: "v1", labels, changed: [] },
    tables: older as CompiledFacts["tables"],
  });
  const found = assess({ ...soaked, materials: ["print_paper"] }, known).never;
  assert.deepEqual(
    found.map((one) => `${one.sentence}: ${one.harm}`),
    ["Never stack it: people", "Never rub it: people"],
  );
});

test("a share half-way between two whole percentages is rounded to the even one", () => {
  const words = assess(soaked, facts).factors.map((factor) => factor.sentence);
  assert.ok(words.includes("Prints: about 12% of it can be saved by prompt work."));
});

test("a time without its offset is refused with its words", () => {
  assert.throws(() => assess({ ...soaked, now: "2026-03-04T12:00:00" }, facts), /2026-03-04T12/);
});

// What the phone knows.

const loss: Loss = {
  loss: "L-1",
  title: "",
  site: "",
  zone: "UTC",
  peril: "fire",
  happened_at: "2026-03-04T08:00:00Z",
  wet_since: "2026-03-04T09:00:00Z",
  water_category: "3",
  mean_temperature_c: "26.5",
  hazards: ["building", "soot"],
  authorisations: [],
  acknowledged: {},
};

async function phoneAfter(...bodies: Body[]): Promise<Phone> {
  const start = { device: "phone-1", sequence: 0, clock: 0, previous: "" };
  const writer = { actor: "Ana Ruiz", zone: "UTC", loss: "L-1", at: new Date(0) };
  const written = await write(start, bodies, writer);
  const kept: KeptEvent[] = written.events.map((event, place) => ({
    id: event.id,
    loss: "L-1",
    event,
    digest: written.digests[place] ?? "",
  }));
  return { loss, kept, pieces: foldPieces(kept) };
}

const tagged: Body = {
  type: "item_tagged",
  tag: TAG,
  object_type: "work_on_paper",
  materials: ["print_paper"],
};
const framed: Body = {
  type: "item_tagged",
  tag: FRAME,
  object_type: "frame",
  materials: ["plain_frame"],
  parent: TAG,
  role: "frame",
};

function noted(more: Partial<Extract<Body, { type: "damage_noted" }>>): Body {
  return { type: "damage_noted", tag: TAG, damage: "soaked", extent: "wide", ...more };
}

function answered(more: Partial<Item>): ItemPage {
  const item: Item = {
    tag: TAG,
    loss: "L-1",
    object_type: "work_on_paper",
    title: "",
    materials: ["print_paper"],
    damages: [],
    significance: "ordinary",
    conservator_only: false,
    valuation: null,
    received_at: null,
    steps: [],
    custody: [{ event: "phone-1.1" }],
    ...more,
  };
  return { item, parts: [], triage: assess(soaked, facts), band_label: "This week" };
}

function input(phone: Phone, page?: ItemPage): TriageInput {
  const found = inputOf(TAG, page, phone, facts, new Date(NOW));
  assert.ok(found !== null);
  return found;
}

test("the loss stands in for what nobody said, and parts bring their materials", async () => {
  const found = input(await phoneAfter(tagged, noted({}), framed));
  assert.deepEqual(found.materials, ["print_paper", "plain_frame"]);
  assert.equal(found.damages[0]?.wet_since, loss.wet_since);
  assert.equal(found.damages[0]?.water_category, "3");
  assert.equal(found.mean_temperature_c, 26.5);
  assert.equal(found.loss_at, loss.happened_at);
});

test("a hazard of the site holds the piece until somebody has read the cautions", async () => {
  assert.deepEqual(input(await phoneAfter(tagged)).hazards, ["building"]);
  const read: Body = { type: "cautions_acknowledged", person: "Ana Ruiz", cautions: ["x"] };
  assert.deepEqual(input(await phoneAfter(tagged, read)).hazards, []);
});

test("a second note keeps the earliest wetting and the worst water", async () => {
  const phone = await phoneAfter(
    tagged,
    noted({ wet_since: "2026-03-04T10:00:00Z", water_category: "3" }),
    noted({ wet_since: "2026-03-04T11:30:00+02:00", water_category: "1", extent: "partial" }),
  );
  assert.deepEqual(input(phone).damages, [
    {
      damage: "soaked",
      extent: "partial",
      wet_since: "2026-03-04T11:30:00+02:00",
      water_category: "3",
      mould_condition: null,
    },
  ]);
});

test("what the service knew last is kept, and what this phone said since is added", async () => {
  const phone = await phoneAfter(tagged, noted({ damage: "soot_dry" }));
  const page = answered({ conservator_only: true });
  assert.equal(countsAll(page, phone), false);
  const found = input(phone, page);
  assert.equal(found.conservator_only, true);
  assert.deepEqual(
    found.damages.map((seen) => seen.damage),
    ["soot_dry"],
  );
  const counted = answered({ custody: [{ event: "phone-1.1" }, { event: "phone-1.2" }] });
  assert.equal(countsAll(counted, phone), true);
  assert.deepEqual(input(phone, counted).damages, []);
});

test("an answer that counts what was taken back since is not gone by", async () => {
  const undo: Body = {
    type: "event_undone",
    event: "phone-1.2",
    subject: `item:${TAG}`,
    reason: "mistake",
  };
  const phone = await phoneAfter(tagged, noted({}), undo);
  const seen = input(await phoneAfter(tagged, noted({}))).damages;
  const page = answered({
    damages: [...seen],
    custody: [{ event: "phone-1.1" }, { event: "phone-1.2" }],
  });
  assert.equal(countsAll(page, phone), false);
  assert.deepEqual(input(phone, page).damages, []);
});

test("once a piece is at the facility, or never seen here, this phone says nothing", async () => {
  const phone = await phoneAfter(tagged);
  const received = answered({ received_at: NOW });
  assert.equal(inputOf(TAG, received, phone, facts, new Date(NOW)), null);
  assert.equal(inputOf(FRAME, undefined, phone, facts, new Date(NOW)), null);
});
