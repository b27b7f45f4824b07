// Signs what this phone sends with its own key: HTTP Message Signatures (RFC 9421) by
// ecdsa-p256-sha256 over the method, the path and the digest of the content (RFC 9530), as
// service/log/signing.py checks them.

/** The public half of a phone's key, as a JSON Web Key (RFC 7517). */
export interface PublicKey {
  kty: "EC";
  crv: "P-256";
  x: string;
  y: string;
}

/** A key of this phone. The private half can be used here and never read. */
export interface PhoneKey {
  privateKey: CryptoKey;
  publicKey: PublicKey;
}

/** Who signs: the device's name in the log, and its key. */
export interface Signer {
  device: string;
  privateKey: CryptoKey;
}

const CURVE = { name: "ECDSA", namedCurve: "P-256" };
const SCHEME = { name: "ECDSA", hash: "SHA-256" };
const LABEL = "phone";
const TAG = "lagan-phone";
const COVERED = ["@method", "@path", "content-digest"] as const;

export async function makeKey(): Promise<PhoneKey> {
  const { privateKey, publicKey } = await crypto.subtle.generateKey(CURVE, false, ["sign"]);
  const { x, y } = await crypto.subtle.exportKey("jwk", publicKey);
  return { privateKey, publicKey: { kty: "EC", crv: "P-256", x: x ?? "", y: y ?? "" } };
}

/** The signature of `data`, in base64: r and s, 32 bytes each. */
export async function signatureOf(
  privateKey: CryptoKey,
  data: Uint8Array<ArrayBuffer>,
): Promise<string> {
  return base64(await crypto.subtle.sign(SCHEME, privateKey, data));
}

/** The header fields that sign a request with this `body`. `at` is said, and decides nothing. */
export async function signedHeaders(
  signer: Signer,
  request: { method: string; path: string; body: Uint8Array<ArrayBuffer> },
  at: Date,
): Promise<Record<string, string>> {
  const digest = base64(await crypto.subtle.digest("SHA-256", request.body));
  const contentDigest = `sha-256=:${digest}:`;
  const values: Record<(typeof COVERED)[number], string> = {
    "@method": request.method,
    "@path": request.path,
    "content-digest": contentDigest,
  };
  const created = Math.floor(at.getTime() / 1000);
  const names = COVERED.map((name) => `"${name}"`).join(" ");
  const input = `(${names});created=${created};keyid="${signer.device}";tag="${TAG}"`;
  const lines = COVERED.map((name) => `"${name}": ${values[name]}`);
  const base = [...lines, `"@signature-params": ${input}`].join("\n");
  const signature = await signatureOf(signer.privateKey, new TextEncoder().encode(base));
  return {
    "content-digest": contentDigest,
    "signature-input": `${LABEL}=${input}`,
    signature: `${LABEL}=:${signature}:`,
  };
}

function base64(bytes: ArrayBuffer): string {
  return btoa(String.fromCharCode(...new Uint8Array(bytes)));
}
