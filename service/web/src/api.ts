// What the phone asks of the service.
import type { Event, Hazard, Material, ObjectType, Peril, WaterCategory } from "./contract.ts";
import { strings } from "./strings.ts";
import type { CompiledFacts, DamageSeen } from "./triage.ts";

export interface LossSummary {
  loss: string;
  title: string;
  site: string;
  peril: Peril;
  hazards: Hazard[];
  authorised: boolean;
}

export interface Caution {
  id: string;
  trigger: string;
  text: string;
}

export interface Loss {
  loss: string;
  title: string;
  site: string;
  zone: string;
  peril: Peril;
  happened_at: string | null;
  wet_since: string | null;
  water_category: WaterCategory | null;
  mean_temperature_c: string | null;
  hazards: Hazard[];
  authorisations: { given_by: string; covers: string }[];
  acknowledged: Record<string, string[]>;
}

/** A loss and what to read before entry. */
export interface Briefing {
  loss: Loss;
  cautions: Caution[];
  standing: string[];
}

export interface Triage {
  band: string;
  hours_left: number | null;
  deadline: string | null;
  paused: boolean;
  gates: { gate: string; sentence: string; do_first: string }[];
  factors: { name: string; value: number; sentence: string }[];
  route: string[];
  never: { sentence: string; because: string; harm: string }[];
  freeze_wet: { permission: string; sentence: string };
  sentence: string;
  may_move: boolean;
  window_h: number | null;
  score: number;
  value: string | null;
  facts_version: string;
  changed_facts: string[];
  rank: number;
}

/** Of the service's record of a piece, what this phone reads. */
export interface Item {
  tag: string;
  loss: string | null;
  object_type: ObjectType;
  title: string;
  materials: Material[];
  damages: DamageSeen[];
  significance: string;
  conservator_only: boolean;
  valuation: { value: { amount: string } } | null;
  received_at: string | null;
  steps: object[];
  /** Every event that the record counts. */
  custody: { event: string }[];
}

export interface ItemPage {
  item: Item;
  parts: Item[];
  triage: Triage;
  band_label: string;
}

/** The loads of one loss, what the pieces on them are, and where an arriving one can be put. */
export interface Road {
  manifests: {
    manifest: string;
    vehicle: string;
    expected_at: string | null;
    tags: string[];
    received: string[];
    handovers: { given_by: string; taken_by: string; signature: string | null }[];
  }[];
  pieces: { tag: string; object_type: ObjectType; title: string }[];
  stations: { id: string; label: string; kind: string }[];
}

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

export async function newDevice(): Promise<{ device: string; clock: number }> {
  return ask("/api/devices", post({}));
}

export async function losses(): Promise<LossSummary[]> {
  return ask("/api/losses");
}

export async function briefing(loss: string): Promise<Briefing> {
  return ask(`/api/losses/${encodeURIComponent(loss)}`);
}

/** The tables that the phone triages by, as changed at this facility. */
export async function compiledFacts(): Promise<CompiledFacts> {
  return ask("/api/facts");
}

export async function road(loss: string): Promise<Road> {
  return ask(`/api/losses/${encodeURIComponent(loss)}/manifests`);
}

/** The piece under `tag`, or null while nothing has claimed that tag. */
export async function itemPage(tag: string): Promise<ItemPage | null> {
  try {
    return await ask<ItemPage>(`/api/items/${tag}`);
  } catch (error) {
    if (error instanceof Refused && error.status === 404) return null;
    throw error;
  }
}

export async function sendEvents(
  events: readonly Event[],
): Promise<{ receipts: Receipt[]; clock: number }> {
  return ask("/log/events", post({ events }));
}

export async function sendPhoto(sha: string, photo: Blob): Promise<void> {
  const answer = await reach(`/photos/${sha}`, {
    method: "PUT",
    body: photo,
    headers: { "content-type": "image/jpeg" },
    signal: AbortSignal.timeout(PHOTO_PATIENCE_MS),
  });
  // A network's sign-in page may answer anything with a page of its own and 200: only the
  // digest that the service worked out itself shows that the photo has come.
  const receipt = (await answer.json().catch(() => null)) as { sha256?: unknown } | null;
  if (receipt?.sha256 !== sha) throw new NotReached();
}

function post(body: object): RequestInit {
  return {
    method: "POST",
    body: JSON.stringify(body),
    headers: { "content-type": "application/json" },
  };
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
