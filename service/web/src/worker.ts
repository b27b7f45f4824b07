// The service worker of the crew's page: keeps the whole app on the phone, so that it starts
// without a network. It never touches what people record; that is the page's own business.
import {
  cacheName,
  faultOf,
  keptPath,
  outdated,
  PAGE,
  TAKE_OVER,
  type KeptFile,
} from "./precache.ts";

// The types of a page are compiled in; these are the few more that a worker has.
interface ExtendableEvent extends Event {
  waitUntil(work: Promise<unknown>): void;
}
interface FetchEvent extends ExtendableEvent {
  readonly request: Request;
  respondWith(answer: Promise<Response>): void;
}
interface WorkerEvents {
  install: ExtendableEvent;
  activate: ExtendableEvent;
  fetch: FetchEvent;
  message: MessageEvent<unknown>;
}
declare const self: {
  addEventListener<Name extends keyof WorkerEvents>(
    name: Name,
    listener: (event: WorkerEvents[Name]) => void,
  ): void;
  skipWaiting(): Promise<void>;
  readonly clients: { claim(): Promise<void> };
  readonly location: Location;
};

/** Put in by build.mjs: every built file of the app. */
declare const BUILT_FILES: readonly KeptFile[];
/** Put in by the service, which draws the page. */
declare const PAGE_INTEGRITY: string;

const FILES: readonly KeptFile[] = [
  ...BUILT_FILES,
  { path: PAGE, type: "text/html", integrity: PAGE_INTEGRITY },
];
const PATHS: ReadonlySet<string> = new Set(FILES.map((file) => file.path));

self.addEventListener("install", (event) => event.waitUntil(keepAll()));

// Only now, with every file of this version kept, may those of the last one go.
self.addEventListener("activate", (event) => event.waitUntil(takeOver()));

self.addEventListener("fetch", (event) => {
  const path = keptPath(event.request, self.location.origin, PATHS);
  if (path !== null) event.respondWith(kept(path, event.request));
});

// Without this word a new version waits until no page of the old one is open.
self.addEventListener("message", (event) => {
  if (event.data === TAKE_OVER) void self.skipWaiting();
});

/** Keep every file, or none: a rejection makes the browser drop this worker and try again later. */
async function keepAll(): Promise<void> {
  const answers = await Promise.all(
    FILES.map(async (file) => [file.path, await fetched(file)] as const),
  );
  const cache = await caches.open(await cacheName(FILES));
  await Promise.all(answers.map(([path, answer]) => cache.put(path, answer)));
}

async function fetched(file: KeptFile): Promise<Response> {
  const answer = await fetch(file.path, {
    cache: "no-cache", // What the browser remembers may itself come from a sign-in page.
    integrity: file.integrity,
    redirect: "error",
  });
  const fault = faultOf(answer, file);
  if (fault !== null) throw new TypeError(fault);
  return answer;
}

async function takeOver(): Promise<void> {
  const current = await cacheName(FILES);
  await Promise.all(outdated(await caches.keys(), current).map((name) => caches.delete(name)));
  await self.clients.claim();
}

async function kept(path: string, request: Request): Promise<Response> {
  const cache = await caches.open(await cacheName(FILES));
  return (await cache.match(path, { ignoreVary: true })) ?? fetch(request);
}
