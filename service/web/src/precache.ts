// What the service worker keeps on the phone and when it answers from there. Pure, so that it can
// be tested without a browser.

/** A file of the app: `type` is its media type, `integrity` its SHA-256 as fetch() takes it. */
export interface KeptFile {
  path: string;
  type: string;
  integrity: string;
}

/** The one page of the app; which screen it shows stands behind "#" and never reaches the worker. */
export const PAGE = "/crew/";

/** What a page says to the worker that waits to take over from an older one. */
export const TAKE_OVER = "take over";

const CACHE_PREFIX = "crew-";

/** Name of the cache for a list of files: the same files always have the same name. */
export async function cacheName(files: readonly KeptFile[]): Promise<string> {
  const list = new TextEncoder().encode(JSON.stringify(files));
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", list));
  return CACHE_PREFIX + [...digest].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** The caches of other versions among `names`; what other programs of this address keep stays. */
export function outdated(names: readonly string[], current: string): string[] {
  return names.filter((name) => name.startsWith(CACHE_PREFIX) && name !== current);
}

/** Where a scanned tag leads: "/T/" and the tag, as it is printed, or in small letters. */
const TAG_ADDRESS = /^\/[Tt]\/([^/]+)$/;

/** The crew's page with the tag in it, for going to the address of a tag; null for all else. */
export function crewPageFor(
  request: Pick<Request, "method" | "mode" | "url">,
  origin: string,
): string | null {
  const url = new URL(request.url);
  if (request.method !== "GET" || request.mode !== "navigate" || url.origin !== origin) return null;
  const [, tag] = TAG_ADDRESS.exec(url.pathname) ?? [];
  return tag === undefined ? null : `${origin}${PAGE}#tag=${tag.toUpperCase()}`;
}

/**
 * The path under which `request` is kept, or null when it must go to the network untouched: all
 * that is not read, all that the service alone can answer, and all that is not in the list.
 */
export function keptPath(
  request: Pick<Request, "method" | "mode" | "url">,
  origin: string,
  kept: ReadonlySet<string>,
): string | null {
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== origin) return null;
  if (request.mode === "navigate") return url.pathname === PAGE && kept.has(PAGE) ? PAGE : null;
  if (url.pathname === PAGE) return null;
  const path = url.pathname + url.search;
  return kept.has(path) ? path : null;
}

/**
 * Why `answer` is not `file`, or null when it may be kept. A network's sign-in page answers
 * anything with 200 and a page of its own, or sends the phone elsewhere. The digest would catch
 * that too; this also keeps out what the browser could not use, such as a redirected page.
 */
export function faultOf(
  answer: Pick<Response, "ok" | "status" | "redirected" | "type" | "headers">,
  file: KeptFile,
): string | null {
  if (!answer.ok) return `${file.path} answered ${answer.status}`;
  if (answer.redirected) return `${file.path} was redirected`;
  if (answer.type !== "basic") return `${file.path} came from another address`;
  const sent = answer.headers.get("content-type")?.split(";")[0]?.trim().toLowerCase();
  // The older name of the same type (RFC 9239); which one is sent depends on the server's system.
  const type = sent === "application/javascript" ? "text/javascript" : sent;
  return type === file.type ? null : `${file.path} came as ${type ?? "nothing"}, not ${file.type}`;
}
