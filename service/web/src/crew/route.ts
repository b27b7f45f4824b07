// Where one is in the app: the part of the address after "#", so that the phone's own back
// button and a reload work as people expect.
import { signal } from "@preact/signals";

export const STEPS = ["tag", "photos", "object", "materials", "damage", "place"] as const;
export type Step = (typeof STEPS)[number];

/** What can be said of a piece after it was tagged: each a screen. */
const ABOUT = ["details", "damage", "correct", "retag", "anew"] as const;

export type Route =
  | { at: "losses" }
  | { at: "enrol" }
  | { at: "entry"; loss: string }
  | { at: "pieces"; loss: string }
  | { at: "step"; loss: string; step: Step }
  | { at: "piece"; loss: string; tag: string }
  | { at: (typeof ABOUT)[number]; loss: string; tag: string }
  | { at: "move"; loss: string }
  /** Without a container, it is still to be chosen. */
  | { at: "pack"; loss: string; container: string | null }
  | { at: "truck"; loss: string }
  | { at: "handover" | "delay"; loss: string; manifest: string }
  /** Without a list, it is still to be chosen; `NO_LIST` for receiving without any. */
  | { at: "receive"; loss: string; list: string | null }
  | { at: "unsent"; loss: string };

export const NO_LIST = "-";

export const route = signal<Route>(read(location.hash));

/** A tag scanned with the phone's own camera app, which opened this page with "#tag=…". */
export const scannedOutside = signal<string | null>(scannedIn(location.hash));

function scannedIn(hash: string): string | null {
  return /^#tag=(.+)$/.exec(hash)?.[1] ?? null;
}

/**
 * The office's code, from an address ending in "#enrol=…". It is taken out of the address at once,
 * so that it stays in no history.
 */
export const invitation = signal<string | null>(takeCode());

function takeCode(): string | null {
  const code = /^#enrol=(.+)$/.exec(location.hash)?.[1];
  if (code === undefined) return null;
  history.replaceState(null, "", "#/enrol");
  route.value = { at: "enrol" };
  return code;
}

window.addEventListener("hashchange", () => {
  invitation.value = takeCode() ?? invitation.value;
  scannedOutside.value = scannedIn(location.hash) ?? scannedOutside.value;
  route.value = read(location.hash);
  window.scrollTo(0, 0);
  requestAnimationFrame(focusHeading);
});

let coming: MutationObserver | null = null;

/** Reading aloud starts at the top of the new screen, which may still have to be fetched. */
function focusHeading(): void {
  coming?.disconnect();
  const heading = document.querySelector<HTMLElement>("#crew h1");
  if (heading !== null) return heading.focus();
  coming = new MutationObserver(focusHeading);
  coming.observe(document.body, { childList: true, subtree: true });
}

export function go(to: Route, replace = false): void {
  const hash = address(to);
  if (replace) location.replace(hash);
  else location.hash = hash;
}

export function address(to: Route): string {
  switch (to.at) {
    case "losses":
      return "#/";
    case "enrol":
      return "#/enrol";
    case "entry":
      return `#/${to.loss}`;
    case "step":
      return `#/${to.loss}/step/${to.step}`;
    case "piece":
      return `#/${to.loss}/piece/${to.tag}`;
    case "details":
    case "damage":
    case "correct":
    case "retag":
    case "anew":
      return `#/${to.loss}/piece/${to.tag}/${to.at}`;
    case "pack":
      return to.container === null ? `#/${to.loss}/pack` : `#/${to.loss}/pack/${to.container}`;
    case "handover":
    case "delay":
      return `#/${to.loss}/${to.at}/${to.manifest}`;
    case "receive":
      return to.list === null ? `#/${to.loss}/receive` : `#/${to.loss}/receive/${to.list}`;
    default:
      return `#/${to.loss}/${to.at}`;
  }
}

function read(hash: string): Route {
  const [loss, place, name, more] = hash.replace(/^#\/?/, "").split("/");
  if (!loss || loss.startsWith("tag=")) return { at: "losses" };
  if (loss === "enrol" && place === undefined) return { at: "enrol" };
  if (place === "pieces" || place === "unsent") return { at: place, loss };
  if (place === "step") {
    return { at: "step", loss, step: STEPS.find((step) => step === name) ?? "tag" };
  }
  if (place === "piece" && name) {
    return { at: ABOUT.find((about) => about === more) ?? "piece", loss, tag: name };
  }
  if (place === "move" || place === "truck") return { at: place, loss };
  if (place === "pack") return { at: "pack", loss, container: name || null };
  if ((place === "handover" || place === "delay") && name) {
    return { at: place, loss, manifest: name };
  }
  if (place === "receive") return { at: "receive", loss, list: name || null };
  return { at: "entry", loss };
}
