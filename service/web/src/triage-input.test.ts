import assert from "node:assert/strict";
import test from "node:test";
import type { Loss } from "./api.ts";
import type { Body } from "./contract.ts";
import { write } from "./journal.ts";
import type { KeptEvent } from "./store.ts";
import { cautionsRead } from "./triage-input.ts";

const loss: Loss = {
  loss: "L-1",
  title: "",
  site: "",
  zone: "UTC",
  peril: "fire",
  happened_at: null,
  wet_since: null,
  water_category: null,
  mean_temperature_c: null,
  hazards: [],
  authorisations: [],
  acknowledged: { "Ana Ruiz": ["a"], "Bo Lind": ["a", "b", "c"] },
};

async function kept(bodies: Body[]): Promise<KeptEvent[]> {
  const state = { device: "phone-1", sequence: 0, clock: 0, previous: "" };
  const { events } = await write(state, bodies, {
    actor: "Ana Ruiz",
    zone: "UTC",
    loss: "L-1",
    at: new Date(0),
  });
  return events.map((event) => ({ id: event.id, loss: "L-1", event, digest: "" }));
}

test("what a person read is what the service knows and what this phone wrote of that person", async () => {
  const own = await kept([
    { type: "cautions_acknowledged", person: "Ana Ruiz", cautions: ["b"] },
    { type: "cautions_acknowledged", person: "Cy Oba", cautions: ["c"] },
  ]);
  assert.deepEqual([...cautionsRead(loss, own, "Ana Ruiz")], ["a", "b"]);
  assert.deepEqual([...cautionsRead(loss, own, "Cy Oba")], ["c"]);
  assert.deepEqual([...cautionsRead(loss, own, "Nobody")], []);
  assert.deepEqual([...cautionsRead(loss, [], "Bo Lind")], ["a", "b", "c"]);
});
