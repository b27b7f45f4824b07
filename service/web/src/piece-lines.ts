// What a phone works out from its own events, for the test that compares it with the service. Reads
// lines of JSON: the compiled facts, then what a phone holds of one piece each; writes a line of
// triage for each.
import { readFileSync } from "node:fs";
import type { ItemPage, Loss } from "./api.ts";
import { foldPieces } from "./pieces.ts";
import type { KeptEvent } from "./store.ts";
import { inputOf } from "./triage-input.ts";
import { assess, Facts, type CompiledFacts } from "./triage.ts";

interface Held {
  tag: string;
  now: string;
  loss: Loss;
  kept: KeptEvent[];
  page: ItemPage | null;
}

const [first, ...rest] = readFileSync(process.argv[2] ?? "/dev/stdin", "utf8")
  .trimEnd()
  .split("\n");
const facts = new Facts(JSON.parse(first ?? "") as CompiledFacts);
for (const line of rest) {
  const { tag, now, loss, kept, page } = JSON.parse(line) as Held;
  const phone = { loss, kept, pieces: foldPieces(kept) };
  const input = inputOf(tag, page ?? undefined, phone, facts, new Date(now));
  console.log(JSON.stringify(input === null ? null : assess(input, facts)));
}
