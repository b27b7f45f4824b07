import assert from "node:assert/strict";
import test from "node:test";
import "fake-indexeddb/auto";
import type { Body } from "./contract.ts";
import { digestOf, sha256 } from "./journal.ts";
import { ageOf, roomOf, StillWaiting, StorageFault, StorageFull, Store, type Waiting } from "./store.ts";

const TAG = "ABCDEFGHJKMN7";
const BLOB = new Blob(["x"]);
const PHOTO = await sha256(await BLOB.arrayBuffer());
const writer = { actor: "Ana Ruiz", zone: "Europe/Lisbon", loss: "L-1", at: new Date(0) };
const bodies: Body[] = [
  { type: "item_tagged", tag: TAG, object_type: "painting", materials: ["oil_canvas"] },
  { type: "photo_taken", tag: TAG, photo: PHOTO, kind: "site" },
];

async function enrolled(name: string): Promise<Store> {
  const store = await Store.open(name);
  await store.nextKey();
  await store.enrol("phone-1", "Crew 1", 10);
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

test("a new name begins a new journal, and only once all of the old one has its receipts", async () => {
  const store = await enrolled("name");
  const first = await store.phone();
  await store.append(bodies, writer);
  await store.nextKey();
  await assert.rejects(store.enrol("phone-2", "Crew 2", 99), StillWaiting);
  assert.equal((await store.journal())?.device, "phone-1");
  assert.equal((await store.journal())?.sequence, 2);
  for (const one of await store.outbox()) await store.settle(one);
  await store.keepNote("revoked", { at: "2031-01-01T00:00:00Z", because: "lost" });
  await store.enrol("phone-2", "Crew 2", 3);
  const state = await store.journal();
  assert.deepEqual(
    [state?.device, state?.sequence, state?.clock, state?.previous],
    ["phone-2", 0, 12, ""],
  );
  assert.equal((await store.phone())?.name, "Crew 2");
  assert.notDeepEqual((await store.phone())?.privateKey, first?.privateKey);
  assert.equal(await store.note("revoked"), undefined);
  assert.equal((await store.eventsOf("L-1")).length, 2, "what was written stays");
});

test("the key for the next enrolment stays the same until that has happened", async () => {
  const store = await Store.open("key");
  const made = await store.nextKey();
  assert.deepEqual((await store.nextKey()).publicKey, made.publicKey);
  assert.equal(made.privateKey.extractable, false);
  assert.equal(await store.phone(), undefined);
  await store.enrol("phone-1", "Crew 1", 0);
  assert.equal((await store.phone())?.device, "phone-1");
  assert.notDeepEqual((await store.nextKey()).publicKey, made.publicKey);
});

test("settling a photo keeps the thumbnail and drops the large copy", async () => {
  const store = await enrolled("settle");
  await store.keepPhoto({ sha: PHOTO, thumb: BLOB, full: BLOB });
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

test("a photo that does not read back as it was written is not reported kept", async () => {
  const store = await enrolled("rotten");
  const kept = store.keepPhoto({ sha: PHOTO, thumb: BLOB, full: new Blob(["y"]) });
  await assert.rejects(kept, StorageFault);
});

test("keeps photos as bytes, and reads those kept as Blobs by older versions", async () => {
  const store = await enrolled("bytes");
  await store.keepPhoto({ sha: PHOTO, thumb: BLOB, full: BLOB });
  const open = indexedDB.open("bytes");
  const db = await new Promise<IDBDatabase>((done) => (open.onsuccess = () => done(open.result)));
  const photos = db.transaction("photos", "readwrite").objectStore("photos");
  const asked = photos.get(PHOTO) as IDBRequest<{ thumb: unknown; full: unknown }>;
  const older = new Blob(["older"]);
  photos.put({ sha: "older", thumb: older, full: null });
  await new Promise((done) => (photos.transaction.oncomplete = done));
  db.close();
  assert.ok(asked.result.thumb instanceof ArrayBuffer);
  assert.ok(asked.result.full instanceof ArrayBuffer);
  assert.equal(await (await store.photo("older"))?.thumb.text(), "older");
  assert.equal((await store.photo("older"))?.full, null);
  assert.equal(await (await store.photo(PHOTO))?.full?.text(), "x");
});

for (const refusedAt of [1, 3, 5]) {
  test(`no room at write ${refusedAt} of a piece: nothing half written, the chain goes on`, async () => {
    const store = await enrolled(`full ${refusedAt}`);
    const { add, put } = IDBObjectStore.prototype;
    let turn = 0;
    const counted = (write: typeof add) =>
      function (this: IDBObjectStore, ...given: Parameters<typeof add>) {
        turn += 1;
        if (turn === refusedAt) throw new DOMException("no room", "QuotaExceededError");
        return write.apply(this, given);
      };
    IDBObjectStore.prototype.add = counted(add);
    IDBObjectStore.prototype.put = counted(put);
    try {
      await assert.rejects(store.append(bodies, writer), StorageFull);
    } finally {
      Object.assign(IDBObjectStore.prototype, { add, put });
    }
    assert.equal(turn, refusedAt);
    assert.deepEqual(await store.eventsOf("L-1"), []);
    assert.deepEqual(await store.outbox(), []);
    const [first] = await store.append(bodies, writer);
    assert.equal(first?.event.sequence, 1);
    assert.equal(first?.event.previous, "");
  });
}

test("the age is that of what waits longest, and a clock set back frightens nobody", () => {
  const hour = 3_600_000;
  const now = 1_000 * hour;
  const since = (hours: number): Waiting => ({
    key: "event:1",
    kind: "event",
    ref: "1",
    order: 1,
    since: now - hours * hour,
    refused: null,
  });
  assert.equal(ageOf([], now), "calm");
  assert.equal(ageOf([since(1), since(23.9)], now), "calm");
  assert.equal(ageOf([since(24), since(1)], now), "over_day");
  assert.equal(ageOf([since(71.9)], now), "over_day");
  assert.equal(ageOf([since(0), since(72)], now), "over_three_days");
  assert.equal(ageOf([since(-500)], now), "calm");
});

test("room is scarce below a tenth of the whole, or below what a day's photos take", () => {
  assert.equal(roomOf({}), null);
  assert.deepEqual(roomOf({ usage: 1e9, quota: 9e9 }), { left: 8e9, scarce: false });
  assert.deepEqual(roomOf({ usage: 9.5e9, quota: 10e9 }), { left: 0.5e9, scarce: true });
  assert.deepEqual(roomOf({ usage: 0, quota: 1e8 }), { left: 1e8, scarce: true });
  assert.deepEqual(roomOf({ usage: 2e9, quota: 1e9 }), { left: 0, scarce: true });
});
