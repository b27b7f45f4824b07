// What has not been sent, as files that can be carried to the office when no network will do: the
// events as lines of JSON with their digests, and every photo under its own. The cover names the
// digest of the lines and is signed with this phone's key, so that the office can tell who wrote it.
import canonicalize from "canonicalize";
import { sha256 } from "./journal.ts";
import { signatureOf } from "./signing.ts";
import type { KeptEvent, Store } from "./store.ts";
import { crc32, textEntry, zipOf, type Entry } from "./zip.ts";

const FORMAT = "lagan-unsent/1";
/** Photos in one file, so that the office's page takes it in one piece. */
const MOST_PHOTO_BYTES = 44 * 1024 * 1024;

export interface OutboxFile {
  name: string;
  data: Blob;
  events: number;
  photos: number;
}

/** The files, and the digests of photos that this phone could not read any more. */
export interface Carried {
  files: OutboxFile[];
  unreadable: string[];
}

/**
 * Everything in the outbox, refused or not, in as few files as hold it. The outbox stays as it
 * is: only a receipt of the service takes anything out of it.
 */
export async function outboxFiles(
  store: Store,
  at: Date,
  mostPhotoBytes = MOST_PHOTO_BYTES,
): Promise<Carried> {
  const device = (await store.journal())?.device ?? "unnamed";
  const waiting = await store.outbox();
  const events: KeptEvent[] = [];
  const photos: string[] = [];
  for (const one of waiting) {
    if (one.kind === "photo") {
      photos.push(one.ref);
      continue;
    }
    const kept = await store.event(one.ref);
    if (kept !== undefined) events.push(kept);
  }
  const { shares, unreadable } = await sharesOf(store, photos, mostPhotoBytes);
  const stamp = at.toISOString().slice(0, 16).replace(/[-:]/g, "");
  const privateKey = (await store.phone())?.privateKey;
  const fileOf = async (share: Entry[], place: number): Promise<OutboxFile> => {
    const carried = place === 0 ? events : [];
    const lines = carried.map(({ event, digest }) => `${JSON.stringify({ digest, event })}\n`);
    const text = lines.join("");
    const cover = {
      format: FORMAT,
      device,
      written_at: at.toISOString(),
      file: place + 1,
      files: shares.length,
      events: carried.length,
      photos: share.length,
      unreadable: place === 0 ? unreadable : [],
      events_sha256: await sha256(new TextEncoder().encode(text)),
    };
    const signed = new TextEncoder().encode(canonicalize(cover) ?? "");
    const signature = privateKey === undefined ? "" : await signatureOf(privateKey, signed);
    const number = shares.length > 1 ? `-${place + 1}-of-${shares.length}` : "";
    return {
      name: `unsent-${device}-${stamp}${number}.zip`,
      data: zipOf([
        textEntry("unsent.json", JSON.stringify({ ...cover, signature }, null, 1)),
        textEntry("events.jsonl", text),
        ...share,
      ]),
      events: carried.length,
      photos: share.length,
    };
  };
  return { files: await Promise.all(shares.map(fileOf)), unreadable };
}

/** The photos as entries, shared out so that none of the shares grows too large. */
async function sharesOf(
  store: Store,
  photos: readonly string[],
  mostBytes: number,
): Promise<{ shares: Entry[][]; unreadable: string[] }> {
  const shares: Entry[][] = [[]];
  const unreadable: string[] = [];
  let size = 0;
  for (const sha of photos) {
    const entry = await photoEntry(store, sha);
    if (entry === null) {
      unreadable.push(sha);
      continue;
    }
    if (size > 0 && size + entry.data.size > mostBytes) {
      shares.push([]);
      size = 0;
    }
    shares.at(-1)?.push(entry);
    size += entry.data.size;
  }
  return { shares, unreadable };
}

/** Null when the photo is gone or no longer has the bytes that it was written with. */
async function photoEntry(store: Store, sha: string): Promise<Entry | null> {
  const full = (await store.photo(sha))?.full;
  if (full == null) return null;
  try {
    const bytes = new Uint8Array(await full.arrayBuffer());
    if ((await sha256(bytes)) !== sha) return null;
    return { name: `photos/${sha}.jpg`, data: full, crc: crc32(bytes) };
  } catch {
    return null;
  }
}
