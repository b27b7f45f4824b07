import assert from "node:assert/strict";
import test from "node:test";
import { crc32 as crcOfZlib } from "node:zlib";
import "fake-indexeddb/auto";
import type { Event } from "./contract.ts";
import { digestOf, sha256 } from "./journal.ts";
import { outboxFiles } from "./outbox-file.ts";
import { Store } from "./store.ts";
import { crc32, textEntry, zipOf } from "./zip.ts";

const TAG = "ABCDEFGHJKMN7";
const AT = new Date("2031-03-04T05:06:07Z");
const writer = { actor: "Ana Ruiz", zone: "Europe/Lisbon", loss: "L-1", at: AT };

/** The entries of an archive, found by way of its directory, as any reader does. */
async function unzipped(archive: Blob): Promise<Map<string, Uint8Array<ArrayBuffer>>> {
  const bytes = new Uint8Array(await archive.arrayBuffer());
  const view = new DataView(bytes.buffer);
  const end = bytes.length - 22;
  assert.equal(view.getUint32(end, true), 0x06054b50);
  const entries = new Map<string, Uint8Array<ArrayBuffer>>();
  let at = view.getUint32(end + 16, true);
  for (let left = view.getUint16(end + 10, true); left > 0; left -= 1) {
    assert.equal(view.getUint32(at, true), 0x02014b50);
    const nameLength = view.getUint16(at + 28, true);
    const name = new TextDecoder().decode(bytes.subarray(at + 46, at + 46 + nameLength));
    const size = view.getUint32(at + 24, true);
    const local = view.getUint32(at + 42, true);
    assert.equal(view.getUint32(local, true), 0x04034b50);
    const start = local + 30 + view.getUint16(local + 26, true);
    const data = bytes.slice(start, start + size);
    assert.equal(crcOfZlib(data), view.getUint32(at + 16, true));
    assert.equal(crcOfZlib(data), view.getUint32(local + 14, true));
    entries.set(name, data);
    at += 46 + nameLength;
  }
  assert.equal(at, end);
  return entries;
}

async function phoneWith(name: string, pieces: number): Promise<Store> {
  const store = await Store.open(name);
  await store.nextKey();
  await store.enrol("phone-7", "Crew 7", 0);
  for (let piece = 0; piece < pieces; piece += 1) {
    const full = new Blob([`photo ${piece}`.padEnd(1000, ".")]);
    const photo = await sha256(await full.arrayBuffer());
    await store.keepPhoto({ sha: photo, thumb: full, full });
    await store.append(
      [
        { type: "item_tagged", tag: TAG, object_type: "book", materials: ["bound_volume"] },
        { type: "photo_taken", tag: TAG, photo, kind: "site" },
      ],
      writer,
    );
  }
  return store;
}

test("the check sum is that of V.42 (check value from Williams 1993, from memory)", () => {
  assert.equal(crc32(new TextEncoder().encode("123456789")), 0xcbf43926);
});

test("an archive of nothing and one with names beyond ASCII can be read", async () => {
  assert.equal((await unzipped(zipOf([]))).size, 0);
  const read = await unzipped(zipOf([textEntry("a.txt", "one"), textEntry("é/ü.txt", "")]));
  assert.deepEqual([...read.keys()], ["a.txt", "é/ü.txt"]);
  assert.equal(new TextDecoder().decode(read.get("a.txt")), "one");
});

test("carries every event and photo with their digests, and leaves the outbox alone", async () => {
  const store = await phoneWith("carry", 3);
  const [first] = await store.outbox();
  assert.ok(first);
  await store.mark(first, "a reason");
  const { files, unreadable } = await outboxFiles(store, AT);
  assert.equal(files.length, 1);
  assert.deepEqual(unreadable, []);
  assert.equal(files[0]?.name, "unsent-phone-7-20310304T0506.zip");
  const read = await unzipped(files[0]?.data ?? new Blob());
  const cover = JSON.parse(new TextDecoder().decode(read.get("unsent.json")));
  assert.deepEqual([cover.format, cover.events, cover.photos], ["lagan-unsent/1", 6, 3]);
  const wholeText = read.get("events.jsonl") ?? new Uint8Array();
  assert.equal(cover.events_sha256, await sha256(wholeText));
  assert.equal(atob(cover.signature).length, 64);
  const lines = new TextDecoder().decode(read.get("events.jsonl")).trimEnd().split("\n");
  assert.equal(lines.length, 6, "what was refused is carried too");
  for (const line of lines) {
    const { digest, event } = JSON.parse(line) as { digest: string; event: Event };
    assert.equal(await digestOf(event), digest);
  }
  const photos = [...read].filter(([name]) => name.startsWith("photos/"));
  assert.equal(photos.length, 3);
  for (const [name, data] of photos) assert.equal(name, `photos/${await sha256(data)}.jpg`);
  assert.equal((await store.outbox()).length, 9);
});

test("shares photos out over several files, none too large, none left out", async () => {
  const store = await phoneWith("share", 5);
  const { files } = await outboxFiles(store, AT, 2500);
  assert.deepEqual(
    files.map((one) => [one.events, one.photos]),
    [
      [10, 2],
      [0, 2],
      [0, 1],
    ],
  );
  assert.match(files[2]?.name ?? "", /-3-of-3\.zip$/);
});

test("names a photo whose bytes have changed instead of carrying it", async () => {
  const store = await phoneWith("rotten", 2);
  const waiting = (await store.outbox()).find((one) => one.kind === "photo");
  assert.ok(waiting);
  const open = indexedDB.open("rotten");
  const db = await new Promise<IDBDatabase>((done) => (open.onsuccess = () => done(open.result)));
  const change = db.transaction("photos", "readwrite");
  const rotten = new Blob(["something else"]);
  change.objectStore("photos").put({ sha: waiting.ref, thumb: rotten, full: rotten });
  await new Promise((done) => (change.oncomplete = done));
  db.close();
  const { files, unreadable } = await outboxFiles(store, AT);
  assert.deepEqual(unreadable, [waiting.ref]);
  assert.equal(files[0]?.photos, 1);
});
