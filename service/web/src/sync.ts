// Sends what waits in the outbox. Nothing leaves it without a receipt for the very bytes written.
import {
  enrolDevice,
  NotReached,
  Refused,
  sendEvents,
  sendPhoto,
  standing,
  type Receipt,
} from "./api.ts";
import type { Signer } from "./signing.ts";
import type { KeptEvent, Revocation, Store, Waiting } from "./store.ts";
import { strings } from "./strings.ts";

const BATCH = 100;
/** Answers that are about the photo itself; any other may be the network's or the phone's. */
const PHOTO_AT_FAULT: ReadonlySet<number> = new Set([413, 422]);

/** What one attempt came to; `service_refused` is a refusal of the whole, with its reason. */
export type Sent =
  { outcome: "all" | "some_refused" | "not_reached" } | { outcome: "service_refused"; why: string };

/**
 * Give this phone a name and a key in the log, against the office's code. The key is kept before it
 * is sent, so that a phone whose answer was lost asks again with the same and is known.
 */
export async function enrol(store: Store, code: string): Promise<void> {
  const { publicKey } = await store.nextKey();
  const { device, name, clock } = await enrolDevice(code, publicKey);
  // A network's sign-in page may answer with JSON of its own: no name, and no phone to be named.
  const named = [device, name].every((one) => typeof one === "string" && one !== "");
  if (!named || !Number.isSafeInteger(clock)) throw new NotReached();
  await store.enrol(device, name, clock);
}

/** Ask whether this phone may still write, and keep the answer; null while it may. */
export async function checkStanding(store: Store): Promise<Revocation | null> {
  const phone = await store.phone();
  if (phone === undefined) return null;
  const { device, revoked_at, revoked_because } = await standing(phone.device);
  if (device !== phone.device || revoked_at == null) return null;
  const revocation = { at: String(revoked_at), because: String(revoked_because) };
  await store.keepNote("revoked", revocation);
  return revocation;
}

/** Send everything that waits, events first and in order, then photos. */
export async function sendAll(store: Store): Promise<Sent> {
  const phone = await store.phone();
  if (phone === undefined) return { outcome: "service_refused", why: strings.notEnrolled };
  try {
    await sendWaitingEvents(store, phone);
    await sendWaitingPhotos(store, phone);
  } catch (error) {
    if (error instanceof NotReached) return { outcome: "not_reached" };
    if (error instanceof Refused) return { outcome: "service_refused", why: error.message };
    throw error;
  }
  return { outcome: (await store.outbox()).length === 0 ? "all" : "some_refused" };
}

async function sendWaitingEvents(store: Store, signer: Signer): Promise<void> {
  for (;;) {
    const waiting = (await store.outbox()).filter(
      (one) => one.kind === "event" && one.refused === null,
    );
    const batch = waiting.slice(0, BATCH);
    if (batch.length === 0) return;
    const kept = await Promise.all(batch.map((one) => store.event(one.ref)));
    const events = kept.flatMap((one) => (one === undefined ? [] : [one.event]));
    const { receipts, clock } = await sendEvents(events, signer);
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

async function sendWaitingPhotos(store: Store, signer: Signer): Promise<void> {
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
      await sendPhoto(one.ref, new Uint8Array(bytes), signer);
      await store.settle(one);
    } catch (error) {
      if (!(error instanceof Refused) || !PHOTO_AT_FAULT.has(error.status)) throw error;
      await store.mark(one, error.message);
    }
  }
}
