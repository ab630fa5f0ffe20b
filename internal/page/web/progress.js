// Progress: what to practise next first, then the ladder, then all numbers.

import { el, paragraphs, show, svg } from "./dom.js";
import { words } from "./words.js";

/**
 * @typedef {{heading: string, note?: string, head: string[], rows: string[][]}} Section
 * @typedef {{name: string, answers: number, share: number | null, low: number | null, high: number | null, cents: number | null}} Rung
 */

/** table sets a section of the engine's. @param {Section} s */
export function table(s) {
  return el("section", { class: "section" },
    s.heading && el("h3", { text: s.heading }),
    s.note && el("p", { class: "help", text: s.note }),
    s.rows?.length > 0 && el("div", { class: "scroll", tabindex: "0", role: "group", "aria-label": s.heading },
      el("table", {},
        s.head?.length > 0 && el("thead", {}, el("tr", {}, ...s.head.map((h) => (h ? el("th", { scope: "col", text: h }) : el("td"))))),
        el("tbody", {}, ...s.rows.map((row) => el("tr", {}, ...row.map((cell, i) => (i === 0 ? el("th", { scope: "row", text: cell }) : el("td", { text: cell })))))))));
}

/**
 * rungs are the degrees of a progress object, the lowest first.
 * @param {any} p
 * @returns {Rung[]}
 */
export function rungs(p) {
  const rows = p.said?.sections?.find((/** @type {any} */ s) => s.field === "degree")?.rows ?? [];
  const named = rows.length === p.by_degree?.length; // else as they are counted
  return (p.by_degree ?? []).map((/** @type {any} */ r, /** @type {number} */ i) => ({
    name: named ? rows[i][0] : r.name, answers: r.answers, share: r.share ?? null, low: r.share_low ?? null, high: r.share_high ?? null, cents: r.median_cents ?? null,
  }));
}

/** @param {Rung} r */
function rung(r) {
  const w = words.progress;
  const known = r.share !== null;
  const at = (/** @type {number | null} */ share) => 4 + (share ?? 0) * 192;
  const picture = svg("svg", { viewBox: "0 0 200 24", "aria-hidden": "true", preserveAspectRatio: "none" },
    svg("line", { x1: 4, x2: 196, y1: 12, y2: 12, class: "rail" }),
    ...[0, 0.5, 1].map((s) => svg("line", { x1: at(s), x2: at(s), y1: 7, y2: 17, class: "rail" })),
    ...(known ? [
      svg("line", { x1: at(r.low), x2: at(r.high), y1: 12, y2: 12, class: "range" }),
      svg("rect", { x: at(r.share) - 4, y: 5, width: 8, height: 14, class: "point" }),
    ] : []));
  return el("li", {},
    el("b", { text: r.name }),
    el("div", { class: "rail" }, picture),
    el("span", { class: "numbers", text: known ? `${w.share(r.share ?? 0)}, ${w.answers(r.answers)}` : `${w.few}, ${w.answers(r.answers)}` }),
    el("span", { class: "off", text: r.cents === null ? "" : w.cents(r.cents) }));
}

export class ProgressScreen {
  /** @param {import("./app.js").App} app @param {URLSearchParams} query */
  constructor(app, query) {
    this.app = app;
    this.query = query;
    this.title = words.screens.progress;
    this.found = el("div", { class: "found" }, el("p", { text: words.loading }));
    this.since = el("input", { type: "date", id: "since", value: query.get("since") ?? "" });
    this.key = el("input", { type: "text", id: "key", value: query.get("key") ?? "", autocomplete: "off", spellcheck: "false" });
    this.names = el("select", { id: "names" }, ...["movable", "numbers"].map((n) => el("option", { value: n, selected: n === query.get("names") }, n)));
    const w = words.progress;
    this.container = el("div", { class: "progress" },
      el("h1", { tabindex: "-1", text: this.title }),
      this.found,
      el("form", { class: "filter", onsubmit: (/** @type {Event} */ e) => {
        e.preventDefault();
        this.look();
      } },
      el("div", { class: "field" }, el("label", { for: "since", text: w.since }), this.since),
      el("div", { class: "field" }, el("label", { for: "key", text: w.key }), this.key),
      el("div", { class: "field" }, el("label", { for: "names", text: w.names }), this.names),
      el("button", { type: "submit", text: w.show })));
  }

  ready() {
    if (!this.looked) this.look();
    this.looked = true;
  }

  async look() {
    const w = words.progress;
    const given = Object.fromEntries([["key", this.key.value.trim()], ["since", this.since.value], ["names", this.names.value]].filter(([, v]) => v));
    try {
      const p = await this.app.call("progress", given);
      const said = p.said ?? {};
      const ladder = rungs(p);
      show(this.found,
        (said.next ?? []).length > 0 && el("section", { class: "next" }, el("h2", { text: w.next }),
          el("ul", {}, ...said.next.map((/** @type {any} */ n) => el("li", {}, el("button", { type: "button", class: "main", onclick: () => this.app.go(n.address, true) }, n.text))))),
        (said.weak ?? []).length > 0 && el("section", {}, el("h2", { text: w.weak }), ...paragraphs(said.weak)),
        ladder.length > 0 && el("section", {}, el("h2", { text: w.ladder }), el("p", { class: "help", text: w.ladderAbout }), el("ol", { class: "ladder", reversed: true }, ...[...ladder].reverse().map(rung))),
        (said.intro ?? []).length > 0 && el("p", { class: "help", text: said.intro.join(" ") }),
        (said.changes ?? []).length > 0 && el("section", {}, el("h2", { text: said.change_heading }), ...paragraphs(said.changes)),
        (said.sections ?? []).length > 0 && el("section", {}, el("h2", { text: w.all }), ...said.sections.map(table)));
    } catch (e) {
      show(this.found, ...paragraphs([e instanceof Error ? e.message : String(e)], "caution"));
    }
  }
}
