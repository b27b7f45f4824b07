import assert from "node:assert/strict";
import test from "node:test";
import type { Body } from "./contract.ts";
import { bodiesOf, EMPTY_DRAFT } from "./crew/draft.ts";
import { write } from "./journal.ts";
import { foldPieces } from "./pieces.ts";
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
