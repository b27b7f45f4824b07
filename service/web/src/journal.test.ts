import assert from "node:assert/strict";
import test from "node:test";
import canonicalize from "canonicalize";
import type { Body, Event } from "./contract.ts";
import { digestOf, saw, write } from "./journal.ts";
import vectors from "./testdata/journal.json" with { type: "json" };

const entries = vectors.entries as unknown as { event: Event; digest: string; canonical: string }[];
const start = { device: "phone-7", sequence: 0, clock: 41, previous: "" };
const writer = {
  actor: "Ana Ruiz",
  zone: "Europe/Lisbon",
  loss: "L-2026-014",
  at: new Date("2026-03-04T09:30:15.250Z"),
};

test("writes the same bytes and digests as the Python side", async () => {
  for (const { event, digest, canonical } of entries) {
    assert.equal(canonicalize(event), canonical);
    assert.equal(await digestOf(event), digest);
  }
});

test("writes the same journal as the Python side", async () => {
  const bodies = entries.map(({ event }) => event.body as unknown as Body);
  const written = await write(start, bodies, writer);
  assert.deepEqual(
    written.events,
    entries.map(({ event }) => event),
  );
  assert.deepEqual(
    written.digests,
    entries.map(({ digest }) => digest),
  );
  assert.deepEqual(written.state, {
    device: "phone-7",
    sequence: entries.length,
    clock: 41 + entries.length,
    previous: entries.at(-1)?.digest,
  });
});

test("goes on where it stopped", async () => {
  const bodies = entries.map(({ event }) => event.body as unknown as Body);
  const first = await write(start, bodies.slice(0, 3), writer);
  const second = await write(first.state, bodies.slice(3), writer);
  const whole = await write(start, bodies, writer);
  assert.deepEqual([...first.events, ...second.events], whole.events);
});

test("takes note of a later clock and never goes back", () => {
  assert.equal(saw(start, 90).clock, 90);
  assert.equal(saw(start, 3).clock, 41);
});

// RFC 8785, section 3.2.3: property sorting over UTF-16 code units.
test("sorts property names as RFC 8785 does in its example", () => {
  const example = {
    "\u20ac": "Euro Sign",
    "\r": "Carriage Return",
    "\ufb33": "Hebrew Letter Dalet With Dagesh",
    "1": "One",
    "\ud83d\ude00": "Emoji: Grinning Face",
    "\u0080": "Control",
    "\u00f6": "Latin Small Letter O With Diaeresis",
  };
  const text = canonicalize(example) ?? "";
  const places = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
  ].map((value) => text.indexOf(value));
  assert.deepEqual(
    places,
    places.toSorted((one, other) => one - other),
  );
});
