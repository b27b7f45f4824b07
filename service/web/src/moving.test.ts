import assert from "node:assert/strict";
import test from "node:test";
import "fake-indexeddb/auto";
import type { Body } from "./contract.ts";
import { write } from "./journal.ts";
import {
  containersOf,
  countOff,
  firstTagBy,
  foldMoves,
  joined,
  manifestName,
  notYetLoaded,
  readName,
  receivedOn,
  type Load,
} from "./moving.ts";
import { Store, type KeptEvent } from "./store.ts";

const [A, B, C, D] = ["0000000000001", "000000000002Y", "000000000003W", "0000000000018"] as const;
const LIST = "phone-1-9";

async function moved(...bodies: Body[]): Promise<ReturnType<typeof foldMoves>> {
  const start = { device: "phone-1", sequence: 0, clock: 0, previous: "" };
  const writer = { actor: "Ana Ruiz", zone: "UTC", loss: "L-1", at: new Date(0) };
  const written = await write(start, bodies, writer);
  const kept: KeptEvent[] = written.events.map((event, place) => ({
    id: event.id,
    loss: "L-1",
    event,
    digest: written.digests[place] ?? "",
  }));
  return foldMoves(kept);
}

const packed = (tag: string, container: string): Body => ({ type: "item_packed", tag, container });
const received = (tag: string, manifest?: string): Body => ({
  type: "item_received",
  tag,
  station: "intake",
  ...(manifest === undefined ? {} : { manifest }),
});
const closed = (...tags: string[]): Body => ({
  type: "manifest_closed",
  manifest: LIST,
  vehicle: "blue van",
  tags: tags as [string],
  leaves_at: "2031-05-06T09:00:00Z",
  expected_at: "2031-05-06T11:00:00Z",
});

test("a piece is in the container it was packed into last, in the order of packing", async () => {
  const moves = await moved(packed(A, "K1"), packed(B, "K1"), packed(A, "K2"), packed(C, "K1"));
  assert.deepEqual(
    [...containersOf(moves)],
    [
      ["K1", [B, C]],
      ["K2", [A]],
    ],
  );
});

test("taking the last packing back leaves the one before", async () => {
  const undo: Body = {
    type: "event_undone",
    event: "phone-1.2",
    subject: `item:${A}`,
    reason: "x",
  };
  const moves = await moved(packed(A, "K1"), packed(A, "K2"), undo);
  assert.deepEqual([...containersOf(moves)], [["K1", [A]]]);
  assert.equal(moves.packed.get(A)?.event, "phone-1.1");
});

test("what a list names is not offered for the next truck", async () => {
  const moves = await moved(packed(A, "K1"), packed(B, "K1"), packed(C, "K2"), closed(A, D));
  const left = notYetLoaded(moves, [A, B, C, D, "000000000004T"]);
  assert.deepEqual(
    [...left.containers],
    [
      ["K1", [B]],
      ["K2", [C]],
    ],
  );
  assert.deepEqual(left.loose, ["000000000004T"]);
});

test("a list, its delay and its handover fold into one load", async () => {
  const moves = await moved(
    closed(A, B),
    { type: "handed_over", manifest: LIST, given_by: "Ana", taken_by: "Bo", signature: "ab" },
    {
      type: "manifest_delayed",
      manifest: LIST,
      expected_at: "2031-05-06T15:00:00Z",
      reason: "flat tyre",
    },
  );
  assert.deepEqual(joined([], moves).get(LIST), {
    manifest: LIST,
    vehicle: "blue van",
    expectedAt: "2031-05-06T15:00:00Z",
    tags: [A, B],
    delays: ["flat tyre"],
    received: [],
    handovers: [{ givenBy: "Ana", takenBy: "Bo", signature: "ab" }],
  });
});

test("arrived, missing and surplus; without a list nothing is missing or surplus", () => {
  assert.deepEqual(countOff([A, B, C], [A, D, A, C]), {
    arrived: [A, C],
    missing: [B],
    surplus: [D],
  });
  assert.deepEqual(countOff(null, [A]), { arrived: [A], missing: [], surplus: [] });
  assert.deepEqual(countOff([A], []), { arrived: [], missing: [A], surplus: [] });
});

test("receipts count for the list they name; unnamed ones for the list that names them", async () => {
  const moves = await moved(received(A, LIST), received(B), received(D), received(C, "other-1"));
  const served = [
    {
      manifest: LIST,
      vehicle: "blue van",
      expectedAt: null,
      delays: [],
      tags: [A, B, C],
      received: [],
      handovers: [],
    },
  ];
  assert.deepEqual(receivedOn(moves, LIST), [A]);
  assert.deepEqual(receivedOn(moves, null), [B, D]);
  assert.deepEqual(joined(served, moves).get(LIST)?.received, [A, B]);
});

test("a list made here is there before the service has it, and once after", async () => {
  const moves = await moved(closed(A, B));
  const own = joined([], moves).get(LIST);
  assert.deepEqual(own?.tags, [A, B]);
  const served = [{ ...own!, received: [A] }];
  const both = joined(served, moves);
  assert.equal(both.size, 1);
  assert.deepEqual(both.get(LIST)?.received, [A]);
});

test("two phones, and one phone twice, never name a list alike", () => {
  const names = ["phone-1", "phone-11", "phone-1-1"].flatMap((device) =>
    [0, 1, 10, 110].map((sequence) => manifestName({ device, sequence })),
  );
  assert.equal(new Set(names).size, names.length);
  assert.ok(names.every((name) => readName(name) === name));
});

test("typed names are taken as the log takes them, or not at all", () => {
  assert.equal(readName(" crate 7 "), "crate-7");
  assert.equal(readName("K_7.b"), "K_7.b");
  for (const wrong of ["", "  ", "-7", "Kiste/7", "é", "x".repeat(65)]) {
    assert.equal(readName(wrong), null, wrong);
  }
});

test("a piece given a new tag on the way has come, whoever knows of it", async () => {
  const retag: Body = { type: "tag_replaced", tag: A, new_tag: D, reason: "torn" };
  const own = await moved(closed(A, B), retag, received(D, LIST));
  assert.deepEqual(joined([], own).get(LIST)?.received, [A]);

  const receiver = await moved(received(D, LIST), received(B));
  const served: Load[] = [{ ...joined([], await moved(closed(A, B))).get(LIST)!, received: [] }];
  const told = joined(served, receiver, firstTagBy(new Map([[D, A]]))).get(LIST);
  assert.deepEqual(told?.received, [A, B]);
  assert.deepEqual(countOff(told?.tags ?? null, told?.received ?? []).surplus, []);
});

test("a tag replaced twice, or in a circle, leads to an end", () => {
  const chain = firstTagBy(
    new Map([
      [B, A],
      [C, B],
    ]),
  );
  assert.deepEqual([A, B, C, D].map(chain), [A, A, A, D]);
  const circle = firstTagBy(
    new Map([
      [A, B],
      [B, A],
    ]),
  );
  assert.ok([A, B].includes(circle(A) as typeof A));
});

test("a delay said here stands until the service counts it, and others' stay", async () => {
  const late: Body = {
    type: "manifest_delayed",
    manifest: LIST,
    expected_at: "2031-05-06T18:00:00Z",
    reason: "road closed",
  };
  const own = await moved(late);
  const served: Load = { ...joined([], await moved(closed(A))).get(LIST)!, delays: ["flat tyre"] };
  const before = joined([served], own).get(LIST);
  assert.deepEqual(before?.delays, ["flat tyre", "road closed"]);
  assert.equal(before?.expectedAt, "2031-05-06T18:00:00Z");
  const counted = { ...served, delays: ["road closed", "flat tyre"], expectedAt: "later" };
  const after = joined([counted], own).get(LIST);
  assert.deepEqual(after?.delays, ["road closed", "flat tyre"]);
  assert.equal(after?.expectedAt, "later");
});

test("a signature goes the way of photos: it waits to be sent, once, after the entries", async () => {
  const store = await Store.open("signature");
  await store.nextKey();
  await store.enrol("phone-1", "Crew 1", 0);
  const signature = "5e".repeat(32);
  const given = { type: "handed_over", manifest: LIST, given_by: "Ana", taken_by: "Bo" } as const;
  await store.append([{ ...given, signature }, given], {
    actor: "Ana Ruiz",
    zone: "UTC",
    loss: "L-1",
    at: new Date(0),
  });
  assert.deepEqual(
    (await store.outbox()).map((one) => one.key),
    ["event:phone-1.1", "event:phone-1.2", `photo:${signature}`],
  );
});
