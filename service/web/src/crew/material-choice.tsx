// Choosing every material of a piece: the likely ones first, the rest by a word or by eye.
import { useState } from "preact/hooks";
import { labelsOf, MATERIAL_WORDS, type Material, type ObjectType } from "../contract.ts";
import { search } from "../search.ts";
import { strings } from "../strings.ts";
import { Field, Notice, Tile } from "./parts.tsx";
import { recentMaterials } from "./state.ts";
import { LIKELY_MATERIALS } from "./suggestions.ts";

const MATERIALS = labelsOf<Material>("Material");
const WORDS = [...MATERIALS].map(
  ([material, label]) => [material, `${label} ${MATERIAL_WORDS[material] ?? ""}`] as const,
);

export function MaterialChoice(props: {
  objectType: ObjectType | null;
  materials: readonly Material[];
  onChange: (materials: readonly Material[]) => void;
}) {
  const { objectType, materials, onChange } = props;
  const [sought, setSought] = useState("");
  const searching = sought.trim() !== "";
  const likely = likelyFor(objectType, materials);
  const shown = searching
    ? search(sought, WORDS)
    : [...MATERIALS.keys()].filter((one) => !likely.includes(one));

  const toggle = (material: Material) =>
    onChange(
      materials.includes(material)
        ? materials.filter((one) => one !== material)
        : [...materials, material],
    );
  const tile = (material: Material) => (
    <Tile key={material} pressed={materials.includes(material)} onPress={() => toggle(material)}>
      {MATERIALS.get(material)}
    </Tile>
  );

  return (
    <>
      {materials.length > 1 && (
        <Notice kind="note" title={strings.tagging.composite}>
          <p>{strings.tagging.compositeText}</p>
        </Notice>
      )}
      <Field
        id="search"
        label={strings.search}
        value={sought}
        onInput={setSought}
        attributes={{ type: "search", autocomplete: "off" }}
      />
      {!searching && (
        <section>
          <h2 class="group">{strings.likely}</h2>
          <div class="tiles">{likely.map(tile)}</div>
        </section>
      )}
      <section>
        <h2 class="group" aria-live="polite">
          {searching ? strings.found(shown.length) : strings.allMaterials}
        </h2>
        <div class="tiles">{shown.map(tile)}</div>
      </section>
    </>
  );
}

/** Chosen ones stay in sight; before them those used last that are usual for the object. */
function likelyFor(objectType: ObjectType | null, chosen: readonly Material[]): Material[] {
  const usual = objectType === null ? [] : LIKELY_MATERIALS[objectType];
  const recent = recentMaterials.value.filter((one): one is Material =>
    MATERIALS.has(one as Material),
  );
  const recentUsual = recent.filter((one) => usual.includes(one));
  return [...new Set([...recentUsual, ...usual, ...recent, ...chosen])];
}
