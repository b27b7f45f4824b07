import { useState } from "preact/hooks";
import { labelsOf, type Material } from "../../contract.ts";
import { strings } from "../../strings.ts";
import { BackButton, Dock, Field, Heading, Icon, NextButton, Notice, Tile } from "../parts.tsx";
import { go } from "../route.ts";
import { draft, keepDraft, recentMaterials } from "../state.ts";
import { LIKELY_MATERIALS } from "../suggestions.ts";

const MATERIALS = labelsOf<Material>("Material");
const MOST = 10_000;

/** Every material of the piece, and how many pieces share the tag. */
export function MaterialsStep({ loss }: { loss: string }) {
  const { materials, objectType, quantity } = draft.value;
  const [search, setSearch] = useState("");
  const [missing, setMissing] = useState(false);

  const all = [...MATERIALS.keys()];
  const sought = search.trim().toLowerCase();
  const likely = likelyFor(objectType, materials);
  const shown =
    sought === ""
      ? all.filter((one) => !likely.includes(one))
      : all.filter((one) => MATERIALS.get(one)?.toLowerCase().includes(sought));

  const toggle = (material: Material) => {
    setMissing(false);
    void keepDraft({
      materials: materials.includes(material)
        ? materials.filter((one) => one !== material)
        : [...materials, material],
    });
  };
  const tile = (material: Material) => (
    <Tile key={material} pressed={materials.includes(material)} onPress={() => toggle(material)}>
      {MATERIALS.get(material)}
    </Tile>
  );

  return (
    <>
      <Heading title={strings.materialsHeading} lead={strings.materialsLead} />
      <Field
        id="search"
        label={strings.search}
        value={search}
        onInput={setSearch}
        attributes={{ type: "search", autocomplete: "off" }}
      />
      {sought === "" && (
        <section>
          <h2 class="group">{strings.likely}</h2>
          <div class="tiles">{likely.map(tile)}</div>
        </section>
      )}
      <section>
        <h2 class="group" aria-live="polite">
          {sought === "" ? strings.allMaterials : strings.found(shown.length)}
        </h2>
        <div class="tiles">{shown.map(tile)}</div>
      </section>
      <section class="panel">
        <h2>{strings.howMany}</h2>
        <p class="quiet">{strings.howManyHint}</p>
        <Stepper value={quantity} onChange={(value) => void keepDraft({ quantity: value })} />
      </section>
      {missing && <Notice kind="error" title={strings.chooseMaterial} />}
      <Dock>
        <BackButton to={{ at: "step", loss, step: "object" }} />
        <NextButton
          onPress={() => {
            if (materials.length === 0) setMissing(true);
            else go({ at: "step", loss, step: "damage" });
          }}
        />
      </Dock>
    </>
  );
}

/** Chosen ones stay in sight, then those usual for the object, then those used last. */
function likelyFor(
  objectType: keyof typeof LIKELY_MATERIALS | null,
  chosen: readonly Material[],
): Material[] {
  const usual = objectType === null ? [] : LIKELY_MATERIALS[objectType];
  const recent = recentMaterials.value.filter((one): one is Material =>
    MATERIALS.has(one as Material),
  );
  return [...new Set([...usual, ...recent, ...chosen])];
}

function Stepper({ value, onChange }: { value: number; onChange: (value: number) => void }) {
  return (
    <div class="stepper">
      <button
        type="button"
        class="button button--field"
        aria-label={strings.fewer}
        disabled={value <= 1}
        onClick={() => onChange(value - 1)}
      >
        <Icon name="minus" />
      </button>
      <input
        aria-label={strings.howMany}
        inputMode="numeric"
        value={value}
        onChange={(event) => {
          const wanted = Number.parseInt(event.currentTarget.value, 10);
          const valid = Number.isInteger(wanted) ? Math.min(MOST, Math.max(1, wanted)) : value;
          event.currentTarget.value = String(valid);
          onChange(valid);
        }}
      />
      <button
        type="button"
        class="button button--field"
        aria-label={strings.more}
        disabled={value >= MOST}
        onClick={() => onChange(value + 1)}
      >
        <Icon name="plus" />
      </button>
    </div>
  );
}
