// Parts of a drill's screen. Each owns its container and is told what to show.

import { el, show } from "./dom.js";
import { goOn, DEAF, TOO_LOUD } from "./state.js";
import { words } from "./words.js";

/** @typedef {import("./state.js").Drill} Drill @typedef {import("./state.js").Ask} Ask */

const QUIET = -60; // dBFS at the empty end of the meter

/** Meter shows the level, how long a note has been held, and in a line where it lies. */
export class Meter {
  constructor() {
    this.bar = el("div", { class: "fill" });
    this.words = el("p", { class: "held" });
    this.hold = el("div", { class: "fill" });
    this.holdRow = el("div", { class: "row" }, el("div", { class: "bar hold" }, this.hold));
    this.here = el("div", { class: "here" });
    this.within = el("div", { class: "within" });
    this.centsRow = el("div", { class: "row" }, el("span", { text: words.flat }), el("div", { class: "bar cents" }, this.within, this.here), el("span", { text: words.sharp }));
    this.container = el("div", { class: "meter", "aria-hidden": "true" },
      el("div", { class: "row" }, el("span", { text: words.level }), el("div", { class: "bar level" }, this.bar, el("div", { class: "limit" }))),
      this.holdRow, this.centsRow, this.words);
  }

  /** @param {Drill} d */
  show(d) {
    this.container.hidden = !d.open;
    if (!d.open) return;
    const h = d.heard;
    const level = h ? Math.max(0, Math.min(1, (h.level - QUIET) / -QUIET)) : 0;
    this.bar.style.setProperty("--part", String(level));
    const hold = d.question?.hold ?? 0;
    this.holdRow.hidden = hold <= 0;
    this.hold.style.setProperty("--part", String(h?.singing ? Math.min(1, h.held / hold) : 0));
    // In a line the cents count from the tonic; what is shown is how far the nearest semitone is.
    const cents = h?.cents === null || h?.cents === undefined ? null : h.cents - 100 * Math.round(h.cents / 100);
    this.centsRow.hidden = cents === null;
    if (cents !== null) {
      this.here.style.setProperty("--at", String(Math.max(-50, Math.min(50, cents)) / 50));
      this.within.style.setProperty("--part", String(Math.min(50, d.question?.tolerance ?? 0) / 50));
    }
    let said = words.listening;
    if (h && h.level >= TOO_LOUD) said = words.tooLoud;
    else if (d.deaf >= DEAF) said = words.deaf;
    else if (cents !== null) said = words.heardAt(cents);
    else if (h?.singing && d.question?.kind !== "line") said = words.held(h.held);
    if (this.words.textContent !== said) this.words.textContent = said;
  }
}

/** AskBox shows what the drill wants to know, and hands over what was chosen. */
export class AskBox {
  /** @param {(id: number, value: any) => void} answer */
  constructor(answer) {
    this.answer = answer;
    /** @type {Ask | null} */
    this.ask = null;
    this.problem = el("p", { class: "problem" });
    this.left = el("p", { class: "left" });
    this.body = el("div", { class: "choices" });
    this.container = el("div", { class: "ask", hidden: true }, this.body, this.problem, this.left);
    /** @type {ReturnType<typeof setInterval> | undefined} */
    this.timer = undefined;
    /** @type {HTMLInputElement | null} */
    this.field = null;
  }

  /** @param {Ask | null} ask @param {string} problem */
  show(ask, problem) {
    this.problem.textContent = problem;
    this.problem.hidden = !problem;
    if (ask === this.ask || (ask && this.ask && ask.id === this.ask.id)) return;
    this.ask = ask;
    clearInterval(this.timer);
    this.field = null;
    this.container.hidden = !ask;
    show(this.body);
    this.left.textContent = "";
    if (!ask) return;
    if (ask.what === "name") this.named(ask);
    else this.choices(ask);
    if (ask.seconds > 0) this.count(ask);
  }

  /** stop ends the countdown, where the screen is left. */
  stop() {
    clearInterval(this.timer);
  }

  /** @param {Ask} ask */
  count(ask) {
    const until = Date.now() + ask.seconds * 1000;
    const tell = () => {
      const n = Math.max(0, Math.ceil((until - Date.now()) / 1000));
      this.left.textContent = ask.what === "study" ? words.begins(n) : words.seconds(n);
      if (n === 0) clearInterval(this.timer);
    };
    tell();
    this.timer = setInterval(tell, 250);
  }

  /** @param {Ask} ask */
  choices(ask) {
    const on = goOn(ask);
    show(this.body, ...ask.choices.map((c) => {
      const button = el("button", { type: "button", class: c === on ? "main" : "", onclick: () => this.answer(ask.id, c.value) }, c.label);
      if (c.key) button.append(" ", el("kbd", { text: words.keyName(c.key) }));
      return button;
    }));
  }

  /** @param {Ask} ask */
  named(ask) {
    const w = words.name_;
    const field = el("input", { type: "text", id: "named", autocomplete: "off", autocapitalize: "off", spellcheck: "false" });
    this.field = field;
    const give = (/** @type {string} */ value) => this.answer(ask.id, value);
    const add = (/** @type {string} */ word) => {
      field.value = `${field.value.trim()} ${word}`.trim();
      if (ask.count && field.value.split(/\s+/).length >= ask.count) take.focus();
    };
    const take = el("button", { type: "submit", class: "main" }, w.take);
    const form = el("form", { class: "name", onsubmit: (/** @type {Event} */ e) => {
      e.preventDefault();
      give(field.value.trim());
    } },
    el("label", { for: "named" }, w.label), field,
    el("div", { class: "words" }, ...(ask.words ?? []).map((word) => el("button", { type: "button", onclick: () => add(word) }, word))),
    el("div", { class: "choices" }, take,
      el("button", { type: "button", onclick: () => { field.value = ""; } }, w.clear),
      ...ask.choices.map((c) => el("button", { type: "button", onclick: () => give(c.value) }, c.label))));
    show(this.body, form);
    if (matchMedia("(pointer: fine)").matches) field.focus({ preventScroll: true });
  }
}

/**
 * keyList says which keys do something.
 * @param {string[][]} keys
 */
export function keyList(keys) {
  return el("dl", { class: "keys" }, ...keys.map(([key, what]) => el("div", {}, el("dt", {}, ...key.split(/( or |, )/).map((k, i) => (i % 2 ? k : el("kbd", { text: k })))), el("dd", { text: what }))));
}

/**
 * cautions is what is said before the first start.
 * @param {string} heading element of the heading
 */
export function cautions(heading = "h2") {
  return el("section", { class: "cautions", "aria-label": words.first.heading },
    el(/** @type {"h2"} */ (heading), { text: words.first.heading }), ...words.first.lines.map((line) => el("p", { text: line })));
}

/**
 * big sets a text in letters as large as its pane has room for, in one row, or where
 * that makes them larger, in two.
 * @param {HTMLElement} element
 * @param {string} text
 */
export function big(element, text) {
  const whole = [...text].length < 8 ? text.replaceAll(" ", "\u00a0") : text;
  if (element.textContent === whole) return;
  element.textContent = whole;
  const [one, two] = rows(whole);
  element.style.setProperty("--one", one.toFixed(2));
  element.style.setProperty("--two", two.toFixed(2));
}

/** width is how wide a bold text is at most, in em of common text faces. @param {string} text */
function width(text) {
  let w = 0;
  for (const c of text) w += /[mwMW]/.test(c) ? 1.06 : /[→−+%~±]/.test(c) ? 0.86 : /[ \u00a0'.,ilIj]/.test(c) ? 0.38 : /[trf]/.test(c) ? 0.5 : 0.72;
  return Math.max(w, 0.9);
}

/**
 * rows is how wide a text is, in em, and the longer row of the two that it can be
 * broken into.
 * @param {string} text
 */
export function rows(text) {
  const words = text.split(" ");
  const breaks = words.slice(1).map((_, i) => Math.max(width(words.slice(0, i + 1).join(" ")), width(words.slice(i + 1).join(" "))));
  return [width(text), Math.min(width(text), ...breaks)];
}
