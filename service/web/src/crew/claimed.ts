// Whether a tag is on a piece already, as far as can be known here and now.
import { itemPage, NotReached, type ItemPage } from "../api.ts";
import { carrying } from "../pieces.ts";
import { answers, pieces, store } from "./state.ts";
import { objectWords } from "./words.ts";

/** A network that does not answer by then is as good as none; what it would say shows at sync. */
const PATIENCE_MS = 2_000;

/** What already carries the tag, in words; null for a blank one or when nobody can be asked. */
export async function claimedAs(tag: string): Promise<string | null> {
  const own = carrying(pieces.value, tag);
  if (own !== undefined) return own.title || objectWords(own.objectType);
  const seen = answers.value.get(tag) ?? (await store.note<ItemPage>(`item:${tag}`));
  const answer = seen ?? (await askShortly(tag));
  return answer == null ? null : answer.item.title || objectWords(answer.item.object_type);
}

async function askShortly(tag: string): Promise<ItemPage | null> {
  const asked = itemPage(tag).catch((error: unknown) => {
    if (error instanceof NotReached) return null;
    throw error;
  });
  const tooLong = new Promise<null>((give) => setTimeout(() => give(null), PATIENCE_MS));
  return Promise.race([asked, tooLong]);
}
