// A piece's facts in words, wherever they are shown.
import { labelsOf, type Damage, type Extent, type Material, type ObjectType } from "../contract.ts";
import type { Place } from "../pieces.ts";
import { strings } from "../strings.ts";

const OBJECTS = labelsOf<ObjectType>("ObjectType");
const MATERIALS = labelsOf<Material>("Material");
const DAMAGES = labelsOf<Damage>("Damage");
const EXTENTS = labelsOf<Extent>("Extent");

export function placeWords({ floor, room, wall }: Place): string {
  return [floor, room, wall].filter(Boolean).join(", ");
}

export function objectWords(objectType: ObjectType | null): string {
  return objectType === null ? "" : (OBJECTS.get(objectType) ?? objectType);
}

export function materialWords(materials: readonly Material[]): string {
  return materials.map((one) => MATERIALS.get(one) ?? one).join("; ");
}

export function damageWords(
  damages: Iterable<readonly [Damage, Extent]>,
  mouldCondition: number | null,
): string {
  const words = [...damages].map(([damage, extent]) => {
    const label = DAMAGES.get(damage) ?? damage;
    return damage === "none_seen" ? label : `${label} (${EXTENTS.get(extent)?.toLowerCase()})`;
  });
  if (mouldCondition !== null) words.push(strings.tagging.mouldShort(mouldCondition));
  return words.join("; ");
}
