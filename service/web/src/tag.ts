// Tags as read and typed: twelve characters of Crockford's base 32 and one check character by
// ISO/IEC 7064 MOD 37-2, which catches every single wrong character and every swap of neighbours.

const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CHECK_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";
const TAG_LENGTH = 13;
const TAG_PATH = "/T/";
const READ_AS: Record<string, string> = { O: "0", I: "1", L: "1" };

/** Why a text is not a tag; `place` counts characters from one. */
export type TagFault =
  | { fault: "other_address" }
  | { fault: "character"; place: number; character: string }
  | { fault: "length"; length: number; expected: number }
  | { fault: "check" };

export type TagReading = { tag: string } | TagFault;

/** The tag in a typed or scanned text: spaces, hyphens, lower case, O, I and L are forgiven. */
export function readTag(text: string): TagReading {
  let upper = text.trim().toUpperCase();
  if (upper.includes("://")) {
    const start = upper.lastIndexOf(TAG_PATH);
    if (start < 0) return { fault: "other_address" };
    upper = upper.slice(start + TAG_PATH.length).replace(/\/+$/, "");
  }
  const characters = [...upper.replace(/[\s\-‐–]/g, "")].map((one) => READ_AS[one] ?? one);
  const strange = characters.findIndex((one) => !ALPHABET.includes(one));
  if (strange >= 0) {
    return { fault: "character", place: strange + 1, character: characters[strange] ?? "" };
  }
  if (characters.length !== TAG_LENGTH) {
    return { fault: "length", length: characters.length, expected: TAG_LENGTH };
  }
  const tag = characters.join("");
  return checks(tag) ? { tag } : { fault: "check" };
}

/** Whether the last character is the ISO/IEC 7064 MOD 37-2 check of those before it. */
export function checks(tag: string): boolean {
  let sum = 0;
  for (const character of tag) {
    const value = CHECK_ALPHABET.indexOf(character);
    if (value < 0) return false;
    sum = (sum * 2 + value) % 37;
  }
  return sum === 1;
}

/** The tag in the groups that are printed on paper. */
export function tagGroups(tag: string): string[] {
  return tag.match(/.{1,4}/g) ?? [];
}
