// What the phone asks of the service.
import type { GenericSchema, InferOutput } from "valibot";
import type { Event } from "./contract.ts";
import {
  BRIEFING,
  FACTS,
  ITEM_PAGE,
  LOSSES,
  ROAD,
  shaped,
  type Briefing,
  type ItemPage,
  type LossSummary,
  type Road,
} from "./shapes.ts";
import { signedHeaders, type PublicKey, type Signer } from "./signing.ts";
import { strings } from "./strings.ts";
import type { CompiledFacts } from "./triage.ts";

export type {
  Briefing,
  Caution,
  Item,
  ItemPage,
  Loss,
  LossSummary,
  Road,
  Triage,
} from "./shapes.ts";

export interface Receipt {
  id: string;
  outcome: "stored" | "already_stored" | "refused";
  digest: string;
  why?: string | null;
}

/** The service could not be reached, or what answered was not the service. */
export class NotReached extends Error {}

/** The service answered and said no. */
export class Refused extends Error {
  readonly status: number;

  constructor(status: number, message: string) {
    super(message);
    this.status = status;
  }
}

const PATIENCE_MS = 20_000;
const PHOTO_PATIENCE_MS = 120_000;

/** Give the service the public half of this phone's key, against the office's code. */
export async function enrolDevice(
  code: string,
  key: PublicKey,
): Promise<{ device: string; name: string; clock: number }> {
  return ask("/api/devices", post(JSON.stringify({ code, key })));
}

/** Whether a phone may still write. */
export interface Standing {
  device: string;
  revoked_at: string | null;
  revoked_because: string;
}

export async function standing(device: string): Promise<Standing> {
  return ask(`/api/devices/${device}`);
}

export async function losses(): Promise<LossSummary[]> {
  return askFor(LOSSES, "/api/losses");
}

export async function briefing(loss: string): Promise<Briefing> {
  return askFor(BRIEFING, `/api/losses/${encodeURIComponent(loss)}`);
}

/** The tables that the phone triages by, as changed at this facility. */
export async function compiledFacts(): Promise<CompiledFacts> {
  return askFor(FACTS, "/api/facts");
}

export async function road(loss: string): Promise<Road> {
  return askFor(ROAD, `/api/losses/${encodeURIComponent(loss)}/manifests`);
}

/** The piece under `tag`, or null while nothing has claimed that tag. */
export async function itemPage(tag: string): Promise<ItemPage | null> {
  try {
    return await askFor(ITEM_PAGE, `/api/items/${tag}`);
  } catch (error) {
    if (error instanceof Refused && error.status === 404) return null;
    throw error;
  }
}

export async function sendEvents(
  events: readonly Event[],
  signer: Signer,
): Promise<{ receipts: Receipt[]; clock: number }> {
  const path = "/log/events";
  const text = JSON.stringify({ events });
  const body = new TextEncoder().encode(text);
  const signed = await signedHeaders(signer, { method: "POST", path, body }, new Date());
  return ask(path, post(text, signed));
}

export async function sendPhoto(
  sha: string,
  photo: Uint8Array<ArrayBuffer>,
  signer: Signer,
): Promise<void> {
  const path = `/photos/${sha}`;
  const signed = await signedHeaders(signer, { method: "PUT", path, body: photo }, new Date());
  const answer = await reach(path, {
    method: "PUT",
    body: new Blob([photo], { type: "image/jpeg" }),
    headers: { "content-type": "image/jpeg", ...signed },
    signal: AbortSignal.timeout(PHOTO_PATIENCE_MS),
  });
  // A network's sign-in page may answer anything with a page of its own and 200: only the
  // digest that the service worked out itself shows that the photo has come.
  const receipt = (await answer.json().catch(() => null)) as { sha256?: unknown } | null;
  if (receipt?.sha256 !== sha) throw new NotReached();
}

function post(body: string, headers: Record<string, string> = {}): RequestInit {
  return { method: "POST", body, headers: { "content-type": "application/json", ...headers } };
}

/** An answer of the right shape. Any other is not the service's: a network's sign-in page, say. */
async function askFor<Shape extends GenericSchema>(
  shape: Shape,
  path: string,
): Promise<InferOutput<Shape>> {
  const found = shaped(shape, await ask<unknown>(path));
  if (found === null) throw new NotReached();
  return found;
}

async function ask<Answer>(path: string, init: RequestInit = {}): Promise<Answer> {
  const answer = await reach(path, { signal: AbortSignal.timeout(PATIENCE_MS), ...init });
  try {
    return (await answer.json()) as Answer;
  } catch {
    throw new NotReached();
  }
}

async function reach(path: string, init: RequestInit): Promise<Response> {
  let answer: Response;
  try {
    answer = await fetch(path, { redirect: "error", cache: "no-store", ...init });
  } catch {
    throw new NotReached();
  }
  if (answer.ok) return answer;
  if (answer.status >= 500) throw new NotReached();
  throw new Refused(answer.status, await reasonIn(answer));
}

/** The service's own words on why it refused. */
async function reasonIn(answer: Response): Promise<string> {
  try {
    const { detail } = (await answer.json()) as { detail?: unknown };
    if (typeof detail === "string") return detail;
  } catch {
    // Not JSON: fall through to the plain sentence.
  }
  return strings.refusedWithStatus(answer.status);
}
