import { readyTones, signalScan, signalTrouble } from "./scan-signal.ts";

// Small conveniences of the desk pages. Everything works without them.

for (const all of document.querySelectorAll<HTMLInputElement>(
  "input[data-select-all]",
)) {
  const boxes = () =>
    document.querySelectorAll<HTMLInputElement>(
      `input[type=checkbox][name="${CSS.escape(all.dataset["selectAll"] ?? "")}"]`,
    );
  all.addEventListener("change", () => {
    for (const box of boxes()) box.checked = all.checked;
  });
  document.addEventListener("change", (event) => {
    if (event.target === all) return;
    const every = [...boxes()];
    const ticked = every.filter((box) => box.checked).length;
    all.checked = ticked > 0 && ticked === every.length;
    all.indeterminate = ticked > 0 && ticked < every.length;
  });
}

for (const shown of document.querySelectorAll<HTMLElement>("[data-follow]")) {
  const source = new EventSource(shown.dataset["follow"] ?? "");
  source.addEventListener("message", (event: MessageEvent<string>) => {
    const told = JSON.parse(event.data) as Record<string, string>;
    for (const place of shown.querySelectorAll<HTMLElement>("[data-told]")) {
      place.textContent = told[place.dataset["told"] ?? ""] ?? "";
    }
    if (told["over"]) {
      source.close();
      location.reload();
    }
  });
}

// Parts of a page that are kept fresh: drawn anew by the service and put in place by their id. What
// a person has open stays open, and forms are never among them.
const lively = document.querySelectorAll<HTMLElement>("[data-live]");
if (lively.length > 0) {
  const seconds = Math.min(
    ...[...lively].map((one) => Number(one.dataset["live"])),
  );
  setInterval(() => {
    if (!document.hidden) void freshen();
  }, seconds * 1000);
}

async function freshen(): Promise<void> {
  let drawn: Document;
  try {
    const answer = await fetch(location.pathname);
    if (!answer.ok) return;
    drawn = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch {
    return; // No network for now: what is shown stays, with its times on it.
  }
  for (const shown of document.querySelectorAll<HTMLElement>("[data-live]")) {
    const fresh = drawn.getElementById(shown.id);
    if (!fresh || fresh.innerHTML === shown.dataset["drawn"]) continue;
    shown.dataset["drawn"] = fresh.innerHTML;
    const open = [...shown.querySelectorAll("details")].map((one) => one.open);
    shown.replaceChildren(...fresh.childNodes);
    for (const [place, one] of shown.querySelectorAll("details").entries()) {
      one.open = open[place] ?? false;
    }
  }
}

for (const control of document.querySelectorAll<HTMLElement>("[data-print]")) {
  control.addEventListener("click", () => window.print());
}

// A scan is sent without leaving the page: a browser lets a page buzz and sound only after it was
// touched, and a page newly opened was not. The page that answers is put in place of this one.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!(form instanceof HTMLFormElement) || !form.matches("[data-scan]"))
    return;
  event.preventDefault();
  readyTones();
  void sendScan(form);
});

async function sendScan(form: HTMLFormElement): Promise<void> {
  let answer: Response;
  try {
    const body = new URLSearchParams(
      [...new FormData(form)].map(([n, v]) => [n, String(v)]),
    );
    answer = await fetch(form.action, { method: "POST", body });
  } catch {
    signalTrouble();
    form.submit(); // The browser itself says that there is no network.
    return;
  }
  const drawn = new DOMParser().parseFromString(
    await answer.text(),
    "text/html",
  );
  const main = drawn.querySelector("main");
  if (!answer.ok || !main) {
    location.assign(answer.url);
    return;
  }
  document.querySelector("main")?.replaceWith(main);
  history.replaceState(null, "", answer.url);
  const said =
    main.querySelector<HTMLElement>("[data-answer]")?.dataset["answer"];
  if (said === "in") signalScan();
  else if (said) signalTrouble();
  main.querySelector<HTMLInputElement>("[autofocus]")?.focus();
}
