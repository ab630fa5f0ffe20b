// The teacher's desk: its screens by the address, what is said, and the way through the
// takes.

import { el, show } from "../dom.js";
import { Asker, Refusal, flag } from "./ask.js";
import { ClassScreen } from "./class.js";
import { Keys, KeysScreen } from "./keys.js";
import { QueueScreen } from "./queue.js";
import { TakeScreen } from "./take.js";
import { words } from "./words.js";

/** @typedef {{container: HTMLElement, title: string, ready: () => void, leave: () => void, key?: (meant: any) => boolean, changed?: () => void}} Screen */
/** @typedef {{by: "doubt" | "sample", task: string, n: string, seed: string}} Way */

export class Desk {
  constructor() {
    this.keys = new Keys();
    this.ask = new Asker(() => this.changed());
    this.main = /** @type {HTMLElement} */ (document.getElementById("main"));
    this.said = /** @type {HTMLElement} */ (document.getElementById("said"));
    this.troubles = /** @type {HTMLElement} */ (document.getElementById("troubles"));
    /** @type {Way} */
    this.way = { by: "doubt", task: "", n: "20", seed: "1" };
    /** Takes that were passed over with the key for the next. @type {Set<number>} */
    this.passed = new Set();
    /** The takes that were opened, the last one last. @type {string[]} */
    this.trail = [];
    /** The last verdict. @type {{take: number, review: number, who: string} | null} */
    this.last = null;
    /** Where the table of the class was left. @type {{form: string, row: number, column: number, top: number, left: number} | null} */
    this.left = null;
    /** @type {Screen | null} */
    this.screen = null;
    this.took = false;
    addEventListener("hashchange", () => this.route());
    addEventListener("keydown", (e) => this.key(e));
    // A key that moved the focus into a field writes no letter there.
    addEventListener("keypress", (e) => this.took && e.preventDefault());
    addEventListener("keyup", () => {
      this.took = false;
    });
    this.route();
  }

  route() {
    const [name, query] = location.hash.slice(1).split("?");
    const given = new URLSearchParams(query ?? "");
    if (name === "main") return; // the link past the head
    this.screen?.leave();
    this.clear();
    /** @type {Screen} */
    let screen;
    if (name === "take") screen = new TakeScreen(this, given);
    else if (name === "queue") screen = new QueueScreen(this, given);
    else if (name === "keys") screen = new KeysScreen(this);
    else screen = new ClassScreen(this, given);
    const first = this.screen === null;
    this.screen = screen;
    document.body.dataset.desk = name || "class";
    document.body.dataset.ready = "false";
    show(this.main, screen.container);
    this.name(screen.title);
    for (const a of document.querySelectorAll("nav a")) {
      if (a.getAttribute("href") === `#${name || "class"}` || name === "queue" && a.getAttribute("href") === `#queue?by=${given.get("by") ?? "doubt"}`) a.setAttribute("aria-current", "page");
      else a.removeAttribute("aria-current");
    }
    if (!first) {
      scrollTo(0, 0);
      this.focusHeading();
    }
    screen.ready();
  }

  /** done tells whoever looks from outside that the screen is filled. */
  done() {
    document.body.dataset.ready = "true";
    document.body.dataset.place = location.hash;
  }

  focusHeading() {
    const h = this.main.querySelector("h1");
    if (h instanceof HTMLElement) h.focus({ preventScroll: true });
  }

  /** @param {string} title */
  name(title) {
    document.title = words.title(title);
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    const meant = this.keys.meant(e);
    this.took = meant !== null && (this.screen?.key?.(meant) ?? false);
    if (this.took) e.preventDefault();
  }

  /** @param {string} text */
  say(text) {
    this.said.textContent = "";
    // The same words again are said again.
    setTimeout(() => {
      this.said.textContent = text;
    }, 30);
  }

  /**
   * trouble shows an error until it is closed.
   * @param {unknown} e
   * @param {() => void} [again]
   */
  trouble(e, again) {
    const text = e instanceof Error ? e.message : String(e);
    const code = e instanceof Refusal ? e.code : "desk";
    if (!(e instanceof Refusal)) console.error(e);
    const box = el("div", { class: "trouble", role: "alert", "data-code": code }, el("p", { text }),
      again && el("button", { type: "button", onclick: () => {
        box.remove();
        again();
      } }, words.again),
      el("button", { type: "button", onclick: () => box.remove() }, words.dismiss));
    show(this.troubles, box);
    this.done();
  }

  clear() {
    show(this.troubles);
  }

  /** changed is called when another program changed the class. */
  changed() {
    const box = el("div", { class: "trouble", "data-code": "note" }, el("p", { text: words.changed }), el("button", { type: "button", onclick: () => box.remove() }, words.dismiss));
    show(this.troubles, box);
    this.say(words.changed);
    this.screen?.changed?.();
  }

  /**
   * wayGiven is the way as parameters of a question.
   * @returns {Record<string, string>}
   */
  wayGiven() {
    const w = this.way;
    return w.by === "sample" ? { by: w.by, task: w.task, n: w.n, seed: w.seed } : { by: w.by, task: w.task };
  }

  /**
   * coming is the take that comes after one, and how many are left.
   * @param {number} after
   * @returns {Promise<{take: number | null, left: number}>}
   */
  async coming(after) {
    for (let first = 0; ; first += 100) {
      const q = await this.ask.get("queue", { ...this.wayGiven(), first, most: 100 });
      const found = q.items.find((/** @type {any} */ i) => i.take !== after && !(i.flags & flag.reviewed) && !this.passed.has(i.take));
      if (found) return { take: found.take, left: q.left };
      if (first + 100 >= q.of) return { take: null, left: q.left };
    }
  }

  /** @param {number} take @param {string} [by] */
  open(take, by = this.way.by) {
    location.hash = `take?id=${take}&by=${by}`;
  }
}

/** @type {Record<string, string>} */
const fixed = words.screens;
document.getElementById("old")?.remove();
for (const e of document.querySelectorAll("[data-word]")) e.textContent = fixed[/** @type {HTMLElement} */ (e).dataset.word ?? ""] ?? e.textContent;
document.querySelector("nav")?.setAttribute("aria-label", words.nav);
new Desk();
