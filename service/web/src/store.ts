// Everything the phone keeps, in IndexedDB. What people write is stored here first and leaves the
// outbox only against a receipt.
import { openDB, type DBSchema, type IDBPDatabase } from "idb";
import type { Body, Event } from "./contract.ts";
import { digestOf, saw, write, type JournalState, type Writer } from "./journal.ts";

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
  photos: { key: string; value: KeptPhoto };
  outbox: { key: string; value: Waiting; indexes: { order: number } };
}

const PHOTO_ORDER = Number.MAX_SAFE_INTEGER;

/** Stored bytes do not match what was written: the storage of this phone is failing. */
export class StorageFault extends Error {}

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

  /** Begin this phone's journal under the name that the service gave it. */
  async enrol(device: string, clock: number): Promise<void> {
    const change = this.#db.transaction("notes", "readwrite");
    if ((await change.store.get("journal")) === undefined) {
      const state: JournalState = { device, sequence: 0, clock, previous: "" };
      await change.store.put(state, "journal");
    }
    await change.done;
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
      if (await this.#commit(before, written.state, kept)) {
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
      if (one.event.body["type"] === "photo_taken") {
        const sha = String(one.event.body["photo"]);
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

  async keepPhoto(photo: KeptPhoto): Promise<void> {
    await this.#db.put("photos", photo);
  }

  async photo(sha: string): Promise<KeptPhoto | undefined> {
    return this.#db.get("photos", sha);
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
