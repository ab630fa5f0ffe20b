// Elements made by hand: text goes in as text, never as markup.

/** @typedef {string | Node | null | undefined | false} Child */

/**
 * el makes an element. `text` and children become text; names that begin with "on"
 * are handlers; true is an attribute without a value; null and false leave it out.
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {Record<string, any>} [given]
 * @param {...Child} children
 * @returns {HTMLElementTagNameMap[T]}
 */
export function el(tag, given = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (value === null || value === undefined || value === false) continue;
    if (name === "text") element.textContent = value;
    else if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : String(value));
  }
  element.append(...children.filter((c) => c !== null && c !== undefined && c !== false).map((c) => /** @type {string | Node} */ (c)));
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

/**
 * svg makes an element of a picture.
 * @param {string} tag
 * @param {Record<string, string | number>} [given]
 * @param {...(string | Node)} children
 * @returns {SVGElement}
 */
export function svg(tag, given = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(given)) element.setAttribute(name, String(value));
  element.append(...children);
  return element;
}

const drawn = new Set(["svg", "g", "title", "desc", "rect", "line", "path", "text", "tspan", "ellipse", "circle", "polygon", "polyline"]);

/**
 * staff makes a picture of the engine's SVG. Only what draws is taken over: no
 * script, no link, no style. It returns null where the text is no picture.
 * @param {string} text
 * @returns {SVGElement | null}
 */
export function staff(text) {
  const parsed = new DOMParser().parseFromString(text, "image/svg+xml");
  const root = parsed.documentElement;
  if (root.localName !== "svg" || root.namespaceURI !== SVG || parsed.querySelector("parsererror")) return null;
  for (const e of [root, ...root.querySelectorAll("*")]) {
    if (e.namespaceURI !== SVG || !drawn.has(e.localName)) {
      e.remove();
      continue;
    }
    for (const name of e.getAttributeNames()) {
      if (/^on|href$|^style$|^id$/i.test(name)) e.removeAttribute(name);
    }
  }
  const said = ["title", "desc"].map((n) => root.querySelector(n)?.textContent ?? "").filter(Boolean);
  for (const n of root.querySelectorAll("title, desc")) n.remove();
  const box = (root.getAttribute("viewBox") ?? "").split(/[\s,]+/).map(Number);
  root.removeAttribute("width");
  root.removeAttribute("height");
  root.setAttribute("role", "img");
  root.setAttribute("class", "staff");
  root.setAttribute("aria-label", said.join(". "));
  const picture = /** @type {SVGElement} */ (/** @type {unknown} */ (document.importNode(root, true)));
  if (box[2] > 0) picture.style.setProperty("--width", `${box[2]}px`);
  return picture;
}

/**
 * show replaces what an element holds.
 * @param {Element} container
 * @param {...Child} children
 */
export function show(container, ...children) {
  container.replaceChildren(...children.filter((c) => c !== null && c !== undefined && c !== false).map((c) => /** @type {string | Node} */ (c)));
}

/**
 * paragraphs makes one of each line.
 * @param {string[]} lines
 * @param {string} [name] class
 */
export function paragraphs(lines, name) {
  return lines.filter(Boolean).map((line) => el("p", { class: name, text: line }));
}

const marks = {
  right: "M5 13.5 10.5 19 20 6.5",
  wrong: "M6 6 18 18M18 6 6 18",
  unknown: "M8.2 8.6a3.8 3.8 0 1 1 5.6 3.6c-1.2.7-1.8 1.3-1.8 2.6M12 18.4v.3",
};

/**
 * mark draws the sign of an outcome: a tick in a ring, a cross in a square, a
 * question in a dashed ring, so that the shape tells it without colour.
 * @param {"right" | "wrong" | "unknown"} kind
 * @returns {SVGElement}
 */
export function mark(kind) {
  const frame = kind === "wrong"
    ? svg("rect", { x: 1.5, y: 1.5, width: 21, height: 21, rx: 2 })
    : svg("circle", { cx: 12, cy: 12, r: 10.7, ...(kind === "unknown" ? { "stroke-dasharray": "3 2.6" } : {}) });
  return svg("svg", { viewBox: "0 0 24 24", class: `mark ${kind}`, "aria-hidden": "true" }, frame, svg("path", { d: marks[kind] ?? marks.unknown }));
}
