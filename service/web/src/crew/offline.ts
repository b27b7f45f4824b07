// Keeps the app on this phone for the time without a network, and brings in new versions only
// when a person asks for them.
import { signal } from "@preact/signals";
import { TAKE_OVER } from "../precache.ts";

const WORKER = "/crew/worker.js";
/** Answers for scanned tags, and for nothing else. */
const TAG_WORKER = "/crew/tag-worker.js";
const TAG_SCOPES = ["/T/", "/t/"];

/** What a browser offers where it can put the page on the home screen itself. */
interface InstallOffer extends Event {
  prompt(): Promise<unknown>;
}

export type Keeping = "trying" | "kept" | "not_yet" | "impossible";

/** Whether this page would start without a network. */
export const keeping = signal<Keeping>("trying");
/** A newer version is on this phone and waits for a person. */
export const newVersion = signal(false);
export const installOffer = signal<InstallOffer | null>(null);

window.addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault(); // Offered on the page, in its own words, and not over it.
  installOffer.value = event as InstallOffer;
});
window.addEventListener("appinstalled", () => {
  installOffer.value = null;
});

/** Whether the page was opened from the home screen. */
export function onHomeScreen(): boolean {
  return matchMedia("(display-mode: standalone)").matches;
}

/** Show the browser's own offer, which can be shown only once. */
export async function install(): Promise<void> {
  const offer = installOffer.value;
  installOffer.value = null;
  await offer?.prompt();
}

/** Have the worker keep the app now, and look again whenever somebody comes back to the page. */
export function keepForOffline(): void {
  if (!("serviceWorker" in navigator)) {
    keeping.value = "impossible";
    return;
  }
  const { serviceWorker } = navigator;
  let controlled = serviceWorker.controller !== null;
  serviceWorker.addEventListener("controllerchange", () => {
    // Another tab may have brought the new version in: this page still runs the old one.
    if (controlled) newVersion.value = true;
    controlled = true;
  });
  window.addEventListener("online", () => void look());
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") void look();
  });
  void look();
}

async function look(): Promise<void> {
  try {
    const registration = await navigator.serviceWorker.register(WORKER, { updateViaCache: "none" });
    follow(registration);
    await Promise.all(
      TAG_SCOPES.map((scope) =>
        navigator.serviceWorker.register(TAG_WORKER, { scope, updateViaCache: "none" }),
      ),
    );
    if (registration.active !== null) await registration.update();
  } catch {
    // No network, or something else than the service answered. What is kept already stays good.
    if (keeping.value !== "kept") keeping.value = "not_yet";
  }
}

const followed = new WeakSet<ServiceWorkerRegistration | ServiceWorker>();

function follow(registration: ServiceWorkerRegistration): void {
  settle(registration);
  if (followed.has(registration)) return;
  followed.add(registration);
  registration.addEventListener("updatefound", () => settle(registration));
}

function settle(registration: ServiceWorkerRegistration): void {
  const { installing, waiting, active } = registration;
  if (active !== null) keeping.value = "kept";
  if (active !== null && waiting !== null) newVersion.value = true;
  if (installing === null || followed.has(installing)) return;
  followed.add(installing);
  installing.addEventListener("statechange", () => {
    settle(registration);
    if (installing.state === "redundant" && registration.active === null) keeping.value = "not_yet";
  });
}

/** Run the new version. What was written stays: it is in the store, not in the page. */
export async function takeNewVersion(): Promise<void> {
  const registration = await navigator.serviceWorker.getRegistration(WORKER);
  if (registration?.waiting == null) {
    location.reload();
    return;
  }
  navigator.serviceWorker.addEventListener("controllerchange", () => location.reload());
  registration.waiting.postMessage(TAKE_OVER);
}
