// Small conveniences of the desk pages. Everything works without them.

for (const all of document.querySelectorAll<HTMLInputElement>("input[data-select-all]")) {
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
  const seconds = Math.min(...[...lively].map((one) => Number(one.dataset["live"])));
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
