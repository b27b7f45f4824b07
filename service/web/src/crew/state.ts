// What the crew's app knows at this moment. Everything lasting is in the store; these signals
// mirror what the screens show of it.
import { computed, signal } from "@preact/signals";
import type { GenericSchema, InferOutput } from "valibot";
import {
  briefing,
  compiledFacts,
  itemPage,
  losses,
  NotReached,
  Refused,
  road,
  type Briefing,
  type ItemPage,
  type LossSummary,
  type Road,
  type Triage,
} from "../api.ts";
import type { Body } from "../contract.ts";
import { firstTagBy, foldMoves, joined } from "../moving.ts";
import { packingRows, type PackingRow } from "../packing.ts";
import { carrying, foldPieces, type Place } from "../pieces.ts";
import { BRIEFING, FACTS, ITEM_PAGE, LOSSES, ROAD, shaped } from "../shapes.ts";
import {
  roomOf,
  StorageFault,
  StillWaiting,
  StorageFull,
  Store,
  type KeptEvent,
  type Phone,
  type Revocation,
  type Room,
  type Waiting,
} from "../store.ts";
import { readyTones, setAudible } from "../scan-signal.ts";
import { strings } from "../strings.ts";
import { checkStanding, enrol, sendAll, type Sent } from "../sync.ts";
import { cautionsRead, countsAll, inputOf, madeOf } from "../triage-input.ts";
import { assess, Facts } from "../triage.ts";
import { aged } from "./clock.ts";
import { bodiesOf, EMPTY_DRAFT, type Draft } from "./draft.ts";

const SEND_EVERY_MS = 30_000;
const TICK_MS = 15_000;
const RECENT = 6;

/** Whether a scan is heard, as chosen on this phone. */
export const tones = signal(true);

/** Opened by `start`, before any screen is drawn. */
export let store: Store;

/** This phone as the office enrolled it; null until then. */
export const phone = signal<Phone | null>(null);
/** That this phone was stopped; null while it may write, as far as it knows. */
export const revoked = signal<Revocation | null>(null);
export const person = signal("");
export const lossList = signal<readonly LossSummary[] | null>(null);
export const loss = signal<Briefing | null>(null);
/** Whether the service itself has said what `loss` holds since it was opened. */
export const lossFresh = signal(false);
export const kept = signal<readonly KeptEvent[]>([]);
export const outbox = signal<readonly Waiting[]>([]);
export const sending = signal(false);
export const lastSent = signal<Sent | null>(null);
/** When sending was last tried, in milliseconds since 1970 by this phone's clock. */
export const lastTried = signal<number | null>(null);
/** The room left for what this phone keeps; null when the browser does not tell. */
export const room = signal<Room | null>(null);
/** Whether the browser promised never to clear what this phone keeps. */
export const lasting = signal(false);
export const draft = signal<Draft>(EMPTY_DRAFT);
export const recentPlaces = signal<readonly Place[]>([]);
export const recentObjects = signal<readonly string[]>([]);
export const recentMaterials = signal<readonly string[]>([]);
/** What the service last said of a piece, by tag. */
export const answers = signal<ReadonlyMap<string, ItemPage>>(new Map());
/** Tags of which the service itself answered when last asked, and not this phone's memory. */
export const reached = signal<ReadonlySet<string>>(new Set());
/** The rules that this phone triages by; null until it has once got them from the service. */
export const facts = signal<Facts | null>(null);

export const pieces = computed(() => foldPieces(kept.value));
/** The last piece tagged here that is not a part, for those like it; undefined before the first. */
export const lastPiece = computed(() =>
  [...pieces.value.values()].findLast((piece) => piece.parent === null),
);
/** Cautions of the open loss that `person` has not read, as far as this phone knows. */
export const unread = computed(() => {
  if (loss.value === null) return [];
  const read = cautionsRead(loss.value.loss, kept.value, person.value);
  return loss.value.cautions.map((one) => one.id).filter((id) => !read.has(id));
});
/** What this phone packed, listed, handed over and received of the open loss. */
export const moves = computed(() => foldMoves(kept.value));
/** What the service last said is on the road. */
export const onTheRoad = signal<Road | null>(null);
/** Tags that replaced others, each with the one it replaced: the service's and this phone's own. */
export const newTags = computed(
  () => new Map([...Object.entries(onTheRoad.value?.first_tags ?? {}), ...moves.value.replaced]),
);
/** The tag that a piece was first given, also when it was given another since. */
export const firstTag = computed(() => firstTagBy(newTags.value));
/** Every list known here, the service's and this phone's own. */
export const loads = computed(() =>
  joined(
    (onTheRoad.value?.manifests ?? []).map((one) => ({
      manifest: one.manifest,
      vehicle: one.vehicle,
      expectedAt: one.expected_at,
      delays: one.delays,
      tags: one.tags,
      received: one.received,
      handovers: one.handovers.map((by) => ({
        givenBy: by.given_by,
        takenBy: by.taken_by,
        signature: by.signature,
      })),
    })),
    moves.value,
    firstTag.value,
  ),
);

/** The time by this phone's clock in milliseconds since 1970, for what must not stand still. */
export const now = signal(Date.now());

/** Ask the browser never to clear what this phone keeps. */
export async function askToKeep(): Promise<void> {
  lasting.value = (await navigator.storage?.persist?.()) ?? false;
}

async function measureRoom(): Promise<void> {
  const estimate = await navigator.storage?.estimate?.();
  if (estimate !== undefined) room.value = roomOf(estimate);
}

/** Read what this phone remembers, then keep sending for as long as the page lives. */
export async function start(): Promise<void> {
  store = await Store.open();
  await readStanding();
  person.value = (await store.note<string>("person")) ?? "";
  recentPlaces.value = (await store.note<Place[]>("places")) ?? [];
  recentObjects.value = (await store.note<string[]>("objects")) ?? [];
  recentMaterials.value = (await store.note<string[]>("materials")) ?? [];
  draft.value = { ...EMPTY_DRAFT, ...(await store.note<Draft>("draft")) };
  outbox.value = await store.outbox();
  tones.value = (await store.note<boolean>("tones")) ?? true;
  setAudible(tones.value);
  document.addEventListener("pointerdown", readyTones);
  document.addEventListener("keydown", readyTones);
  // `navigator.onLine` says little in a damaged building: every sign of a network is only a
  // reason to try.
  window.addEventListener("online", () => void send());
  document.addEventListener("visibilitychange", () => {
    now.value = Date.now(); // A phone in a pocket stops its timers.
    if (document.visibilityState === "visible") void send();
  });
  setInterval(() => void send(), SEND_EVERY_MS);
  setInterval(() => (now.value = Date.now()), TICK_MS);
  void send();
  void askToKeep();
  void measureRoom();
  void lookWhetherStopped();
}

async function readStanding(): Promise<void> {
  phone.value = (await store.phone()) ?? null;
  revoked.value = (await store.note<Revocation>("revoked")) ?? null;
}

/** Enrol this phone with the office's code. */
export async function enrolWith(code: string): Promise<void> {
  await enrol(store, code);
  await readStanding();
}

/** Ask the service whether this phone was stopped; what it last said stands when it can't be had. */
export async function lookWhetherStopped(): Promise<void> {
  try {
    revoked.value = (await checkStanding(store)) ?? revoked.value;
  } catch (error) {
    if (!(error instanceof NotReached) && !(error instanceof Refused)) throw error;
  }
}

export async function rememberTones(on: boolean): Promise<void> {
  tones.value = on;
  setAudible(on);
  readyTones();
  await store.keepNote("tones", on);
}

export async function rememberPerson(name: string): Promise<void> {
  person.value = name;
  await store.keepNote("person", name);
}

/** The open losses: from the service, or as last seen when it can't be reached. */
export async function loadLosses(): Promise<void> {
  lossList.value ??= await seen("losses", LOSSES);
  lossList.value = await freshOr("losses", LOSSES, losses);
}

/**
 * Open a loss: what to read before entry, and this phone's own events on it. What was last seen of
 * it stands until the service answers, which a bad network can draw out; the screens say so.
 */
export async function openLoss(id: string): Promise<void> {
  if (loss.value?.loss.loss !== id) {
    loss.value = null;
    kept.value = await store.eventsOf(id);
    lossFresh.value = false;
    loss.value = await seen(`loss:${id}`, BRIEFING);
  }
  loss.value = await freshOr(`loss:${id}`, BRIEFING, async () => {
    const fresh = await briefing(id);
    lossFresh.value = true;
    return fresh;
  });
  await loadFacts();
}

async function loadFacts(): Promise<void> {
  try {
    facts.value = new Facts(await freshOr("facts", FACTS, compiledFacts));
  } catch (error) {
    // Without them this phone waits for the service's answers, as each piece then says.
    if (!(error instanceof NotReached)) throw error;
  }
}

/** What the service answers, kept for later; what it answered last while it can't be reached. */
async function freshOr<Shape extends GenericSchema>(
  name: string,
  shape: Shape,
  ask: () => Promise<InferOutput<Shape>>,
): Promise<InferOutput<Shape>> {
  try {
    const fresh = await ask();
    await store.keepNote(name, fresh);
    return fresh;
  } catch (error) {
    const known = error instanceof NotReached ? await seen(name, shape) : null;
    if (known === null) throw error;
    return known;
  }
}

/** What was kept under `name`; null when nothing was, or an older version kept it otherwise. */
async function seen<Shape extends GenericSchema>(
  name: string,
  shape: Shape,
): Promise<InferOutput<Shape> | null> {
  return shaped(shape, await store.note<unknown>(name));
}

/** Write events on the open loss, then try to send them. Resolves once they are safe here. */
export async function record(bodies: readonly Body[]): Promise<void> {
  const open = loss.value;
  if (open === null) throw new Error("no loss is open");
  await store.append(bodies, {
    actor: person.value,
    zone: Intl.DateTimeFormat().resolvedOptions().timeZone,
    loss: open.loss.loss,
    at: new Date(),
  });
  kept.value = await store.eventsOf(open.loss.loss);
  outbox.value = await store.outbox();
  void measureRoom();
  void send();
}

let running: Promise<void> | null = null;
let queued: Promise<void> | null = null;

/** Send what waits. While one attempt runs, one more is queued for what was written meanwhile. */
export function send(): Promise<void> {
  if (running === null) {
    running = sendOnce().finally(() => {
      running = null;
    });
    return running;
  }
  queued ??= running.then(() => {
    queued = null;
    return send();
  });
  return queued;
}

function sentNotAll(sent: Sent): boolean {
  return sent.outcome === "some_refused" || sent.outcome === "service_refused";
}

async function sendOnce(): Promise<void> {
  if ((await store.outbox()).length === 0) return;
  sending.value = true;
  try {
    lastSent.value = await sendAll(store);
    lastTried.value = Date.now();
    if (sentNotAll(lastSent.value)) await lookWhetherStopped();
  } finally {
    sending.value = false;
    outbox.value = await store.outbox();
  }
}

/** Try again what the service refused. */
export async function sendRefusedAgain(): Promise<void> {
  for (const one of await store.outbox()) {
    if (one.refused !== null) await store.mark(one, null);
  }
  await send();
}

/** What the service says of a piece now; kept for when it can't be reached. */
export async function askAbout(tag: string): Promise<void> {
  const name = `item:${tag}`;
  const others = [...reached.value].filter((one) => one !== tag);
  let answer: ItemPage | null | undefined;
  try {
    const fresh = await itemPage(tag);
    answer = fresh === null ? null : { ...fresh, asked_at: Date.now() };
    if (answer !== null) await store.keepNote(name, answer);
    reached.value = new Set([...others, tag]);
  } catch (error) {
    if (!(error instanceof NotReached)) throw error;
    answer = await seen(name, ITEM_PAGE);
    reached.value = new Set(others);
  }
  if (answer != null) answers.value = new Map(answers.value).set(tag, answer);
}

/** What moves first with a piece, and whether this phone worked it out by itself. */
export interface Ruling {
  triage: Triage;
  label: string;
  here: boolean;
}

/**
 * The service's ruling while it can be reached and has counted all that this phone has said;
 * else this phone's own. Null when neither is to be had.
 */
export function rulingOn(tag: string): Ruling | null {
  const answer = answers.value.get(tag);
  const byService = answer
    ? {
        triage: aged(answer.triage, now.value - (answer.asked_at ?? now.value)),
        label: answer.band_label,
        here: false,
      }
    : null;
  const open = loss.value?.loss;
  if (open === undefined || facts.value === null) return byService;
  const phone = { loss: open, pieces: pieces.value, kept: kept.value };
  if (answer !== undefined && reached.value.has(tag) && countsAll(answer, phone)) {
    return byService;
  }
  const input = inputOf(tag, answer, phone, facts.value, new Date(now.value));
  if (input === null) return byService;
  const triage = assess(input, facts.value);
  return { triage, label: facts.value.label("Band", triage.band), here: true };
}

/** The rows of packing that concern a piece; none where this phone does not know it. */
export function packingOf(tag: string): PackingRow[] {
  const open = loss.value?.loss;
  if (open === undefined || facts.value === null) return [];
  const phone = { loss: open, pieces: pieces.value, kept: kept.value };
  const made = madeOf(tag, answers.value.get(tag), phone);
  return made === null ? [] : packingRows(made, facts.value.packing);
}

export async function keepDraft(change: Partial<Draft>): Promise<void> {
  draft.value = { ...draft.value, ...change };
  await store.keepNote("draft", draft.value);
}

/** Give the piece in hand up, with the photos that only it had. */
export async function dropDraft(): Promise<void> {
  for (const sha of draft.value.photos) await store.dropPhoto(sha);
  await clearDraft();
}

async function clearDraft(): Promise<void> {
  draft.value = EMPTY_DRAFT;
  await store.dropNote("draft");
}

/** Begin a piece, in the same place as the last one or, for a part, in that of its parent. */
export async function beginDraft(
  loss: string,
  part?: { parent: string; found: Place },
): Promise<void> {
  await keepDraft({
    ...EMPTY_DRAFT,
    loss,
    found: recentPlaces.value[0] ?? EMPTY_DRAFT.found,
    ...part,
  });
}

/** Save the piece in hand as events; resolves to its tag once they are safe on this phone. */
export async function saveDraft(): Promise<string> {
  const finished = draft.value;
  await record(bodiesOf(finished, loss.value?.loss.wet_since ?? null));
  await rememberChoices(finished);
  await clearDraft();
  return finished.tag ?? "";
}

/** Remember the choices of a finished piece, so that they come first at the next. */
async function rememberChoices(finished: Draft): Promise<void> {
  const { found, objectType, materials } = finished;
  if (found.floor || found.room || found.wall) {
    const same = (one: Place) =>
      one.floor === found.floor && one.room === found.room && one.wall === found.wall;
    recentPlaces.value = [found, ...recentPlaces.value.filter((one) => !same(one))].slice(
      0,
      RECENT,
    );
    await store.keepNote("places", recentPlaces.value);
  }
  if (objectType !== null) {
    recentObjects.value = [...new Set([objectType, ...recentObjects.value])].slice(0, RECENT);
    await store.keepNote("objects", recentObjects.value);
  }
  recentMaterials.value = [...new Set([...materials, ...recentMaterials.value])].slice(0, RECENT);
  await store.keepNote("materials", recentMaterials.value);
}

/** The lists of the open loss: from the service, or as last seen; none when never seen. */
export async function loadRoad(id: string): Promise<void> {
  onTheRoad.value = await seen(`road:${id}`, ROAD);
  onTheRoad.value = await freshOr(`road:${id}`, ROAD, () => road(id));
}

/** The loss that a piece belongs to, as far as this phone knows; null when it does not. */
export async function lossOf(tag: string): Promise<string | null> {
  if (carrying(pieces.value, tag) !== undefined) return loss.value?.loss.loss ?? null;
  const answer = answers.value.get(tag) ?? (await seen(`item:${tag}`, ITEM_PAGE));
  if (answer?.item.loss) return answer.item.loss;
  for (const other of (await seen("losses", LOSSES)) ?? []) {
    const held = foldPieces(await store.eventsOf(other.loss));
    if (carrying(held, tag) !== undefined) return other.loss;
  }
  return null;
}

/** A sentence for an error that reached a screen. */
export function sentenceFor(error: unknown): string {
  if (error instanceof NotReached) return strings.loadFailedText;
  if (error instanceof StorageFull) return strings.storageFull;
  if (error instanceof StillWaiting) return strings.enrol.stillWaiting;
  if (error instanceof StorageFault) return strings.storageFaultText;
  return error instanceof Error ? error.message : String(error);
}
