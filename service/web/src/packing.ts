// How a piece must not be packed, and which pieces must not share a container: the same from the
// same rows as shared/packing.py.
import type { Damage, Material } from "./contract.ts";

/** A row of the table "packing"; see `PackingRow` in shared/facts.py. */
export interface PackingRow {
  id: string;
  share: "any" | "alike" | "alone";
  materials: Material[];
  damages: Damage[];
  never: string[];
}

/** Of a piece, what its packing hangs on. */
export interface Made {
  materials: readonly Material[];
  damages: readonly Damage[];
}

/** The rows that concern a piece, in the table's order. */
export function packingRows(piece: Made, table: readonly PackingRow[]): PackingRow[] {
  return table.filter(
    ({ materials, damages }) =>
      (materials.length === 0 || materials.some((one) => piece.materials.includes(one))) &&
      (damages.length === 0 || damages.some((one) => piece.damages.includes(one))),
  );
}

/** What never to do when packing and carrying a piece, as sentences, each once. */
export function packingNevers(rows: readonly PackingRow[]): string[] {
  return [...new Set(rows.flatMap((row) => row.never.map((phrase) => `Never ${phrase}`)))];
}

/** Why two pieces must not share a container, as sentences; empty when they may. */
export function keptApart(one: readonly PackingRow[], other: readonly PackingRow[]): string[] {
  const both = new Map([...one, ...other].map((row) => [row.id, row]));
  const of = (rows: readonly PackingRow[], id: string) => rows.some((row) => row.id === id);
  return [...both.values()]
    .filter(
      ({ id, share }) =>
        share === "alone" || (share === "alike" && !(of(one, id) && of(other, id))),
    )
    .map((row) => `Never ${row.never[0]}`);
}
