// The class at a glance: counts, what the machine is worth, and the table.

import { el, show } from "../dom.js";
import { Grid } from "./grid.js";
import { words } from "./words.js";

const w = words.table;

/**
 * worth says what the machine's marks are worth.
 * @param {any} a the agreement
 */
export function worth(a) {
  if (!a.heard) return [el("p", { text: words.worth.none })];
  const numbers = [a.share && words.worth.share(a.share), a.kappa ? words.worth.kappa(a.kappa) : words.worth.few].filter(Boolean).join("; ");
  return [el("p", {}, el("b", { text: `${words.worth.short(a.same, a.heard)}.` }), ` ${numbers}.`), ...a.words.map((/** @type {string} */ line) => el("p", { class: "help", text: line }))];
}

export class ClassScreen {
  /** @param {import("./desk.js").Desk} desk @param {URLSearchParams} given */
  constructor(desk, given) {
    this.desk = desk;
    this.title = words.screens.class;
    this.heading = el("h1", { tabindex: "-1", text: words.screens.class });
    this.worth = el("section", { class: "worth", "aria-label": words.worth.heading });
    this.counts = el("ul", { class: "counts" });
    this.find = el("input", { type: "search", id: "find", value: given.get("find") ?? "", autocomplete: "off", spellcheck: "false", maxlength: 80, oninput: () => this.soon() });
    this.show = select("show", w.shows, given.get("show") ?? "all", () => this.changedForm());
    this.sort = select("sort", w.sorts, given.get("sort") ?? "name", () => this.changedForm());
    this.task = el("select", { id: "task", onchange: () => this.changedForm() });
    this.taskGiven = given.get("task") ?? "";
    this.found = el("p", { class: "found-rows", role: "status" });
    this.grid = new Grid(desk, (first) => desk.ask.get("table", { ...this.form(), first, most: 50 }), (n) => this.tell(n));
    this.container = el("div", { class: "glance" },
      this.heading, this.counts, this.worth,
      el("form", { class: "filter", role: "search", onsubmit: (/** @type {Event} */ e) => {
        e.preventDefault();
        this.changedForm();
      } },
      field(w.find, this.find), field(w.show, this.show), field(w.task, this.task), field(w.sort, this.sort)),
      this.found, this.grid.container,
      el("details", { class: "legend" }, el("summary", { text: w.legend }),
        el("dl", {}, ...w.signs.map(([sign, what]) => el("div", {}, el("dt", { text: sign }), el("dd", { text: what }))))));
    /** @type {any} */
    this.timer = 0;
    this.of = 0;
  }

  form() {
    const sort = this.sort.value;
    const down = sort === "value" || sort === "unsure" || sort === "missing";
    return { find: this.find.value.trim(), show: this.show.value, task: this.task.value, sort: sort.replace("-", ""), down: down ? 1 : 0 };
  }

  soon() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.changedForm(), 200);
  }

  changedForm() {
    const f = this.form();
    const query = new URLSearchParams(Object.entries({ find: f.find, show: f.show === "all" ? "" : f.show, task: f.task, sort: this.sort.value === "name" ? "" : this.sort.value }).filter(([, v]) => v));
    history.replaceState(null, "", query.size ? `#class?${query}` : "#class");
    this.grid.start();
  }

  /** @param {number} n how many rows were found */
  tell(n) {
    this.found.textContent = this.of === 0 ? w.empty : n === 0 ? w.nobody : w.found(n, this.of);
  }

  async ready() {
    try {
      const c = await this.desk.ask.get("class");
      if (this.desk.screen !== this) return;
      this.of = c.counts.students;
      this.heading.textContent = c.name;
      this.desk.name(c.name);
      show(this.counts, ...["takes", "missing", "passed", "failed", "unsure", "reviewed", "unread", "unmarked", "late"].filter((k) => c.counts[k] > 0 || k === "takes")
        .map((k) => el("li", {}, el("b", { text: c.counts[k].toLocaleString("en") }), ` ${words.counts[/** @type {keyof typeof words.counts} */ (k)]}`)));
      show(this.worth, ...worth(c.agreement));
      const chosen = this.task.value || this.taskGiven;
      show(this.task, el("option", { value: "", text: w.allTasks }), ...c.tasks.map((/** @type {any} */ t) => el("option", { value: t.id, selected: String(t.id) === chosen, text: t.name })));
      this.grid.columns(c.tasks);
      const left = this.desk.left;
      if (left && left.form === JSON.stringify(this.form())) this.grid.back(left);
      this.desk.left = null;
      await this.grid.start();
      this.desk.done();
    } catch (e) {
      this.desk.trouble(e, () => this.ready());
    }
  }

  changed() {
    this.ready();
  }

  leave() {
    clearTimeout(this.timer);
    this.desk.left = { form: JSON.stringify(this.form()), ...this.grid.where() };
    this.grid.stop();
  }
}

/** @param {string} label @param {HTMLElement} input */
export function field(label, input) {
  return el("div", { class: "field" }, el("label", { for: input.id, text: label }), input);
}

/**
 * @param {string} id
 * @param {Record<string, string>} options
 * @param {string} chosen
 * @param {() => void} changed
 */
export function select(id, options, chosen, changed) {
  return el("select", { id, onchange: changed }, ...Object.entries(options).map(([value, text]) => el("option", { value, text, selected: value === chosen })));
}
