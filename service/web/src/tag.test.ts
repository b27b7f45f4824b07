import assert from "node:assert/strict";
import test from "node:test";
import { lookalikes, checks, readTag, tagGroups } from "./tag.ts";
import vectors from "./testdata/tags.json" with { type: "json" };

test("reads every text that the Python side reads, to the same tag", () => {
  for (const { text, tag } of vectors.good) assert.deepEqual(readTag(text), { tag }, text);
});

test("refuses every text that the Python side refuses", () => {
  for (const text of vectors.bad) assert.ok("fault" in readTag(text), text);
});

// ISO/IEC 7064:2003 sets MOD 37-2 for alphanumeric strings with one check character, which may be
// "*"; ISBT 128 identification numbers use it. Worked example from memory: G123 4 98 654321, check H.
test("gives the check character of the published example", () => {
  assert.ok(checks("G123498654321H"));
  assert.ok(!checks("G123498654321J"));
});

test("catches every single wrong character and every swap of neighbours", () => {
  const alphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
  for (const { tag } of vectors.good.slice(0, 40)) {
    for (let place = 0; place < tag.length; place += 1) {
      for (const other of alphabet) {
        if (other === tag[place]) continue;
        assert.ok(!checks(tag.slice(0, place) + other + tag.slice(place + 1)));
      }
      const swapped =
        tag.slice(0, place) + (tag[place + 1] ?? "") + tag[place] + tag.slice(place + 2);
      if (swapped !== tag && swapped.length === tag.length) assert.ok(!checks(swapped));
    }
  }
});

test("names the fault", () => {
  const tag = vectors.good[0]?.tag ?? "";
  assert.deepEqual(readTag(tag.slice(1)), { fault: "length", length: 12, expected: 13 });
  assert.deepEqual(readTag(`U${tag.slice(1)}`), { fault: "character", place: 1, character: "U" });
  assert.deepEqual(readTag("https://example.org/menu"), { fault: "other_address" });
});

test("groups as printed", () => {
  assert.deepEqual(tagGroups("ABCDEFGHJKMN7"), ["ABCD", "EFGH", "JKMN", "7"]);
});

test("a torn or soiled tag is like the tags that its readable characters allow", () => {
  const tags = ["ABCDEFGHJKMN7", "ABCDEFGHJKMP5", "0123456789XYZ"];
  assert.deepEqual(lookalikes("abcd efgh jk?? ?", tags), tags.slice(0, 2));
  assert.deepEqual(lookalikes("ABCD-EFGH-JKM?-?", tags), tags.slice(0, 2));
  assert.deepEqual(lookalikes("?????????KMP5", tags), ["ABCDEFGHJKMP5"]);
  assert.deepEqual(lookalikes("FGHJK", tags), tags.slice(0, 2));
  assert.deepEqual(lookalikes("O123", tags), ["0123456789XYZ"]);
});

test("two misread characters are forgiven in a whole code, the nearest first, and no more", () => {
  const tags = ["ABCDEFGHJKMP5", "ABCDEFGHJKMN7"];
  assert.deepEqual(lookalikes("ABCDEFGHJKMN7", tags), ["ABCDEFGHJKMN7", "ABCDEFGHJKMP5"]);
  assert.deepEqual(lookalikes("ZZCDEFGHJKMN7", tags), ["ABCDEFGHJKMN7"]);
  assert.deepEqual(lookalikes("ZZZDEFGHJKMN7", tags), []);
});

test("too little to go by is like nothing", () => {
  assert.deepEqual(lookalikes("ABC", ["ABCDEFGHJKMN7"]), []);
  assert.deepEqual(lookalikes("??????????MN7", ["ABCDEFGHJKMN7"]), []);
  assert.deepEqual(lookalikes("ABCDEFGHJKMN77", ["ABCDEFGHJKMN7"]), []);
});
