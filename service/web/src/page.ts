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

for (const control of document.querySelectorAll<HTMLElement>("[data-print]")) {
  control.addEventListener("click", () => window.print());
}
