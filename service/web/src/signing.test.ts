import assert from "node:assert/strict";
import test from "node:test";
import { makeKey, signatureOf, signedHeaders, type PublicKey } from "./signing.ts";

const bytes = (text: string) => new TextEncoder().encode(text);

async function verifies(key: PublicKey, signature: string, data: string): Promise<boolean> {
  const curve = { name: "ECDSA", namedCurve: "P-256" };
  const read = await crypto.subtle.importKey("jwk", { ...key }, curve, false, ["verify"]);
  const raw = Uint8Array.from(atob(signature), (letter) => letter.charCodeAt(0));
  return crypto.subtle.verify({ name: "ECDSA", hash: "SHA-256" }, read, raw, bytes(data));
}

// Digests: RFC 9530, appendix B.1 (the content ends in a line feed) and B.2 (no content).
for (const [body, digest] of [
  ['{"hello": "world"}\n', "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"],
  ["", "sha-256=:47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=:"],
] as const) {
  test(`signs the base that RFC 9421 lays down, over ${body.length} bytes`, async () => {
    const { privateKey, publicKey } = await makeKey();
    const signed = await signedHeaders(
      { device: "phone-1", privateKey },
      { method: "POST", path: "/log/events", body: bytes(body) },
      new Date(1_618_884_473_999),
    );
    assert.equal(signed["content-digest"], digest);
    const input =
      '("@method" "@path" "content-digest");created=1618884473;keyid="phone-1";tag="lagan-phone"';
    assert.equal(signed["signature-input"], `phone=${input}`);
    const base = `"@method": POST\n"@path": /log/events\n"content-digest": ${digest}\n"@signature-params": ${input}`;
    const value = /^phone=:(.{88}):$/.exec(signed["signature"] ?? "")?.[1] ?? "";
    assert.ok(await verifies(publicKey, value, base));
    assert.ok(!(await verifies(publicKey, value, `${base} `)));
    assert.ok(!(await verifies((await makeKey()).publicKey, value, base)));
  });
}

test("a clock before 1970 is said as it is", async () => {
  const { privateKey } = await makeKey();
  const signer = { device: "phone-1", privateKey };
  const request = { method: "PUT", path: "/photos/00", body: bytes("") };
  const signed = await signedHeaders(signer, request, new Date(-500));
  assert.match(signed["signature-input"] ?? "", /;created=-1;/);
});

test("the private half can't be read", async () => {
  const { privateKey, publicKey } = await makeKey();
  assert.equal(privateKey.extractable, false);
  await assert.rejects(crypto.subtle.exportKey("jwk", privateKey));
  assert.deepEqual(Object.keys(publicKey), ["kty", "crv", "x", "y"]);
  assert.ok(await verifies(publicKey, await signatureOf(privateKey, bytes("a")), "a"));
});
