// Triage of many pieces in one process, for the test that compares it with Python's. Reads lines of
// JSON: the compiled facts first, then pieces; writes a line of triage for each piece, and its time
// to the error stream.
import { readFileSync, writeSync } from "node:fs";
import { assess, Facts, type CompiledFacts, type TriageInput } from "./triage.ts";

const [first, ...rest] = readFileSync(process.argv[2] ?? "/dev/stdin", "utf8")
  .trimEnd()
  .split("\n");
const facts = new Facts(JSON.parse(first ?? "") as CompiledFacts);
const pieces = rest.map((line) => JSON.parse(line) as TriageInput);
const begun = performance.now();
const found = pieces.map((piece) => assess(piece, facts));
const took = performance.now() - begun;
for (const triage of found) console.log(JSON.stringify(triage));
writeSync(2, `${(took / pieces.length).toFixed(4)} ms per piece\n`);
