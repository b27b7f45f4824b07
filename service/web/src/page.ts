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

for (const control of document.querySelectorAll<HTMLElement>("[data-print]")) {
  control.addEventListener("click", () => window.print());
}
