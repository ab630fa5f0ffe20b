// The first screen: today's practice, then everything else.

import { el, paragraphs, show } from "./dom.js";
import { cautions } from "./parts.js";
import { words } from "./words.js";

/** @typedef {import("./app.js").App} App */

export class HomeScreen {
  /** @param {App} app @param {string} [note] what must be said first */
  constructor(app, note = "") {
    this.app = app;
    this.title = "";
    this.lines = el("div", { class: "standing" }, el("p", { text: words.loading }));
    this.start = el("button", { type: "button", class: "start", disabled: true, onclick: () => app.go("today", true) }, words.start);
    this.notes = el("div", { class: "notes" });
    this.container = el("div", { class: "home" },
      el("section", { class: "today" },
        el("h1", { tabindex: "-1", text: words.drills.today.name }),
        note && el("p", { class: "caution", text: note }),
        this.lines,
        app.first && cautions(),
        el("p", {}, this.start),
        this.notes),
      group(words.headings.drills, ["sing", "series", "echo", "dictation", "calibrate"].map((d) => link(d === "calibrate" ? "#calibrate" : `#choose?drill=${d}`, words.drills[d]))),
      group(words.headings.lookups, Object.entries(words.lookups).map(([name, it]) => link(`#${name}`, it))),
      group(words.headings.others, Object.entries(words.others).map(([name, it]) => link(`#${name}`, it))));
  }

  /** @param {KeyboardEvent} e */
  press(e) {
    const onControl = e.target instanceof Element && e.target.closest("button, a, input, summary, select") !== null;
    if (onControl || this.start.disabled || (e.key !== " " && e.key !== "Enter")) return false;
    this.app.go("today", true);
    return true;
  }

  async ready() {
    this.start.disabled = false;
    const known = this.app.known;
    show(this.notes, ...paragraphs(known.notes ?? []));
    try {
      const s = await this.app.call("standing");
      show(this.lines, ...paragraphs([...(s.lines?.length > 0 ? s.lines : [s.stage]), s.answers > 0 ? words.answers(s.answers) : words.nobody, words.singer(s.singer ?? known.singer)]),
        !s.profile && el("p", { class: "caution" }, words.calibrateFirst, " ", el("a", { href: "#calibrate", text: words.drills.calibrate.name })));
    } catch (e) {
      show(this.lines, ...paragraphs([words.trouble.call(e instanceof Error ? e.message : e)]));
    }
  }
}

/** @param {string} heading @param {HTMLElement[]} links */
function group(heading, links) {
  return el("section", { class: "group" }, el("h2", { text: heading }), el("ul", { class: "links" }, ...links.map((l) => el("li", {}, l))));
}

/** @param {string} href @param {{name: string, about: string}} it */
function link(href, it) {
  return el("a", { href }, el("b", { text: it.name }), el("span", { text: it.about }));
}
