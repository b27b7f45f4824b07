import assert from "node:assert/strict";
import test, { afterEach } from "node:test";
import "fake-indexeddb/auto";
import type { Body, Event } from "./contract.ts";
import { NotReached } from "./api.ts";
import { digestOf, sha256 } from "./journal.ts";
import { Store } from "./store.ts";
import { checkStanding, enrol, sendAll } from "./sync.ts";

const CODE = "ABCD1234EFGH5678";
const TAG = "ABCDEFGHJKMN7";
const writer = { actor: "Ana Ruiz", zone: "Europe/Lisbon", loss: "L-1", at: new Date(0) };
const realFetch = globalThis.fetch;

afterEach(() => {
  globalThis.fetch = realFetch;
});

/** A service that keeps what it is sent; `trouble` may answer in its place. */
function service(trouble: (path: string, turn: number) => Response | "drop reply" | null) {
  const events = new Map<string, Event>();
  const photos = new Set<string>();
  let turn = 0;
  globalThis.fetch = async (input, init) => {
    const path = String(input);
    turn += 1;
    const instead = trouble(path, turn);
    if (instead instanceof Response) return instead;
    const answer = await answerTo(path, init);
    if (instead === "drop reply") throw new TypeError("network");
    return answer;
  };
  async function answerTo(path: string, init: RequestInit | undefined): Promise<Response> {
    if (path === "/api/devices") return Response.json({ device: "phone-9", name: "Crew 9", clock: 3 });
    if (path.startsWith("/photos/")) {
      const sha = await sha256(await (init?.body as Blob).arrayBuffer());
      photos.add(sha);
      return Response.json({ sha256: sha }, { status: 201 });
    }
    const sent = (JSON.parse(String(init?.body)) as { events: Event[] }).events;
    const receipts = await Promise.all(
      sent.map(async (event) => {
        const outcome = events.has(event.id) ? "already_stored" : "stored";
        events.set(event.id, event);
        return { id: event.id, outcome, digest: await digestOf(event) };
      }),
    );
    return Response.json({ receipts, clock: 500 });
  }
  return { events, photos };
}

async function phoneWith(name: string, pieces: number): Promise<Store> {
  const store = await Store.open(name);
  await enrol(store, CODE);
  for (let piece = 0; piece < pieces; piece += 1) {
    const full = new Blob([`photo ${piece}`]);
    const photo = await sha256(await full.arrayBuffer());
    await store.keepPhoto({ sha: photo, thumb: full, full });
    const bodies: Body[] = [
      { type: "item_tagged", tag: TAG, object_type: "book", materials: ["bound_volume"] },
      { type: "photo_taken", tag: TAG, photo, kind: "site" },
    ];
    await store.append(bodies, writer);
  }
  return store;
}

test("sends everything, in batches, and takes note of the service's clock", async () => {
  const kept = service(() => null);
  const store = await phoneWith("plain", 120);
  assert.deepEqual(await sendAll(store), { outcome: "all" });
  assert.equal(kept.events.size, 240);
  assert.equal(kept.photos.size, 120);
  assert.equal((await store.journal())?.clock, 500);
});

test("takes no name from what is not the service", async () => {
  for (const answer of [{ login: "required" }, { device: "", clock: 1 }, { device: "phone-1" }, { device: "phone-1", clock: 1 }]) {
    globalThis.fetch = async () => Response.json(answer);
    const store = await Store.open("no name");
    await assert.rejects(enrol(store, CODE), NotReached);
    assert.equal(await store.journal(), undefined);
  }
});

test("asks for its name with the same key when the answer was lost", async () => {
  const asked: string[] = [];
  globalThis.fetch = async (_, init) => {
    asked.push(String(init?.body));
    if (asked.length === 1) throw new TypeError("network");
    return Response.json({ device: "phone-9", name: "Crew 9", clock: 3 });
  };
  const store = await Store.open("lost answer");
  await assert.rejects(enrol(store, CODE), NotReached);
  await enrol(store, CODE);
  assert.equal(asked[0], asked[1]);
  assert.equal((await store.phone())?.name, "Crew 9");
});

test("learns that it was stopped, and believes no sign-in page", async () => {
  service(() => null);
  const store = await phoneWith("stopped", 0);
  globalThis.fetch = async () => Response.json({ login: "required", revoked_at: "now" });
  assert.equal(await checkStanding(store), null);
  globalThis.fetch = async () =>
    Response.json({ device: "phone-9", revoked_at: "2031-01-01T00:00:00Z", revoked_because: "lost" });
  const revoked = { at: "2031-01-01T00:00:00Z", because: "lost" };
  assert.deepEqual(await checkStanding(store), revoked);
  assert.deepEqual(await store.note("revoked"), revoked);
});

test("loses nothing and doubles nothing when replies are dropped", async () => {
  const kept = service((_, turn) => (turn % 3 === 0 ? "drop reply" : null));
  const store = await phoneWith("dropped", 30);
  let attempts = 0;
  while ((await sendAll(store)).outcome !== "all") {
    attempts += 1;
    assert.ok(attempts < 100);
  }
  assert.equal(kept.events.size, 60);
  assert.equal(kept.photos.size, 30);
});

for (const [what, answer] of [
  [
    "a sign-in page",
    () => new Response("<h1>Sign in</h1>", { headers: { "content-type": "text/html" } }),
  ],
  ["a fault of the server", () => new Response("", { status: 503 })],
  ["JSON of something else", () => Response.json({ ok: true })],
] as const) {
  test(`keeps everything when ${what} answers`, async () => {
    service((path) => (path === "/api/devices" ? null : answer()));
    const store = await phoneWith(what, 2);
    assert.deepEqual(await sendAll(store), { outcome: "not_reached" });
    assert.equal((await store.outbox()).length, 6);
  });
}

test("keeps what is refused, with the reason, and sends the rest", async () => {
  service((path) =>
    path === "/log/events"
      ? Response.json({
          receipts: [
            { id: "phone-9.1", outcome: "refused", digest: "", why: "tag: not a tag" },
            { id: "phone-9.2", outcome: "stored", digest: "0".repeat(64) },
          ],
          clock: 9,
        })
      : null,
  );
  const store = await phoneWith("refused", 1);
  assert.deepEqual(await sendAll(store), { outcome: "some_refused" });
  const [first, second, ...rest] = await store.outbox();
  assert.equal(first?.refused, "tag: not a tag");
  assert.ok(second?.refused, "a receipt for other bytes does not settle an event");
  assert.equal(rest.length, 0);
});

test("says why when the service refuses the whole", async () => {
  service((path) =>
    path === "/log/events"
      ? Response.json({ detail: "this phone was revoked" }, { status: 403 })
      : null,
  );
  const store = await phoneWith("whole", 1);
  assert.deepEqual(await sendAll(store), {
    outcome: "service_refused",
    why: "this phone was revoked",
  });
  assert.equal((await store.outbox()).length, 3);
});

test("a photo that is refused waits for a person; the photos after it are sent", async () => {
  let refusals = 0;
  const kept = service((path) => {
    if (!path.startsWith("/photos/") || refusals > 0) return null;
    refusals += 1;
    return Response.json({ detail: "not a picture" }, { status: 422 });
  });
  const store = await phoneWith("photo refused", 3);
  assert.deepEqual(await sendAll(store), { outcome: "some_refused" });
  assert.deepEqual(
    (await store.outbox()).map((one) => one.refused),
    ["not a picture"],
  );
  assert.equal(kept.photos.size, 2);
});

for (const status of [401, 403, 404, 407, 429]) {
  test(`an answer of ${status} to a photo holds nothing against the photo`, async () => {
    service((path) => (path.startsWith("/photos/") ? new Response("", { status }) : null));
    const store = await phoneWith(`photo ${status}`, 2);
    assert.equal((await sendAll(store)).outcome, "service_refused");
    assert.deepEqual(
      (await store.outbox()).map((one) => [one.kind, one.refused]),
      [
        ["photo", null],
        ["photo", null],
      ],
    );
  });
}

test("a photo that can't be read any more is named and holds no other up", async () => {
  const kept = service(() => null);
  const store = await phoneWith("unreadable", 3);
  const read = Blob.prototype.arrayBuffer;
  let turn = 0;
  Blob.prototype.arrayBuffer = async function (this: Blob) {
    turn += 1;
    if (turn === 1) throw new DOMException("gone", "NotReadableError");
    return read.call(this);
  };
  try {
    assert.deepEqual(await sendAll(store), { outcome: "some_refused" });
  } finally {
    Blob.prototype.arrayBuffer = read;
  }
  assert.equal((await store.outbox()).length, 1);
  assert.equal(kept.photos.size, 2);
});
