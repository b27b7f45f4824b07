import assert from "node:assert/strict";
import test from "node:test";
import "fake-indexeddb/auto";
import type { Body } from "./contract.ts";
import { digestOf } from "./journal.ts";
import { Store } from "./store.ts";

const TAG = "ABCDEFGHJKMN7";
const PHOTO = "ab".repeat(32);
const writer = { actor: "Ana Ruiz", zone: "Europe/Lisbon", loss: "L-1", at: new Date(0) };
const bodies: Body[] = [
  { type: "item_tagged", tag: TAG, object_type: "painting", materials: ["oil_canvas"] },
  { type: "photo_taken", tag: TAG, photo: PHOTO, kind: "site" },
];

async function enrolled(name: string): Promise<Store> {
  const store = await Store.open(name);
  await store.enrol("phone-1", 10);
  return store;
}

test("keeps events, their photos and the journal together", async () => {
  const store = await enrolled("together");
  const kept = await store.append(bodies, writer);
  assert.deepEqual(
    kept.map((one) => one.id),
    ["phone-1.1", "phone-1.2"],
  );
  assert.deepEqual(
    (await store.outbox()).map((one) => one.key),
    ["event:phone-1.1", "event:phone-1.2", `photo:${PHOTO}`],
  );
  const state = await store.journal();
  assert.equal(state?.sequence, 2);
  assert.equal(state?.clock, 12);
  assert.equal(state?.previous, kept[1]?.digest);
});

test("chains across tabs that write at once, without a gap or a double", async () => {
  const one = await enrolled("tabs");
  const other = await Store.open("tabs");
  await Promise.all(
    Array.from({ length: 20 }, (_, turn) => (turn % 2 ? one : other).append(bodies, writer)),
  );
  const events = (await one.eventsOf("L-1")).map((kept) => kept.event);
  assert.deepEqual(
    events.map((event) => event.sequence),
    Array.from({ length: 40 }, (_, at) => at + 1),
  );
  for (const [place, event] of events.entries()) {
    const before = events[place - 1];
    assert.equal(event.previous, before === undefined ? "" : await digestOf(before));
  }
});

test("takes a name once and keeps it", async () => {
  const store = await enrolled("name");
  await store.append(bodies, writer);
  await store.enrol("phone-2", 99);
  assert.equal((await store.journal())?.device, "phone-1");
  assert.equal((await store.journal())?.sequence, 2);
});

test("settling a photo keeps the thumbnail and drops the large copy", async () => {
  const store = await enrolled("settle");
  const blob = new Blob(["x"]);
  await store.keepPhoto({ sha: PHOTO, thumb: blob, full: blob });
  await store.append(bodies, writer);
  const waiting = (await store.outbox()).find((one) => one.kind === "photo");
  assert.ok(waiting);
  await store.dropPhoto(PHOTO);
  assert.ok(await store.photo(PHOTO), "a photo that waits is not dropped");
  await store.settle(waiting);
  const photo = await store.photo(PHOTO);
  assert.equal(photo?.full, null);
  assert.ok(photo?.thumb);
});

test("moves the clock forward only", async () => {
  const store = await enrolled("clock");
  await store.saw(50);
  await store.saw(20);
  assert.equal((await store.journal())?.clock, 50);
});
