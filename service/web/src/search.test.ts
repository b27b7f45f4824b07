import assert from "node:assert/strict";
import test from "node:test";
import { labelsOf, MATERIAL_WORDS, type Material } from "./contract.ts";
import { distance, search } from "./search.ts";

const MATERIALS = [...labelsOf<Material>("Material")].map(
  ([key, label]) => [key, `${label} ${MATERIAL_WORDS[key] ?? ""}`] as const,
);

test("distances are those of the published example and of plain slips", () => {
  // "kitten" to "sitting": Levenshtein's usual example; "ca" to "abc" is 3 in the restricted form.
  assert.equal(distance("kitten", "sitting"), 3);
  assert.equal(distance("ca", "abc"), 3);
  assert.equal(distance("gelatin", "gealtin"), 1);
  assert.equal(distance("", "abc"), 3);
});

test("a material is found by a word of its name, by another name, and by near spelling", () => {
  for (const [sought, material] of [
    ["canvas", "oil_canvas"],
    ["serigraph", "print_paper"],
    ["giclée", "inkjet_pigment"],
    ["waterclour", "watercolour"],
    ["daguerrotype", "daguerreotype"],
    ["gelatine", "silver_gelatin"],
    ["marqetry", "veneer"],
    ["OAK", "wood"],
    ["oil panel", "panel_painting"],
  ] as const) {
    assert.ok(search(sought, MATERIALS).includes(material), sought);
  }
});

test("what is spelt right comes before what is near, and nonsense finds nothing", () => {
  assert.equal(search("silver", MATERIALS).includes("silver"), true);
  assert.deepEqual(
    search("stone", [
      ["near", "stune"],
      ["right", "stone"],
    ]),
    ["right", "near"],
  );
  assert.deepEqual(search("xylophone", MATERIALS), []);
  assert.equal(search("", MATERIALS).length, MATERIALS.length);
});
