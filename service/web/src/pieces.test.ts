import assert from "node:assert/strict";
import test from "node:test";
import { enteredAnew } from "./anew.ts";
import type { Body } from "./contract.ts";
import { bodiesOf, EMPTY_DRAFT, likeOf, likelyPart, seenOf } from "./crew/draft.ts";
import { write } from "./journal.ts";
import { carrying, foldPieces } from "./pieces.ts";
import type { KeptEvent } from "./store.ts";

const TAG = "ABCDEFGHJKMN7";
const start = { device: "phone-1", sequence: 0, clock: 0, previous: "" };
const writer = { actor: "Ana Ruiz", zone: "UTC", loss: "L-1", at: new Date(0) };

async function kept(bodies: Body[]): Promise<KeptEvent[]> {
  const written = await write(start, bodies, writer);
  return written.events.map((event, place) => ({
    id: event.id,
    loss: "L-1",
    event,
    digest: written.digests[place] ?? "",
  }));
}

const draft = {
  ...EMPTY_DRAFT,
  tag: TAG,
  objectType: "painting",
  materials: ["oil_canvas"],
  damages: { soaked: "wide", soot_dry: "slight" },
  photos: ["ab".repeat(32)],
} as const;

test("a finished draft becomes events that fold to the same piece", async () => {
  const piece = foldPieces(await kept(bodiesOf(draft, "2026-03-04T05:06:07Z"))).get(TAG);
  assert.equal(piece?.objectType, "painting");
  assert.deepEqual(
    [...(piece?.damages ?? [])],
    [
      ["soaked", "wide"],
      ["soot_dry", "slight"],
    ],
  );
  assert.deepEqual(piece?.photos, draft.photos);
});

test("only damage that wets carries the time of wetting", () => {
  const since = bodiesOf(draft, "2026-03-04T05:06:07Z").flatMap((body) =>
    body.type === "damage_noted" ? [[body.damage, body.wet_since]] : [],
  );
  assert.deepEqual(since, [
    ["soaked", "2026-03-04T05:06:07Z"],
    ["soot_dry", undefined],
  ]);
});

test("a draft without tag, type or material is not written", () => {
  assert.throws(() => bodiesOf({ ...draft, tag: null }, null));
  assert.throws(() => bodiesOf({ ...draft, objectType: null }, null));
  assert.throws(() => bodiesOf({ ...draft, materials: [] }, null));
});

test("undoing goes back one step at a time and never undoes the tag", async () => {
  const bodies: Body[] = bodiesOf({ ...draft, photos: [] }, null);
  const undo = (event: string): Body => ({
    type: "event_undone",
    event,
    subject: `item:${TAG}`,
    reason: "Entered by mistake",
  });
  const before = foldPieces(await kept(bodies)).get(TAG);
  assert.equal(before?.last?.id, "phone-1.3");
  const once = foldPieces(await kept([...bodies, undo("phone-1.3")])).get(TAG);
  assert.deepEqual([...(once?.damages.keys() ?? [])], ["soaked"]);
  assert.equal(once?.last?.id, "phone-1.2");
  const twice = foldPieces(await kept([...bodies, undo("phone-1.3"), undo("phone-1.2")])).get(TAG);
  assert.equal(twice?.damages.size, 0);
  assert.equal(twice?.last, null);
});

const NEW = "ABCDEFGHJKMP5";

test("a piece with a new tag is found by both, and what is said under either counts", async () => {
  const pieces = foldPieces(
    await kept([
      ...bodiesOf(draft, null),
      { type: "tag_replaced", tag: TAG, new_tag: NEW, reason: "Lost" },
      { type: "damage_noted", tag: NEW, damage: "broken", extent: "slight" },
    ]),
  );
  assert.equal(pieces.size, 1);
  assert.equal(carrying(pieces, NEW), carrying(pieces, TAG));
  assert.deepEqual(carrying(pieces, NEW)?.tags, [TAG, NEW]);
  assert.equal(carrying(pieces, NEW)?.damages.get("broken"), "slight");
  assert.equal(carrying(pieces, "0000000000000"), undefined);
});

test("a correction changes what the tag said, and is taken back like anything else", async () => {
  const correction: Body = {
    type: "item_described",
    tag: TAG,
    object_type: "book",
    materials: ["bound_volume"],
    quantity: 12,
    found: { floor: "", room: "library", wall: "" },
  };
  const bodies = [...bodiesOf({ ...draft, photos: [] }, null), correction];
  const corrected = foldPieces(await kept(bodies)).get(TAG);
  assert.equal(corrected?.objectType, "book");
  assert.deepEqual(corrected?.materials, ["bound_volume"]);
  assert.equal(corrected?.quantity, 12);
  assert.equal(corrected?.found.room, "library");
  const last = corrected?.last?.id ?? "";
  const undo: Body = { type: "event_undone", event: last, subject: `item:${TAG}`, reason: "x" };
  const before = foldPieces(await kept([...bodies, undo])).get(TAG);
  assert.equal(before?.objectType, "painting");
  assert.equal(before?.quantity, 1);
});

test("the condition of the mould goes with mould and nothing else", () => {
  const mouldy = { ...draft, damages: { soaked: "wide", mould_visible: "slight" } } as const;
  const said = (mouldCondition: 3 | null) =>
    bodiesOf({ ...mouldy, mouldCondition }, null).flatMap((body) =>
      body.type === "damage_noted" ? [[body.damage, body.mould_condition]] : [],
    );
  assert.deepEqual(said(3), [
    ["soaked", undefined],
    ["mould_visible", 3],
  ]);
  assert.deepEqual(said(null), [
    ["soaked", undefined],
    ["mould_visible", undefined],
  ]);
});

test("the next piece may have all of the last but its tag, photos, place in a set and note", async () => {
  const site = "2026-03-04T05:06:07Z";
  const at = "2026-03-03T05:06:07Z";
  for (const wetSince of [{ kind: "site" }, { kind: "unknown" }, { kind: "at", at }] as const) {
    const before = { ...draft, wetSince, quantity: 12, note: "twelve", mouldCondition: 2 } as const;
    const last = foldPieces(await kept(bodiesOf(before, site))).get(TAG);
    assert.ok(last);
    const next = { ...EMPTY_DRAFT, tag: NEW, ...likeOf(last, site) };
    assert.equal(next.quantity, 1);
    assert.equal(next.note, "");
    assert.deepEqual(next.photos, []);
    assert.deepEqual(next.wetSince, wetSince);
    assert.deepEqual(
      { damages: next.damages, wetSince: next.wetSince, mouldCondition: next.mouldCondition },
      seenOf(last, site),
    );
    assert.deepEqual(next.damages, draft.damages);
    assert.deepEqual(next.materials, draft.materials);
  }
});

test("a bag of fragments is of what the piece is of, and broken", async () => {
  const parent = foldPieces(await kept(bodiesOf(draft, null))).get(TAG);
  assert.deepEqual(likelyPart("fragments", parent), {
    objectType: "painting",
    materials: ["oil_canvas"],
    damages: { broken: "wide" },
  });
  assert.deepEqual(likelyPart("frame", parent), { objectType: "frame" });
  assert.deepEqual(likelyPart("backing", parent), {});
});

test("a piece entered anew takes all along, and gives up all under the old tag", async () => {
  const bodies: Body[] = [
    ...bodiesOf({ ...draft, note: "a note" }, null),
    { type: "event_undone", event: "phone-1.3", subject: `item:${TAG}`, reason: "x" },
  ];
  const before = await kept(bodies);
  const old = foldPieces(before).get(TAG);
  assert.ok(old);
  const mend = enteredAnew(before, old, NEW, "on two pieces");
  const after = foldPieces(await kept([...bodies, ...mend]));
  assert.deepEqual([...after.keys()], [NEW]);
  const { damages, photos, description, objectType } = after.get(NEW) ?? old;
  assert.deepEqual(
    { damages, photos, description, objectType },
    {
      damages: old.damages,
      photos: old.photos,
      description: "a note",
      objectType: "painting",
    },
  );
  const undone = mend.flatMap((body) => (body.type === "event_undone" ? [body.event] : []));
  assert.deepEqual(undone, old.events);
});
