// Which takes are to be heard: those the machine is least sure of, or some by lot.

import { el, show } from "../dom.js";
import { field } from "./class.js";
import { flag } from "./ask.js";
import { words } from "./words.js";

const w = words.queue;

export class QueueScreen {
  /** @param {import("./desk.js").Desk} desk @param {URLSearchParams} given */
  constructor(desk, given) {
    this.desk = desk;
    const by = given.get("by") === "sample" ? "sample" : "doubt";
    /** @type {"doubt" | "sample"} */
    this.by = by;
    desk.way = { by, task: given.get("task") ?? "", n: given.get("n") ?? "20", seed: given.get("seed") ?? "1" };
    desk.passed.clear();
    this.title = w.headings[by];
    this.about = el("p", { class: "lead" });
    this.begin = el("button", { type: "button", class: "start", hidden: true, onclick: () => this.start() }, w.begin);
    this.list = el("tbody");
    this.more = el("button", { type: "button", hidden: true, onclick: () => this.fill() }, w.more);
    this.task = el("select", { id: "task", onchange: () => this.go() });
    this.n = el("input", { type: "number", id: "n", min: 1, max: 10000, value: desk.way.n, onchange: () => this.go() });
    this.table = el("div", { class: "scroll", tabindex: "0", role: "group", "aria-label": this.title, hidden: true }, el("table", {},
      el("thead", {}, el("tr", {}, ...w.columns.map((c) => el("th", { scope: "col", text: c })))), this.list));
    this.container = el("div", { class: "queue" },
      el("h1", { tabindex: "-1", text: this.title }), this.about,
      el("form", { class: "filter", onsubmit: (/** @type {Event} */ e) => {
        e.preventDefault();
        this.go();
      } }, field(w.task, this.task), by === "sample" && field(w.n, this.n)),
      el("p", {}, this.begin), this.table, el("p", {}, this.more));
    this.first = 0;
  }

  go() {
    const query = new URLSearchParams({ by: this.by });
    if (this.task.value) query.set("task", this.task.value);
    if (this.by === "sample") query.set("n", String(Math.max(1, Math.min(10000, Math.round(Number(this.n.value)) || 20))));
    location.hash = `queue?${query}`;
  }

  async ready() {
    try {
      const c = await this.desk.ask.get("class");
      show(this.task, el("option", { value: "", text: words.table.allTasks }),
        ...c.tasks.map((/** @type {any} */ t) => el("option", { value: t.id, selected: String(t.id) === this.desk.way.task, text: t.name })));
      await this.fill();
      this.desk.done();
    } catch (e) {
      this.desk.trouble(e, () => this.ready());
    }
  }

  async fill() {
    const q = await this.desk.ask.get("queue", { ...this.desk.wayGiven(), first: this.first, most: 50 });
    if (this.desk.screen !== this) return;
    this.about.textContent = q.of === 0 ? w.none[this.by] : this.by === "doubt" ? w.about.doubt(q.of, q.unsure) : w.about.sample(q.of, q.left);
    this.begin.hidden = q.left === 0;
    this.table.hidden = q.of === 0;
    this.list.append(...q.items.map((/** @type {any} */ i) => el("tr", {},
      el("th", { scope: "row" }, el("a", { href: `#take?id=${i.take}&by=${this.by}`, text: i.student })),
      el("td", { text: i.task }),
      el("td", { text: `${(i.value >= i.line) ? "✓" : "✗"} ${words.value(i.value, i.points)}` }),
      el("td", { text: i.flags & flag.reviewed ? w.heard : w.chance(i.doubt) }),
      el("td", { text: w.seconds(i.seconds) }))));
    this.first += q.items.length;
    this.more.hidden = this.first >= q.of || q.items.length === 0;
  }

  async start() {
    try {
      const next = await this.desk.coming(0);
      if (next.take) this.desk.open(next.take);
    } catch (e) {
      this.desk.trouble(e, () => this.start());
    }
  }

  changed() {
    this.first = 0;
    show(this.list);
    this.ready();
  }

  leave() {}
}
