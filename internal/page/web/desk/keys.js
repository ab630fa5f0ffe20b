// The keys of the desk: one letter each, which can be changed.

import { el, show } from "../dom.js";
import { words } from "./words.js";

/** @typedef {keyof typeof words.keys.names} Action */

/** @type {Record<Action, string>} */
const given = { pass: "p", fail: "f", next: "n", previous: "b", remark: "r", hear: "h", loop: "l", slow: "s", take: "t", model: "m", both: "o", undo: "u" };

const place = "singback-desk-keys";

export class Keys {
  constructor() {
    this.map = { ...given };
    this.on = true;
    try {
      const kept = JSON.parse(localStorage.getItem(place) ?? "{}");
      const map = { ...given, ...kept.map };
      if (Object.values(map).every((k) => /^[a-z]$/.test(k)) && new Set(Object.values(map)).size === Object.keys(given).length) this.map = map;
      this.on = kept.on !== false;
    } catch {
      // A browser that keeps nothing has the keys as they came.
    }
  }

  keep() {
    try {
      localStorage.setItem(place, JSON.stringify({ map: this.map, on: this.on }));
    } catch {
      // They hold as long as the page is open.
    }
  }

  reset() {
    this.map = { ...given };
    this.on = true;
    this.keep();
  }

  /**
   * set gives an action another letter, or says why not.
   * @param {Action} action
   * @param {string} letter
   * @returns {string}
   */
  set(action, letter) {
    const key = letter.toLowerCase();
    if (!/^[a-z]$/.test(key)) return words.keys.wrong;
    for (const [other, k] of /** @type {[Action, string][]} */ (Object.entries(this.map))) {
      if (k === key && other !== action) return words.keys.taken(key, words.keys.names[other]);
    }
    this.map[action] = key;
    this.keep();
    return "";
  }

  /**
   * meant is what a key means: an action, "space", the number of a place, or nothing.
   * Whoever types, or holds another key, means something else.
   * @param {KeyboardEvent} e
   * @returns {Action | "space" | number | null}
   */
  meant(e) {
    const on = /** @type {HTMLElement} */ (e.target);
    if (e.defaultPrevented || e.ctrlKey || e.altKey || e.metaKey || e.isComposing || on.isContentEditable) return null;
    const typing = on.matches?.("textarea, select, input:not([type=range], [type=checkbox], [type=radio])");
    if (typing) return null;
    if (e.key === " ") return on.matches?.("button, a, summary, input, [role=button]") ? null : "space";
    if (!this.on || e.repeat) return null;
    if (/^[1-9]$/.test(e.key)) return Number(e.key);
    const letter = e.key.toLowerCase();
    for (const [action, k] of /** @type {[Action, string][]} */ (Object.entries(this.map))) {
      if (k === letter) return action;
    }
    return null;
  }

  /**
   * sign shows the key beside a button.
   * @param {Action} action
   */
  sign(action) {
    return this.on ? el("kbd", { "aria-hidden": "true", text: this.map[action].toUpperCase() }) : null;
  }

  /** @param {Action} action */
  shortcut(action) {
    return this.on ? this.map[action] : null;
  }
}

export class KeysScreen {
  /** @param {import("./desk.js").Desk} desk */
  constructor(desk) {
    this.desk = desk;
    this.title = words.keys.heading;
    this.list = el("div", { class: "grid" });
    this.told = el("p", { class: "told-key" });
    this.container = el("div", { class: "keyscreen" },
      el("h1", { tabindex: "-1", text: words.keys.heading }),
      el("p", { class: "lead", text: words.keys.about }), this.list, this.told,
      el("p", { class: "choices" }, el("button", { type: "button", onclick: () => this.reset() }, words.keys.reset)));
    this.draw();
  }

  reset() {
    this.desk.keys.reset();
    this.draw();
    this.say(words.keys.saved);
  }

  /** @param {string} text */
  say(text) {
    this.told.textContent = text;
    this.desk.say(text);
  }

  draw() {
    const keys = this.desk.keys;
    const on = el("input", { type: "checkbox", id: "keys-on", checked: keys.on, onchange: () => {
      keys.on = on.checked;
      keys.keep();
      this.say(words.keys.saved);
    } });
    show(this.list, el("div", { class: "field check" }, on, el("label", { for: "keys-on", text: words.keys.on })),
      ...(/** @type {Action[]} */ (Object.keys(words.keys.names))).map((action) => {
        const input = el("input", { type: "text", id: `key-${action}`, maxlength: 1, value: keys.map[action], autocomplete: "off", autocapitalize: "none", spellcheck: "false", onchange: () => {
          const why = keys.set(action, input.value.trim());
          if (why) input.value = keys.map[action];
          this.say(why || words.keys.saved);
        } });
        return el("div", { class: "field" }, el("label", { for: `key-${action}`, text: words.keys.names[action] }), input);
      }));
  }

  ready() {
    this.desk.done();
  }

  leave() {}
}
