// The service worker of scanned tags: without a network, a tag read by the phone's own camera app
// leads to the crew's page, which knows whether it is on a piece. Its scopes are /T/ and /t/ alone,
// so no other page can meet it, and it keeps nothing.
import { crewPageFor } from "./precache.ts";

// The types of a page are compiled in; these are the few more that a worker has.
interface FetchEvent extends Event {
  readonly request: Request;
  respondWith(answer: Promise<Response>): void;
}
declare const self: {
  addEventListener(name: "fetch", listener: (event: FetchEvent) => void): void;
  readonly location: Location;
};

/** A network that does not answer by then is as good as none. */
const PATIENCE_MS = 4_000;

self.addEventListener("fetch", (event) => {
  const page = crewPageFor(event.request, self.location.origin);
  if (page !== null) event.respondWith(answered(event.request, page));
});

async function answered(request: Request, page: string): Promise<Response> {
  const here = () => Response.redirect(page, 303);
  const late = new Promise<Response>((give) => setTimeout(() => give(here()), PATIENCE_MS));
  return Promise.race([fetch(request).catch(here), late]);
}
