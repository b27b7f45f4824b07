// Everything the phone keeps, in IndexedDB. What people write is stored here first and leaves the
// outbox only against a receipt.
import { openDB, type DBSchema, type IDBPDatabase, type IDBPTransaction } from "idb";
import type { Body, Event } from "./contract.ts";
import { digestOf, saw, sha256, write, type JournalState, type Writer } from "./journal.ts";
import { makeKey, type PhoneKey, type Signer } from "./signing.ts";

export interface KeptEvent {
  id: string;
  loss: string;
  event: Event;
  digest: string;
}

export interface KeptPhoto {
  sha: string;
  thumb: Blob;
  /** The photo as sent; dropped once the service has it. */
  full: Blob | null;
}

/**
 * A photo as it lies in the database: as bytes, because WebKit keeps no Blob in a private window.
 * Older versions of this page stored Blobs.
 */
interface StoredPhoto {
  sha: string;
  thumb: ArrayBuffer | Blob;
  full: ArrayBuffer | Blob | null;
}

/** This phone as the office enrolled it. */
export interface Phone extends Signer {
  name: string;
}

/** When this phone was stopped, and why. */
export interface Revocation {
  at: string;
  because: string;
}

/** One thing not yet sent. `order` keeps events in the order they were written, photos after. */
export interface Waiting {
  key: string;
  kind: "event" | "photo";
  ref: string;
  order: number;
  since: number;
  /** Why the service refused it; such a thing waits for a person. */
  refused: string | null;
}

interface Schema extends DBSchema {
  notes: { key: string; value: unknown };
  events: { key: string; value: KeptEvent; indexes: { loss: string } };
  photos: { key: string; value: StoredPhoto };
  outbox: { key: string; value: Waiting; indexes: { order: number } };
}

const PHOTO_ORDER = Number.MAX_SAFE_INTEGER;

/** Stored bytes do not match what was written: the storage of this phone is failing. */
export class StorageFault extends Error {}

/** This phone still holds what it wrote before; it gets no new journal until that is sent. */
export class StillWaiting extends Error {}

/** The browser gives this page no more room. Nothing of what was being written is stored. */
export class StorageFull extends Error {}

/** How long something has waited: calm, over a day, over three days. */
export type Age = "calm" | "over_day" | "over_three_days";

const HOUR_MS = 3_600_000;
const OVER_DAY_H = 24;
const OVER_THREE_DAYS_H = 72;

/** The age of what waits longest. A clock set back since makes nothing look older than it is. */
export function ageOf(waiting: readonly Waiting[], now: number): Age {
  const hours = (now - Math.min(now, ...waiting.map((one) => one.since))) / HOUR_MS;
  if (hours >= OVER_THREE_DAYS_H) return "over_three_days";
  return hours >= OVER_DAY_H ? "over_day" : "calm";
}

/** The room this page still has, in bytes, and whether it is time to say so. */
export interface Room {
  left: number;
  scarce: boolean;
}

const SCARCE_SHARE = 0.1;
const SCARCE_BYTES = 200_000_000;

/** `usage` and `quota` as the browser estimates them, in bytes; null when it does not tell. */
export function roomOf({ usage, quota }: StorageEstimate): Room | null {
  if (usage === undefined || quota === undefined) return null;
  const left = Math.max(0, quota - usage);
  return { left, scarce: left < SCARCE_BYTES || left < quota * SCARCE_SHARE };
}

/** Runs `change`; a refusal for want of room is told apart from every other failure. */
async function withRoom<Result>(change: () => Promise<Result>): Promise<Result> {
  try {
    return await change();
  } catch (error) {
    // A class of its own in newer browsers, a DOMException in older ones; the name is the same.
    if (error instanceof Error && error.name === "QuotaExceededError") throw new StorageFull();
    throw error;
  }
}

type WholePiece = IDBPTransaction<Schema, ("notes" | "events" | "outbox")[], "readwrite">;

/** The digest of the photo that an event speaks of, if it does. */
function photoIn(body: Body): string | null {
  if (body.type === "photo_taken") return body.photo;
  return body.type === "handed_over" ? (body.signature ?? null) : null;
}

function picture(stored: ArrayBuffer | Blob): Blob {
  return new Blob([stored], { type: "image/jpeg" });
}

function abort(change: WholePiece): void {
  try {
    change.abort();
  } catch {
    // It has ended by itself.
  }
}

export class Store {
  readonly #db: IDBPDatabase<Schema>;

  private constructor(db: IDBPDatabase<Schema>) {
    this.#db = db;
  }

  static async open(name = "lagan"): Promise<Store> {
    const db = await openDB<Schema>(name, 1, {
      upgrade(fresh) {
        fresh.createObjectStore("notes");
        fresh.createObjectStore("events", { keyPath: "id" }).createIndex("loss", "loss");
        fresh.createObjectStore("photos", { keyPath: "sha" });
        fresh.createObjectStore("outbox", { keyPath: "key" }).createIndex("order", "order");
      },
    });
    return new Store(db);
  }

  /** A small thing remembered under a name: the person, the last place, a page of the service. */
  async note<Value>(name: string): Promise<Value | undefined> {
    return (await this.#db.get("notes", name)) as Value | undefined;
  }

  async keepNote(name: string, value: unknown): Promise<void> {
    await this.#db.put("notes", value, name);
  }

  async dropNote(name: string): Promise<void> {
    await this.#db.delete("notes", name);
  }

  async journal(): Promise<JournalState | undefined> {
    return this.note<JournalState>("journal");
  }

  /** This phone with its key; undefined until it is enrolled. */
  async phone(): Promise<Phone | undefined> {
    const [journal, key, name] = await Promise.all([
      this.journal(),
      this.note<PhoneKey>("key"),
      this.note<string>("name"),
    ]);
    if (journal === undefined || key === undefined || name === undefined) return undefined;
    return { device: journal.device, name, privateKey: key.privateKey };
  }

  /** The key that this phone will have once it is enrolled: the same at every try. */
  async nextKey(): Promise<PhoneKey> {
    const made = await makeKey();
    const change = this.#db.transaction("notes", "readwrite", { durability: "strict" });
    const kept = (await change.store.get("next_key")) as PhoneKey | undefined;
    if (kept === undefined) await change.store.put(made, "next_key");
    await change.done;
    return kept ?? made;
  }

  /**
   * Begin a journal under the name that the service gave, with the next key. A phone that was
   * enrolled before ends its old journal; `StillWaiting` while any of that has no receipt yet.
   */
  async enrol(device: string, name: string, clock: number): Promise<void> {
    const change = this.#db.transaction(["notes", "outbox"], "readwrite", {
      durability: "strict",
    });
    const notes = change.objectStore("notes");
    const [before, key, waiting] = await Promise.all([
      notes.get("journal") as Promise<JournalState | undefined>,
      notes.get("next_key"),
      change.objectStore("outbox").count(),
    ]);
    if (key !== undefined && before?.device !== device && waiting === 0) {
      const greatest = Math.max(clock, before?.clock ?? 0);
      const state: JournalState = { device, sequence: 0, clock: greatest, previous: "" };
      await Promise.all([
        notes.put(state, "journal"),
        notes.put(key, "key"),
        notes.put(name, "name"),
        notes.delete("next_key"),
        notes.delete("revoked"),
      ]);
    }
    await change.done;
    if (waiting > 0) throw new StillWaiting();
  }

  /**
   * Write one event for each body, whole or not at all, and put them and their photos into the
   * outbox. Reads them back and digests them again before it returns.
   */
  async append(bodies: readonly Body[], writer: Writer): Promise<KeptEvent[]> {
    for (;;) {
      const before = await this.journal();
      if (before === undefined) throw new StorageFault("this phone has no journal yet");
      const written = await write(before, bodies, writer);
      const kept = written.events.map((event, place) => ({
        id: event.id,
        loss: writer.loss,
        event,
        digest: written.digests[place] ?? "",
      }));
      if (await withRoom(() => this.#commit(before, written.state, kept))) {
        await this.#readBack(kept);
        return kept;
      }
    }
  }

  /** False when another tab wrote in between; then nothing was stored and the chain is rebuilt. */
  async #commit(
    before: JournalState,
    after: JournalState,
    kept: readonly KeptEvent[],
  ): Promise<boolean> {
    const change = this.#db.transaction(["notes", "events", "outbox"], "readwrite", {
      durability: "strict",
    });
    change.done.catch(() => undefined); // Awaited below; a failure before that is not unheard.
    try {
      return await this.#put(change, before, after, kept);
    } catch (error) {
      // Without this, what was asked for before the failure would be stored without the rest.
      if (change.error === null) abort(change);
      await change.done.catch(() => undefined);
      throw change.error ?? error;
    }
  }

  async #put(
    change: WholePiece,
    before: JournalState,
    after: JournalState,
    kept: readonly KeptEvent[],
  ): Promise<boolean> {
    const notes = change.objectStore("notes");
    const now = (await notes.get("journal")) as JournalState;
    if (now.sequence !== before.sequence || now.clock !== before.clock) {
      await change.done;
      return false;
    }
    const since = Date.now();
    await notes.put(after, "journal");
    for (const one of kept) {
      await change.objectStore("events").add(one);
      await change.objectStore("outbox").add({
        key: `event:${one.id}`,
        kind: "event",
        ref: one.id,
        order: one.event.sequence,
        since,
        refused: null,
      });
      const sha = photoIn(one.event.body as unknown as Body);
      if (sha !== null) {
        await change.objectStore("outbox").put({
          key: `photo:${sha}`,
          kind: "photo",
          ref: sha,
          order: PHOTO_ORDER,
          since,
          refused: null,
        });
      }
    }
    await change.done;
    return true;
  }

  async #readBack(kept: readonly KeptEvent[]): Promise<void> {
    for (const { id, digest } of kept) {
      const stored = await this.#db.get("events", id);
      if (stored === undefined || (await digestOf(stored.event)) !== digest) {
        throw new StorageFault(`event ${id} could not be read back`);
      }
    }
  }

  async eventsOf(loss: string): Promise<KeptEvent[]> {
    const kept = await this.#db.getAllFromIndex("events", "loss", loss);
    return kept.sort((one, other) => one.event.sequence - other.event.sequence);
  }

  async event(id: string): Promise<KeptEvent | undefined> {
    return this.#db.get("events", id);
  }

  async outbox(): Promise<Waiting[]> {
    return this.#db.getAllFromIndex("outbox", "order");
  }

  /** The service has it: take it out of the outbox and, of a photo, drop the large copy. */
  async settle(waiting: Waiting): Promise<void> {
    const change = this.#db.transaction(["outbox", "photos"], "readwrite");
    await change.objectStore("outbox").delete(waiting.key);
    if (waiting.kind === "photo") {
      const photo = await change.objectStore("photos").get(waiting.ref);
      if (photo !== undefined) await change.objectStore("photos").put({ ...photo, full: null });
    }
    await change.done;
  }

  /** Keep in the outbox what the service refused, with its reason; null to try it again. */
  async mark(waiting: Waiting, refused: string | null): Promise<void> {
    await this.#db.put("outbox", { ...waiting, refused });
  }

  async saw(clock: number): Promise<void> {
    const change = this.#db.transaction("notes", "readwrite");
    const state = (await change.store.get("journal")) as JournalState | undefined;
    if (state !== undefined && clock > state.clock) {
      await change.store.put(saw(state, clock), "journal");
    }
    await change.done;
  }

  /** Keep a photo. Reads it back and digests it again before it returns. */
  async keepPhoto(photo: KeptPhoto): Promise<void> {
    const stored: StoredPhoto = {
      sha: photo.sha,
      thumb: await photo.thumb.arrayBuffer(),
      full: (await photo.full?.arrayBuffer()) ?? null,
    };
    await withRoom(async () => {
      const change = this.#db.transaction("photos", "readwrite", {
        durability: "strict",
      });
      await Promise.all([change.store.put(stored), change.done]);
    });
    const readBack = await this.photo(photo.sha);
    const bytes = await readBack?.full?.arrayBuffer().catch(() => undefined);
    if (bytes === undefined || (await sha256(bytes)) !== photo.sha) {
      throw new StorageFault(`photo ${photo.sha} could not be read back`);
    }
  }

  async photo(sha: string): Promise<KeptPhoto | undefined> {
    const stored = await this.#db.get("photos", sha);
    if (stored === undefined) return undefined;
    return {
      sha,
      thumb: picture(stored.thumb),
      full: stored.full === null ? null : picture(stored.full),
    };
  }

  /** Forget a photo of a piece that was given up, unless it waits to be sent for another. */
  async dropPhoto(sha: string): Promise<void> {
    const change = this.#db.transaction(["outbox", "photos"], "readwrite");
    if ((await change.objectStore("outbox").get(`photo:${sha}`)) === undefined) {
      await change.objectStore("photos").delete(sha);
    }
    await change.done;
  }

  close(): void {
    this.#db.close();
  }
}
