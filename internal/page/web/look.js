// Look-ups: a melody, a key, its chords.

import { el, paragraphs, show, staff } from "./dom.js";
import { Form } from "./form.js";
import { table } from "./progress.js";
import { words } from "./words.js";

export class LookScreen {
  /** @param {import("./app.js").App} app @param {string} what @param {URLSearchParams} query */
  constructor(app, what, query) {
    this.app = app;
    this.what = what;
    this.title = words.lookups[what].name;
    this.form = new Form(app, what, query, () => {});
    this.found = el("section", { class: "found", "aria-live": "off" });
    this.played = el("button", { type: "button", onclick: () => this.play() }, words.look.play);
    this.container = el("div", { class: "look" },
      el("h1", { tabindex: "-1", text: this.title }),
      el("p", { class: "lead", text: words.lookups[what].about }),
      el("form", { onsubmit: (/** @type {Event} */ e) => {
        e.preventDefault();
        this.look();
      } }, el("details", { open: [...query].length === 0 }, el("summary", { text: words.screens.choose }), this.form.container),
      el("p", { class: "choices" },
        el("button", { type: "submit", class: "main" }, words.look.show),
        this.played,
        what === "melody" && el("button", { type: "button", onclick: () => this.another() }, words.look.another))),
      this.found);
  }

  ready() {
    if (this.filled) return;
    this.filled = true;
    this.form.fill();
    this.look();
  }

  another() {
    const seed = String(crypto.getRandomValues(new Uint32Array(1))[0] % 1000000);
    this.form.given.set("seed", seed);
    const field = this.form.container.querySelector("#field-seed");
    if (field instanceof HTMLInputElement) field.value = seed;
    this.look();
  }

  async look() {
    const address = this.form.address();
    history.replaceState(null, "", `#${address}`);
    try {
      const got = await this.app.call(this.what, this.what === "melody" ? { address, width: Math.round(Math.min(1200, this.found.clientWidth - 16)) } : address);
      const picture = got.svg ? staff(got.svg) : null;
      show(this.found, el("h2", { text: got.title ?? "" }),
        picture && el("div", { class: "paper", tabindex: "0", role: "group", "aria-label": got.title ?? words.staff }, picture),
        !picture && got.text && (got.text.trim().includes("\n") ? el("pre", { text: got.text, tabindex: "0" }) : el("p", { text: got.text })),
        ...(got.sections ?? []).map(table));
      // What was drawn by chance has a number, so that the address brings it back.
      const seed = got.record?.seed;
      if (this.what === "melody" && seed !== undefined && seed !== null && !this.form.given.get("seed")) {
        this.form.given.set("seed", String(seed));
        history.replaceState(null, "", `#${this.form.address()}`);
      }
    } catch (e) {
      show(this.found, ...paragraphs([e instanceof Error ? e.message : String(e)], "caution"));
    }
  }

  async play() {
    this.app.wake(this.what);
    this.played.disabled = true;
    this.played.textContent = words.look.stop;
    try {
      await this.app.listen();
      await this.app.call("play", this.form.address());
    } catch (e) {
      this.app.tell_("call", e instanceof Error ? e.message : String(e));
    }
    this.played.disabled = false;
    this.played.textContent = words.look.play;
  }
}
