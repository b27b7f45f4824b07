// The QR code of a truck's list: an address that names the loss and the list, written so that the
// code stays small. The same text as `list_url` in labels/codes.py.

const LIST_PATH = "/M/";
/** All that a QR code in alphanumeric mode can't write (ISO/IEC 18004): lower case, above all. */
const NOT_ALPHANUMERIC = /[^0-9A-Z $%*+\-./:]/g;
const NAME = /^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/;

/** What the code of a list says; `origin` is where the service answers. */
export function listAddress(origin: string, loss: string, manifest: string): string {
  return `${origin.toUpperCase()}${LIST_PATH}${small(loss)}/${small(manifest)}`;
}

/** The loss and the list that a scanned text names, or null when it is no code of a list. */
export function readListAddress(text: string): { loss: string; manifest: string } | null {
  const found = /:\/\/[^/]+(?:\/[^/]+)*?\/M\/([^/]+)\/([^/]+)\/?$/i.exec(text.trim());
  try {
    const [loss, manifest] = [found?.[1], found?.[2]].map((one) => decodeURIComponent(one ?? ""));
    if (loss === undefined || manifest === undefined) return null;
    return NAME.test(loss) && NAME.test(manifest) ? { loss, manifest } : null;
  } catch {
    return null; // A stray "%".
  }
}

function small(name: string): string {
  return name.replace(
    NOT_ALPHANUMERIC,
    (one) => `%${one.charCodeAt(0).toString(16).toUpperCase()}`,
  );
}
