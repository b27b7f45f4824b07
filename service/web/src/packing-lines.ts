// Packing of many pairs of pieces in one process, for the test that compares it with Python's.
// Reads lines of JSON: the compiled facts first, then pairs; writes for each pair what never to do
// to the first, and why the two must not share a container.
import { readFileSync } from "node:fs";
import { keptApart, packingNevers, packingRows, type Made } from "./packing.ts";
import type { CompiledFacts } from "./triage.ts";

const [first, ...rest] = readFileSync(process.argv[2] ?? "/dev/stdin", "utf8")
  .trimEnd()
  .split("\n");
const table = (JSON.parse(first ?? "") as CompiledFacts).tables.packing;
for (const line of rest) {
  const [one, other] = (JSON.parse(line) as [Made, Made]).map((made) => packingRows(made, table));
  console.log(JSON.stringify([packingNevers(one ?? []), keptApart(one ?? [], other ?? [])]));
}
