// The record: hand it out, take one in, say who sings, delete it.

import { store, stored } from "./app.js";
import { el, paragraphs, show } from "./dom.js";
import { words } from "./words.js";

const LARGEST = 64 << 20; // bytes of an import

export class RecordScreen {
  /** @param {import("./app.js").App} app */
  constructor(app) {
    this.app = app;
    this.title = words.screens.record;
    this.body = el("div", {}, el("p", { text: words.loading }));
    this.container = el("div", { class: "record" }, el("h1", { tabindex: "-1", text: this.title }), this.body);
  }

  async ready() {
    const w = words.record;
    let s;
    try {
      s = await this.app.call("standing");
    } catch (e) {
      show(this.body, ...paragraphs([words.trouble.call(e instanceof Error ? e.message : e)], "caution"));
      return;
    }
    this.standing = s;
    const here = this.app.home === "browser";
    show(this.body,
      el("p", { text: [words.singer(s.singer), s.answers > 0 ? words.answers(s.answers) : words.nobody].join(" · ") }),
      el("p", { text: here ? w.browser : w.computer }),
      section(w.handOut,
        row(button(w.export, () => this.hand(), "main"), w.exportAbout),
        row(file(w.import, ".csv,.jsonl,text/csv", (f) => this.read(f)), w.importAbout)),
      here && this.who(s.singer),
      section(w.course, el("p", { text: w.courseNow(s.course?.name ?? "") }),
        here && row(file(w.courseRead, ".toml", (f) => this.course(f)), w.courseAbout),
        here && el("p", {}, button(w.courseBack, () => this.course(null)))),
      section(w.device,
        here && el("p", {}, button(w.persist, () => this.persist())),
        "requestMIDIAccess" in navigator && row(this.midi(), w.midiAbout)),
      here && this.removal(s));
    // Not without a network.
    if (document.body.dataset.handIn) import("./handin.js").then((m) => m.part(this.app)).then((p) => this.body.append(p)).catch(() => {});
  }

  /** @param {string} singer */
  who(singer) {
    const w = words.record;
    const field = el("input", { type: "text", id: "singer", value: singer, autocomplete: "off", maxlength: "60" });
    return section(w.singer, el("form", { class: "inline", onsubmit: (/** @type {Event} */ e) => {
      e.preventDefault();
      this.act(() => this.app.call("singer", { name: field.value.trim() }), () => w.singerSaved(field.value.trim()));
    } }, el("label", { for: "singer", text: w.singerLabel }), field, el("button", { type: "submit", text: w.singerSave })));
  }

  /** act does something, says how it went, and shows the screen anew. @param {() => Promise<any>} does @param {(value: any) => string} said */
  async act(does, said) {
    try {
      const text = said(await does());
      if (text) this.app.note(text);
      await this.ready();
    } catch (e) {
      this.app.tell_("call", e instanceof Error ? e.message : String(e));
    }
  }

  hand() {
    return this.act(() => this.app.call("export"), (got) => {
      const url = URL.createObjectURL(new Blob([got.text], { type: "text/csv" }));
      el("a", { href: url, download: got.name }).click();
      setTimeout(() => URL.revokeObjectURL(url), 60000);
      return words.record.exported(got.name);
    });
  }

  /** @param {File} f */
  async read(f) {
    if (f.size > LARGEST) return this.app.note(words.record.tooLarge);
    await this.act(async () => this.app.call("import", { text: await f.text() }), (got) => words.record.imported(got.read, got.added));
  }

  /** @param {File | null} f */
  course(f) {
    return this.act(async () => this.app.call("course", { text: f ? await f.text() : null }), (got) => words.record.courseNow(got?.course?.name ?? ""));
  }

  persist() {
    return this.act(async () => navigator.storage?.persist?.() ?? false, (kept) => (kept ? words.record.persisted : words.record.notPersisted));
  }

  midi() {
    const w = words.record;
    const on = stored("midi") === "on";
    return button(on ? w.midiOff : w.midiOn, async () => {
      if (on) this.app.keyboard.close();
      const open = !on && (await this.app.keyboard.open());
      store("midi", open ? "on" : "off");
      await this.ready();
    });
  }

  /** @param {any} s */
  removal(s) {
    const w = words.record;
    const box = section(w.remove, row(button(w.remove, () => {
      const sure = el("div", { role: "group", "aria-label": w.remove }, el("p", { class: "caution", text: w.removeAsk(s.singer, s.answers) }),
        el("p", { class: "choices" }, button(w.removeNo, () => this.ready(), "main"),
          button(w.removeYes, () => this.act(() => this.app.call("forget"), () => w.removed))));
      show(box, el("h2", { text: w.remove }), sure);
      sure.querySelector("button")?.focus();
    }), w.removeAbout));
    return box;
  }
}

/** @param {string} heading @param {...import("./dom.js").Child} children */
function section(heading, ...children) {
  return el("section", { class: "part" }, el("h2", { text: heading }), ...children);
}

/** @param {HTMLElement} control @param {string} about */
function row(control, about) {
  return el("div", { class: "act" }, control, el("p", { text: about }));
}

/** @param {string} label @param {() => any} does @param {string} [name] */
function button(label, does, name) {
  return el("button", { type: "button", class: name, onclick: does }, label);
}

/** @param {string} label @param {string} accept @param {(f: File) => any} does */
function file(label, accept, does) {
  const input = el("input", { type: "file", accept, class: "unseen", tabindex: "-1", "aria-hidden": "true", onchange: () => {
    const f = input.files?.[0];
    if (f) does(f);
    input.value = "";
  } });
  return el("div", {}, input, button(label, () => input.click()));
}
