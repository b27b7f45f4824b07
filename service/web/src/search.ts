// Finding one of a list by any of its words, near spelling forgiven, without a network.

/** Letters of a sought word from which on one slip, and two slips, are forgiven. */
const ONE_SLIP_FROM = 4;
const TWO_SLIPS_FROM = 8;

/** Of `entries` (each a key and its words), the keys that have every word of `sought`, best first. */
export function search<Key>(sought: string, entries: Iterable<readonly [Key, string]>): Key[] {
  const asked = wordsOf(sought);
  return [...entries]
    .map(([key, text]) => {
      const words = wordsOf(text);
      const slips = asked.map((one) => Math.min(...words.map((word) => slipsTo(one, word))));
      return { key, slips: slips.reduce((sum, one) => sum + one, 0) };
    })
    .filter(({ slips }) => Number.isFinite(slips))
    .sort((one, other) => one.slips - other.slips)
    .map(({ key }) => key);
}

function wordsOf(text: string): string[] {
  const plain = text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
  return plain.match(/[\p{L}\p{N}]+/gu) ?? [];
}

/** How many slips make `asked` out of the beginning of `word`; infinite when they are too many. */
function slipsTo(asked: string, word: string): number {
  if (word.startsWith(asked)) return 0;
  const most = asked.length >= TWO_SLIPS_FROM ? 2 : asked.length >= ONE_SLIP_FROM ? 1 : 0;
  const beginnings = Array.from(
    { length: 2 * most + 1 },
    (_, place) => asked.length - most + place,
  );
  const least = Math.min(...beginnings.map((length) => distance(asked, word.slice(0, length))));
  return least <= most ? least : Infinity;
}

/**
 * Letters to put in, leave out, change or swap with their neighbour: the restricted
 * Damerau-Levenshtein distance ("optimal string alignment").
 */
export function distance(one: string, other: string): number {
  let before: number[] = [];
  let above = Array.from({ length: other.length + 1 }, (_, place) => place);
  for (let row = 1; row <= one.length; row += 1) {
    const line = [row];
    for (let place = 1; place <= other.length; place += 1) {
      const same = one[row - 1] === other[place - 1];
      let least = Math.min(
        (above[place] ?? 0) + 1,
        (line[place - 1] ?? 0) + 1,
        (above[place - 1] ?? 0) + (same ? 0 : 1),
      );
      const swapped = one[row - 1] === other[place - 2] && one[row - 2] === other[place - 1];
      if (row > 1 && place > 1 && swapped) least = Math.min(least, (before[place - 2] ?? 0) + 1);
      line.push(least);
    }
    before = above;
    above = line;
  }
  return above[other.length] ?? 0;
}
