// What a gloved hand and an eye in glare lack of the screen as it stands, in sentences.
//
// Contrast is that of WCAG 2.2 (W3C): relative luminance, and (L1 + 0.05) / (L2 + 0.05).
(wanted) => {
  const faults = new Set();
  const controls =
    "a[href], button, input:not([type=hidden]), select, textarea, summary, [role=button]";
  const pictures = "img, video, canvas";

  const styleOf = (one) => getComputedStyle(one);
  const boxOf = (one) => one.getBoundingClientRect();
  const short = (text) => text.trim().replace(/\s+/g, " ").slice(0, 50);
  const nameOf = (one) =>
    `${one.tagName.toLowerCase()} “${short(one.ariaLabel || one.innerText || one.id || one.className)}”`;

  /** Seen at all: not hidden, and not there for screen readers only. */
  const seen = (one) => {
    if (!one.checkVisibility({ visibilityProperty: true, opacityProperty: true })) return false;
    for (let at = one; at !== null; at = at.parentElement)
      if (styleOf(at).clipPath === "inset(50%)") return false;
    const box = boxOf(one);
    return box.width > 0 && box.height > 0 && box.bottom + scrollY > 0;
  };

  // Colours.
  const read = (text) => {
    const [red, green, blue, alpha = 1] = text.match(/[\d.]+/g).map(Number);
    return { red, green, blue, alpha };
  };
  const over = (top, under) => {
    const mix = (name) => top[name] * top.alpha + under[name] * (1 - top.alpha);
    return { red: mix("red"), green: mix("green"), blue: mix("blue"), alpha: 1 };
  };
  const luminance = ({ red, green, blue }) => {
    const [r, g, b] = [red, green, blue]
      .map((value) => value / 255)
      .map((value) => (value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (one, other) => {
    const [dark, light] = [luminance(one), luminance(other)].sort((a, b) => a - b);
    return (light + 0.05) / (dark + 0.05);
  };
  /** The colour behind what `one` holds, and the element that it is the colour of. */
  const behind = (one) => {
    const layers = [];
    let at = one;
    for (; at !== null; at = at.parentElement) {
      const style = styleOf(at);
      if (style.backgroundImage !== "none") faults.add(`${nameOf(one)} stands on a picture`);
      layers.push(read(style.backgroundColor));
      if (layers.at(-1).alpha === 1) break;
    }
    const white = { red: 255, green: 255, blue: 255, alpha: 1 };
    return { colour: layers.reduceRight((under, top) => over(top, under), white), of: at };
  };
  const meet = (one, other) =>
    Math.min(one.right, other.right) - Math.max(one.left, other.left) > 1 &&
    Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top) > 1;

  // Words: readable, whole, and beside one another.
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode;
    const parent = node.parentElement;
    if (node.data.trim() === "" || parent.matches("script, style, noscript, option")) continue;
    if (!seen(parent)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const boxes = [...range.getClientRects()].filter((box) => box.width > 0);
    if (boxes.length > 0) texts.push({ node, parent, boxes });
  }
  const readable = (one, what, boxes) => {
    const style = styleOf(one);
    const ground = behind(one);
    const ratio = contrast(over(read(style.color), ground.colour), ground.colour);
    if (ratio < wanted.text)
      faults.add(`${what} has contrast ${ratio.toFixed(2)}:1, not ${wanted.text}:1`);
    for (let at = one; at !== null; at = at.parentElement)
      if (Number(styleOf(at).opacity) < 1) faults.add(`${what} is faded`);
    for (const picture of (ground.of ?? document.body).querySelectorAll(pictures))
      if (!picture.contains(one) && seen(picture) && boxes.some((box) => meet(box, boxOf(picture))))
        if (!(picture.matches(wanted.overPaper) && one.matches(".signature__words")))
          faults.add(`${what} stands on a picture`);
    if (Number.parseFloat(style.fontSize) < wanted.letters)
      faults.add(`${what} is ${style.fontSize} high, not ${wanted.letters} px`);
    if (Number(style.fontWeight) < 400) faults.add(`${what} is thin`);
  };
  for (const { node, parent, boxes } of texts) {
    const what = `“${short(node.data)}”`;
    readable(parent, what, boxes);
    for (const box of boxes) {
      if (box.left < -1 || box.right > innerWidth + 1) faults.add(`${what} runs off the screen`);
      for (let at = parent; at !== document.body; at = at.parentElement) {
        const style = styleOf(at);
        const frame = boxOf(at);
        const cuts = style.overflowX !== "visible" || style.overflowY !== "visible";
        if (parent.closest(wanted.shortened) !== null) break;
        const out =
          box.left < frame.left - 1 ||
          box.right > frame.right + 1 ||
          box.top < frame.top - box.height / 2 ||
          box.bottom > frame.bottom + box.height / 2;
        if (out && cuts) faults.add(`${what} is cut off`);
        if (out && at.matches(controls)) faults.add(`${what} runs out of its control`);
      }
    }
  }
  for (const field of document.querySelectorAll("input:not([type=hidden]), select, textarea")) {
    if (!seen(field) || field.type === "file") continue;
    readable(field, `what is typed into ${nameOf(field)}`, []);
    if (field.placeholder) faults.add(`${nameOf(field)} has words that go when one types`);
  }
  const layerOf = (one) => {
    for (let at = one; at !== null; at = at.parentElement)
      if (["sticky", "fixed"].includes(styleOf(at).position)) return at;
    return null;
  };
  /** A line of text is higher than its letters; this much of it is letters. */
  const letters = (box) => ({
    left: box.left,
    right: box.right,
    top: box.top + box.height * 0.2,
    bottom: box.bottom - box.height * 0.2,
  });
  const shown = texts.filter(({ parent }) => parent.closest(wanted.shortened) === null);
  for (const [place, one] of shown.entries())
    for (const other of shown.slice(place + 1)) {
      if (layerOf(one.parent) !== layerOf(other.parent)) continue;
      if (one.boxes.some((a) => other.boxes.some((b) => meet(letters(a), letters(b)))))
        faults.add(`“${short(one.node.data)}” lies over “${short(other.node.data)}”`);
    }
  if (document.documentElement.scrollWidth > innerWidth)
    faults.add(`scrolls sideways: ${document.documentElement.scrollWidth} px on ${innerWidth} px`);

  // Targets: large enough, apart, and with an edge to be seen.
  const targets = [];
  for (const one of document.querySelectorAll(controls)) {
    // A hidden field is pressed by its label.
    const target = one.matches("input") && !seen(one) ? (one.closest("label") ?? one) : one;
    if (seen(target)) targets.push({ one, target, box: boxOf(target) });
  }
  for (const { one, target, box } of targets) {
    const words = one.ariaLabel || target.innerText;
    const scans = one.type === "file" || wanted.scans.some((name) => words.trim().startsWith(name));
    const side = scans ? wanted.scanSide : wanted.side;
    if (box.width < side - 0.5 || box.height < side - 0.5)
      faults.add(
        `${nameOf(target)} is ${Math.round(box.width)} × ${Math.round(box.height)} px, ` +
          `not ${side} × ${side}`,
      );
    if (box.left < -1 || box.right > innerWidth + 1)
      faults.add(`${nameOf(target)} runs off the screen`);
    if (one.draggable && one.matches("[draggable=true]")) faults.add(`${nameOf(one)} is dragged`);

    const style = styleOf(target);
    const around = behind(target.parentElement).colour;
    const within = behind(target).colour;
    const edges = ["Top", "Right", "Bottom", "Left"].map((side) => ({
      width: Number.parseFloat(style[`border${side}Width`]),
      colour: over(read(style[`border${side}Color`]), within),
    }));
    const bordered = edges.every(
      ({ width, colour }) => width >= 1 && contrast(colour, around) >= wanted.edge,
    );
    const filled = contrast(within, around) >= wanted.edge;
    const underlined = style.textDecorationLine === "underline";
    if (!bordered && !filled && !underlined) faults.add(`${nameOf(target)} has no edge to be seen`);
  }
  for (const [place, one] of targets.entries())
    for (const other of targets.slice(place + 1)) {
      if (one.target.contains(other.target) || other.target.contains(one.target)) continue;
      if (layerOf(one.target) !== layerOf(other.target)) continue;
      const across = Math.max(one.box.left - other.box.right, other.box.left - one.box.right);
      const down = Math.max(one.box.top - other.box.bottom, other.box.top - one.box.bottom);
      if (Math.max(across, down) < wanted.gap - 0.5)
        faults.add(
          `${nameOf(one.target)} and ${nameOf(other.target)} are ` +
            `${Math.round(Math.max(across, down))} px apart, not ${wanted.gap}`,
        );
    }

  // Drawings, and states that do not hang on colour.
  for (const drawing of document.querySelectorAll("svg.icon, svg.band__mark")) {
    if (!seen(drawing)) continue;
    const ground = behind(drawing).colour;
    const ratio = contrast(over(read(styleOf(drawing).color), ground), ground);
    if (ratio < wanted.edge)
      faults.add(`a drawing in ${nameOf(drawing.parentElement)} has ${ratio.toFixed(2)}:1`);
  }
  for (const one of document.querySelectorAll(".flag, .band, .age, .notice, .strip__unsent"))
    if (seen(one) && one.innerText.trim() === "") faults.add(`${one.className} is colour alone`);
  for (const one of document.querySelectorAll("[aria-pressed]")) {
    if (!seen(one)) continue;
    const ticked = [...one.querySelectorAll("svg use")].some((use) =>
      use.getAttribute("href").endsWith("-check"),
    );
    const isOn = one.ariaPressed === "true";
    if (ticked !== isOn) faults.add(`${nameOf(one)} is ${isOn ? "on" : "off"} by colour alone`);
  }

  // The main action is where the thumb is.
  if (wanted.reach) {
    const docked = targets.filter(({ target }) => target.closest(".dock"));
    const scans = ({ target }) => target.matches(".button--scan");
    const main = [
      docked.filter(scans),
      docked.filter(({ target }) => target.matches(".button--primary")),
      targets.filter(scans),
      docked,
      targets.filter(({ target }) => target.matches(".card")),
    ].find((some) => some.length > 0);
    const third = (2 / 3) * innerHeight;
    const reached = ({ target, box }) => {
      const [x, y] = [(box.left + box.right) / 2, (box.top + box.bottom) / 2];
      const hit = document.elementFromPoint(x, y);
      return y >= third && y <= innerHeight && hit !== null && target.contains(hit);
    };
    // What is typed is sent by a key of the phone's own keyboard; a list longer than the window is
    // scrolled to where the thumb is.
    const typed = main?.[0].target.closest("form")?.querySelector("[enterkeyhint]") != null;
    const long =
      main?.[0].target.matches(".card") && document.documentElement.scrollHeight > innerHeight;
    if (main !== undefined && !typed && !long && !main.some(reached))
      faults.add(`${nameOf(main[0].target)} is out of the thumb's reach`);
  }

  // What has the focus shows it, and nothing lies over it.
  if (wanted.focus) {
    for (const { one, target } of targets) {
      if (one.disabled) continue;
      one.focus();
      const style = styleOf(target);
      const ring = contrast(read(style.outlineColor), behind(target.parentElement).colour);
      if (Number.parseFloat(style.outlineWidth) < 2 || style.outlineStyle === "none")
        faults.add(`${nameOf(target)} does not show that it has the focus`);
      else if (ring < wanted.edge) faults.add(`the focus of ${nameOf(target)} has ${ring.toFixed(2)}:1`);
      const box = boxOf(target);
      const hit = document.elementFromPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2);
      const own = hit !== null && (target.contains(hit) || hit.contains(target));
      const higher = box.height > innerHeight / 2;
      if (!own && !higher) faults.add(`${nameOf(target)} has the focus and is covered by ${hit === null ? "the edge" : nameOf(hit)}`);
    }
    document.activeElement?.blur();
    scrollTo(0, 0);
  }
  return [...faults];
};
