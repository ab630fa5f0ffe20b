// The form of a drill, with the address that it makes.

import { el } from "./dom.js";
import { Form } from "./form.js";
import { drills } from "./state.js";
import { words } from "./words.js";

export class ChooseScreen {
  /** @param {import("./app.js").App} app @param {URLSearchParams} query */
  constructor(app, query) {
    this.app = app;
    const drill = drills.includes(query.get("drill") ?? "") ? /** @type {string} */ (query.get("drill")) : "sing";
    const given = new URLSearchParams(query);
    given.delete("drill");
    const name = words.drills[drill].name;
    this.title = words.form.heading(name);
    this.form = new Form(app, drill, given, (a) => this.changed(a));
    this.link = el("output", { class: "address", id: "address", for: "" });
    this.container = el("div", { class: "choose" },
      el("h1", { tabindex: "-1", text: this.title }),
      el("p", { class: "lead", text: words.drills[drill].about }),
      el("form", { onsubmit: (/** @type {Event} */ e) => {
        e.preventDefault();
        app.go(this.form.address(), true);
      } },
      this.form.container,
      el("div", { class: "bottom" },
        el("div", {}, el("p", { class: "label", id: "address-label", text: words.form.address }), this.link, el("p", { class: "help", text: words.form.about })),
        el("p", { class: "choices" },
          el("button", { type: "submit", class: "start" }, words.start),
          el("button", { type: "button", onclick: () => this.copy() }, words.form.copy)))));
    this.changed(this.form.address());
  }

  /** @param {string} address */
  changed(address) {
    this.link.textContent = `${location.href.split("#")[0]}#${address}`;
    history.replaceState(null, "", `#choose?drill=${address.replace("?", "&")}`);
  }

  async copy() {
    try {
      await navigator.clipboard.writeText(this.link.textContent ?? "");
      this.app.note(words.form.copied);
    } catch {
      this.app.note(words.form.notCopied);
    }
  }

  ready() {
    if (!this.filled) this.form.fill();
    this.filled = true;
  }
}
