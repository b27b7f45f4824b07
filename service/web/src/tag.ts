// Tags as read and typed: twelve characters of Crockford's base 32 and one check character by
// ISO/IEC 7064 MOD 37-2, which catches every single wrong character and every swap of neighbours.

const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CHECK_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";
const TAG_LENGTH = 13;
const TAG_PATH = "/T/";
const READ_AS: Record<string, string> = { O: "0", I: "1", L: "1" };
const UNREADABLE = "?";

/** Why a text is not a tag; `place` counts characters from one. */
export type TagFault =
  | { fault: "other_address" }
  | { fault: "character"; place: number; character: string }
  | { fault: "length"; length: number; expected: number }
  | { fault: "check" };

export type TagReading = { tag: string } | TagFault;

/** The characters that count: O, I and L as what they are taken for, without what parts groups. */
function charactersOf(text: string): string[] {
  return [...text.toUpperCase().replace(/[\s\-‐–]/g, "")].map((one) => READ_AS[one] ?? one);
}

/** The tag in a typed or scanned text: spaces, hyphens, lower case, O, I and L are forgiven. */
export function readTag(text: string): TagReading {
  let upper = text.trim().toUpperCase();
  if (upper.includes("://")) {
    const start = upper.lastIndexOf(TAG_PATH);
    if (start < 0) return { fault: "other_address" };
    upper = upper.slice(start + TAG_PATH.length).replace(/\/+$/, "");
  }
  const characters = charactersOf(upper);
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

const FEWEST_READABLE = 4;
const MOST_WRONG = 2;

/**
 * The `tags` that may stand on a torn or soiled tag. A question mark stands for each character
 * that can't be read; of a torn tag, what is left of it in one run will do. In a whole code up to
 * two characters may be misread.
 */
export function lookalikes(typed: string, tags: Iterable<string>): string[] {
  const seen = charactersOf(typed);
  const readable = seen.filter((one) => one !== UNREADABLE).length;
  if (readable < FEWEST_READABLE || seen.length > TAG_LENGTH) return [];
  const allowed = seen.length === TAG_LENGTH && readable > TAG_LENGTH / 2 ? MOST_WRONG : 0;
  const wrongAt = (tag: string, start: number) =>
    seen.filter((one, place) => one !== UNREADABLE && one !== tag[start + place]).length;
  return [...tags]
    .map((tag) => {
      const starts = Array.from({ length: TAG_LENGTH - seen.length + 1 }, (_, start) => start);
      return { tag, wrong: Math.min(...starts.map((start) => wrongAt(tag, start))) };
    })
    .filter(({ wrong }) => wrong <= allowed)
    .sort((one, other) => one.wrong - other.wrong)
    .map(({ tag }) => tag);
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
