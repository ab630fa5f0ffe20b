// A form made of the flags' own words, and the address that it makes.

import { el, show } from "./dom.js";
import { words } from "./words.js";

/** @typedef {{name: string, value: string, help: string, default: string, on: boolean, choices: string[] | null}} Option */

/**
 * address is a command with the options that were given something.
 * @param {string} command
 * @param {Iterable<[string, string]>} given
 */
export function address(command, given) {
  const query = [...given].filter(([, value]) => value.trim() !== "")
    .map(([name, value]) => `${encodeURIComponent(name)}=${encodeURIComponent(value.trim()).replaceAll("%20", "+").replaceAll("%2C", ",")}`);
  return query.length > 0 ? `${command}?${query.join("&")}` : command;
}

/** main are the options that come first; the others stand under More. */
const main = ["minutes", "level", "of", "style", "key", "degrees", "qualities", "from", "notes", "length", "count", "only", "skip", "names", "voice"];

/** groups are those of More, in order; what is in none is of the last. */
const groups = [
  ["set", "set-every", "sound", "instrument", "loudness", "compare", "hear", "a4", "tuning", "octave"],
  ["tempo", "count-in", "click", "backing", "vamp", "drone", "headphones", "free", "wait", "wait-click", "modulate", "silent-bars", "cursor"],
  [],
];

/** few are so many that they need no headings. */
const few = 8;

/**
 * grouped sorts options into the groups.
 * @param {Option[]} options
 */
export function grouped(options) {
  const last = groups.length - 1;
  const of = (/** @type {Option} */ o) => groups.findIndex((names, i) => i === last || names.includes(o.name));
  const place = (/** @type {Option} */ o) => groups[of(o)].indexOf(o.name);
  return groups.map((_, i) => options.filter((o) => of(o) === i).sort((a, b) => place(a) - place(b)));
}

/** Form is one for a command; `changed` is called with each new address. */
export class Form {
  /**
   * @param {import("./app.js").App} app
   * @param {string} command
   * @param {URLSearchParams} given what the fields begin with
   * @param {(address: string) => void} changed
   */
  constructor(app, command, given, changed) {
    this.app = app;
    this.command = command;
    this.given = new URLSearchParams(given);
    this.changed = changed;
    this.container = el("div", { class: "fields" });
    /** @type {HTMLInputElement | null} */
    this.free = null;
  }

  /** address is what the fields say now. */
  address() {
    if (this.free) return address(this.command, new URLSearchParams(this.free.value));
    return address(this.command, this.given);
  }

  /** fill asks the engine which options there are. */
  async fill() {
    /** @type {Option[]} */
    let options = [];
    try {
      options = (await this.app.call("options", { command: this.command })).options;
    } catch {
      this.plain();
      return;
    }
    const first = main.map((name) => options.find((o) => o.name === name)).filter((o) => o !== undefined);
    const more = options.filter((o) => !first.includes(o));
    const grid = (/** @type {Option[]} */ of) => el("div", { class: "grid" }, ...of.map((o) => this.field(o)));
    const groups = grouped(more);
    const parts = more.length > few ? groups.flatMap((of, i) => (of.length > 0 ? [el("h2", { text: words.form.groups[i] }), grid(of)] : [])) : [grid(groups.flat())];
    show(this.container, grid(first),
      more.length > 0 && el("details", { open: more.some((o) => this.given.has(o.name)) }, el("summary", { text: words.form.more }),
        ...parts));
  }

  /** plain is the form where the engine knows no options: the words themselves. */
  plain() {
    const field = el("input", { type: "text", id: "words", value: this.given.toString(), spellcheck: "false", autocapitalize: "off", oninput: () => this.changed(this.address()) });
    this.free = field;
    show(this.container, el("label", { for: "words", text: words.form.words }), field, el("p", { class: "help", text: words.form.wordsAbout }));
  }

  /** @param {Option} o */
  field(o) {
    const id = `field-${o.name}`, about = `about-${o.name}`;
    const set = (/** @type {string} */ value) => {
      if (value.trim()) this.given.set(o.name, value);
      else this.given.delete(o.name);
      this.changed(this.address());
    };
    const now = this.given.get(o.name) ?? "";
    const w = words.form;
    let input;
    if (o.on || o.choices) {
      const choices = o.on ? [["true", w.yes], ["false", w.no]] : /** @type {string[]} */ (o.choices).map((c) => [c, c]);
      if (now && !choices.some(([v]) => v === now)) choices.push([now, now]);
      const as = o.on ? (o.default === "true" ? w.yes : w.no) : o.default;
      input = el("select", { id, "aria-describedby": about, onchange: (/** @type {Event} */ e) => set(/** @type {HTMLSelectElement} */ (e.target).value) },
        el("option", { value: "" }, w.asItIs(as)),
        ...choices.map(([value, label]) => el("option", { value, selected: value === now }, label)));
    } else {
      input = el("input", { type: "text", id, "aria-describedby": about, value: now, placeholder: w.default(o.default), spellcheck: "false", autocapitalize: "off", autocomplete: "off",
        oninput: (/** @type {Event} */ e) => set(/** @type {HTMLInputElement} */ (e.target).value) });
    }
    return el("div", { class: "field" }, el("label", { for: id, text: o.name }), input, el("p", { id: about, class: "help", text: o.help }));
  }
}
