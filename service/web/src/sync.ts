// Sends what waits in the outbox. Nothing leaves it without a receipt for the very bytes written.
import { newDevice, NotReached, Refused, sendEvents, sendPhoto, type Receipt } from "./api.ts";
import type { KeptEvent, Store, Waiting } from "./store.ts";
import { strings } from "./strings.ts";

const BATCH = 100;
/** Answers that are about the photo itself; any other may be the network's or the phone's. */
const PHOTO_AT_FAULT: ReadonlySet<number> = new Set([413, 422]);

/** What one attempt came to; `service_refused` is a refusal of the whole, with its reason. */
export type Sent =
  { outcome: "all" | "some_refused" | "not_reached" } | { outcome: "service_refused"; why: string };

/** Give this phone its name in the log, unless it has one. */
export async function enrol(store: Store): Promise<void> {
  if ((await store.journal()) !== undefined) return;
  const { device, clock } = await newDevice();
  // A network's sign-in page may answer with JSON of its own: no name, and no phone to be named.
  if (typeof device !== "string" || device === "" || !Number.isSafeInteger(clock)) {
    throw new NotReached();
  }
  await store.enrol(device, clock);
}

/** Send everything that waits, events first and in order, then photos. */
export async function sendAll(store: Store): Promise<Sent> {
  try {
    await sendWaitingEvents(store);
    await sendWaitingPhotos(store);
  } catch (error) {
    if (error instanceof NotReached) return { outcome: "not_reached" };
    if (error instanceof Refused) return { outcome: "service_refused", why: error.message };
    throw error;
  }
  return { outcome: (await store.outbox()).length === 0 ? "all" : "some_refused" };
}

async function sendWaitingEvents(store: Store): Promise<void> {
  for (;;) {
    const waiting = (await store.outbox()).filter(
      (one) => one.kind === "event" && one.refused === null,
    );
    const batch = waiting.slice(0, BATCH);
    if (batch.length === 0) return;
    const kept = await Promise.all(batch.map((one) => store.event(one.ref)));
    const events = kept.flatMap((one) => (one === undefined ? [] : [one.event]));
    const { receipts, clock } = await sendEvents(events);
    if (!Array.isArray(receipts)) throw new NotReached();
    const answered = new Map(receipts.map((receipt) => [receipt.id, receipt]));
    for (const [place, one] of batch.entries()) {
      await settle(store, one, kept[place], answered.get(one.ref));
    }
    if (!batch.some((one) => answered.has(one.ref))) throw new NotReached();
    await store.saw(clock);
  }
}

async function settle(
  store: Store,
  waiting: Waiting,
  kept: KeptEvent | undefined,
  receipt: Receipt | undefined,
): Promise<void> {
  if (receipt === undefined) return;
  if (receipt.outcome === "refused") {
    await store.mark(waiting, receipt.why || strings.refusedWithoutReason);
  } else if (receipt.digest === kept?.digest) {
    await store.settle(waiting);
  } else {
    await store.mark(waiting, strings.otherBytesStored);
  }
}

async function sendWaitingPhotos(store: Store): Promise<void> {
  const waiting = (await store.outbox()).filter(
    (one) => one.kind === "photo" && one.refused === null,
  );
  for (const one of waiting) {
    const photo = await store.photo(one.ref);
    if (photo?.full === null) {
      await store.settle(one); // It was sent under another tag; its receipt is why it is dropped.
      continue;
    }
    if (photo === undefined) {
      await store.mark(one, strings.photoGone);
      continue;
    }
    // A stored file that has gone would look like a network that has, and stop all after it.
    const bytes = await photo.full.arrayBuffer().catch(() => null);
    if (bytes === null) {
      await store.mark(one, strings.photoGone);
      continue;
    }
    try {
      await sendPhoto(one.ref, new Blob([bytes], { type: "image/jpeg" }));
      await store.settle(one);
    } catch (error) {
      if (!(error instanceof Refused) || !PHOTO_AT_FAULT.has(error.status)) throw error;
      await store.mark(one, error.message);
    }
  }
}
