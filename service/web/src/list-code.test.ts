import assert from "node:assert/strict";
import test from "node:test";
import { encode } from "uqr";
import { listAddress, readListAddress } from "./list-code.ts";

const ORIGIN = "https://lagan.example:8443";

test("the address of a list is read back letter for letter", () => {
  for (const loss of ["QUAY-1", "quay_1.b", "a"]) {
    for (const manifest of ["PHONE-0A1B2C3D4E5F-17", "phone-0a1b2c3d4e5f-17", "M_1"]) {
      const text = listAddress(ORIGIN, loss, manifest);
      assert.match(text, /^[0-9A-Z $%*+\-./:]+$/);
      assert.deepEqual(readListAddress(text), { loss, manifest });
    }
  }
});

test("other codes are not taken for a list's", () => {
  for (const text of [
    "HTTPS://LAGAN.EXAMPLE/T/0000000000001",
    "0000000000001",
    "HTTPS://LAGAN.EXAMPLE/M/QUAY-1",
    "HTTPS://LAGAN.EXAMPLE/M/QUAY-1/%ZZ",
    "HTTPS://LAGAN.EXAMPLE/M/QUAY-1/A B",
    "M/QUAY-1/M-1",
    "",
  ]) {
    assert.equal(readListAddress(text), null, text);
  }
});

// ISO/IEC 18004, capacity table: version 5 at level M takes 122 alphanumeric characters.
test("a phone's list in a small code", () => {
  const text = listAddress(ORIGIN, "QUAY-1", "PHONE-0A1B2C3D4E5F-17");
  assert.ok(encode(text, { ecc: "M" }).version <= 5);
});
