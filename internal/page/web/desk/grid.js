// The table of the class: as many rows as there are students, of which those in sight
// are there.

import { el, show } from "../dom.js";
import { flag } from "./ask.js";
import { words } from "./words.js";

const w = words.table;

/** BLOCK is how many rows are asked for at once, BLOCKS how many such are kept. */
const BLOCK = 50;
const BLOCKS = 30;
/** AROUND is how many rows out of sight are there too, SIDE by how many columns the table goes on. */
const AROUND = 5;
const SIDE = 6;

/**
 * cell says what is so of one: what is seen, and what is read out.
 * @param {number[] | null} c
 * @param {any} task
 * @returns {{text: string, said: string, kind: string}}
 */
export function cell(c, task) {
  const s = words.states;
  if (!c && task.kind === "exercise") return { text: "", said: s.exercise, kind: "none" };
  if (!c) return { text: w.cells.none, said: s.none, kind: "none" };
  const [, flags, value, doubt] = c;
  const late = flags & flag.late ? [s.late] : [];
  const l = flags & flag.late ? " L" : "";
  if (flags & flag.unread) return { text: w.cells.unread + l, said: words.cell(s.unread, late), kind: "unread" };
  if (!(flags & flag.marked)) return { text: w.cells.unmarked + l, said: words.cell(s.unmarked, late), kind: "unmarked" };
  const pass = (flags & flag.passed) !== 0;
  const unsure = (flags & flag.unsure) !== 0;
  const number = task.points > 0 ? words.points(value / 1000, task.points) : String(Math.round(value / 10));
  const more = [words.value(value / 1000, task.points)];
  if (unsure) more.push(`${s.unsure}: ${words.chance(doubt / 1000)}`);
  if (flags & flag.reviewed) more.push(flags & flag.overruled ? s.overruled : s.yours);
  const yours = flags & flag.overruled ? " ◆" : flags & flag.reviewed ? " ▪" : "";
  return {
    text: `${pass ? "✓" : "✗"}${unsure ? "?" : ""} ${number}${yours}${l}`, said: words.cell(pass ? words.pass : words.fail, [...more, ...late]),
    kind: unsure ? "unsure" : pass ? "pass" : "fail",
  };
}

export class Grid {
  /**
   * @param {import("./desk.js").Desk} desk
   * @param {(first: number) => Promise<any>} ask
   * @param {(n: number) => void} tell
   */
  constructor(desk, ask, tell) {
    this.desk = desk;
    this.ask = ask;
    this.tell = tell;
    /** @type {any[]} */
    this.tasks = [];
    this.of = 0;
    this.run = 0;
    this.row = 0;
    this.column = 0;
    this.height = 44;
    this.width = 84;
    /** The columns that are there: from, and to without it. */
    this.span = [0, 0];
    /** @type {Map<number, any[] | null>} blocks by number; null is asked for */
    this.blocks = new Map();
    /** @type {Map<number, HTMLTableRowElement>} */
    this.rows = new Map();
    this.head = el("thead");
    this.above = el("tr", { class: "spacer", "aria-hidden": "true" }, el("td"));
    this.below = el("tr", { class: "spacer", "aria-hidden": "true" }, el("td"));
    this.body = el("tbody", {}, this.above, this.below);
    this.table = el("table", { role: "grid", tabindex: "0", class: "cells", onkeydown: (/** @type {KeyboardEvent} */ e) => this.key(e), onclick: (/** @type {MouseEvent} */ e) => this.click(e) }, this.head, this.body);
    this.container = el("div", { class: "scroller" }, this.table);
    this.container.addEventListener("scroll", () => this.soon(), { passive: true });
    this.resized = new ResizeObserver(() => this.soon());
    this.resized.observe(this.container);
    this.waiting = false;
    this.top = 0;
    /** @type {any} */
    this.still = 0;
    /** @type {{top: number, left: number} | null} */
    this.was = null;
  }

  /** @param {any[]} tasks */
  columns(tasks) {
    this.tasks = tasks;
    show(this.head, el("tr", { "aria-rowindex": "1" }, el("th", { scope: "col", class: "who", text: w.student }),
      ...tasks.map((t, i) => el("th", { scope: "col", "aria-colindex": i + 2, title: t.name }, el("span", { text: t.name })))));
    this.table.setAttribute("aria-colcount", String(tasks.length + 1));
    this.table.style.setProperty("--tasks", String(tasks.length));
  }

  /** where tells where the table is. */
  where() {
    return { row: this.row, column: this.column, top: this.container.scrollTop, left: this.container.scrollLeft };
  }

  /** back goes where it was. @param {{row: number, column: number, top: number, left: number}} at */
  back(at) {
    this.row = at.row;
    this.column = at.column;
    this.was = at;
  }

  /** start asks for the rows anew. */
  async start() {
    const run = ++this.run;
    const first = await this.ask(0).catch((e) => {
      this.desk.trouble(e, () => this.start());
      return null;
    });
    if (!first || run !== this.run) return;
    this.blocks.clear();
    for (const row of this.rows.values()) row.remove();
    this.rows.clear();
    this.blocks.set(0, first.rows);
    this.of = first.of;
    this.row = Math.min(this.row, Math.max(0, this.of - 1));
    this.column = Math.min(this.column, Math.max(0, this.tasks.length - 1));
    this.container.hidden = this.of === 0;
    this.table.setAttribute("aria-rowcount", String(this.of + 1));
    this.table.setAttribute("aria-label", w.label(this.of, this.tasks.length));
    this.tell(this.of);
    this.draw();
    const one = this.rows.values().next().value;
    if (one) this.height = one.getBoundingClientRect().height || this.height;
    this.width = this.head.querySelector("th:nth-child(2)")?.getBoundingClientRect().width || this.width;
    this.draw();
    if (this.was) {
      this.container.scrollTo(this.was.left, this.was.top);
      this.was = null;
      this.draw();
    }
  }

  stop() {
    this.run++;
    clearTimeout(this.still);
    this.resized.disconnect();
  }

  soon() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.draw();
    });
  }

  /** draw puts the rows in sight into the table, and takes the others out. */
  draw() {
    const top = Math.floor(this.container.scrollTop / this.height);
    const span = this.columnsInSight(); // before anything changes: it asks where things lie
    const inSight = Math.ceil(this.container.clientHeight / this.height);
    // Of rows that fly by there are the names alone, until it is still.
    const flies = Math.abs(top - this.top) > inSight / 2;
    this.top = top;
    clearTimeout(this.still);
    if (flies) this.still = setTimeout(() => this.draw(), 60);
    const from = Math.max(0, Math.min(top - AROUND, this.of - 1));
    const to = Math.min(this.of, top + inSight + AROUND);
    for (const [i, row] of this.rows) {
      if (i < from || i >= to) {
        row.remove();
        this.rows.delete(i);
      }
    }
    /** @type {Element} */
    let after = this.above;
    for (let i = from; i < to; i++) {
      let row = this.rows.get(i);
      const block = this.blocks.get(Math.floor(i / BLOCK));
      const data = block?.[i % BLOCK];
      if (!row || (data && !flies && (row.dataset.empty || row.dataset.span !== span))) {
        const fresh = this.make(i, data, flies ? "" : span);
        row?.replaceWith(fresh);
        row = fresh;
        this.rows.set(i, row);
      }
      if (after.nextElementSibling !== row) after.after(row);
      after = row;
      if (block === undefined) this.load(Math.floor(i / BLOCK));
    }
    this.above.style.setProperty("height", `${from * this.height}px`);
    this.below.style.setProperty("height", `${Math.max(0, this.of - to) * this.height}px`);
    this.point();
  }

  /** @param {number} n the number of a block */
  async load(n) {
    this.blocks.set(n, null);
    const run = this.run;
    try {
      const got = await this.ask(n * BLOCK);
      if (run !== this.run) return;
      this.blocks.set(n, got.rows);
      for (const [old] of this.blocks) {
        if (this.blocks.size <= BLOCKS) break;
        if (old !== n) this.blocks.delete(old);
      }
      this.soon();
    } catch (e) {
      if (run !== this.run) return;
      this.blocks.delete(n);
      this.desk.trouble(e, () => this.soon());
    }
  }

  /** columnsInSight finds which columns are wanted, by steps, so that few rows are made anew. */
  columnsInSight() {
    const c = this.container;
    const from = Math.max(0, Math.floor(c.scrollLeft / this.width / SIDE) * SIDE - SIDE);
    const to = Math.min(this.tasks.length, Math.ceil((c.scrollLeft + c.clientWidth) / this.width / SIDE) * SIDE + SIDE);
    this.span = [from, to];
    return `${from}-${to}`;
  }

  /** @param {number} i @param {any} data @param {string} span "" for the name alone */
  make(i, data, span) {
    if (!data) return el("tr", { "aria-rowindex": i + 2, "data-empty": "1" }, el("th", { scope: "row", class: "who", text: w.wait }));
    const row = el("tr", { "aria-rowindex": i + 2, "data-span": span, "data-empty": span === "" && "1" }, el("th", { scope: "row", class: "who", title: data.voice ? `${data.name}, ${data.voice}` : data.name, text: data.name }));
    if (span === "") return row;
    const [from, to] = this.span;
    if (from > 0) row.append(el("td", { "aria-hidden": "true", colspan: from }));
    for (let t = from; t < to; t++) {
      const c = data.cells[t];
      const is = cell(c, this.tasks[t] ?? { points: 0 });
      const td = document.createElement("td");
      td.id = `cell-${i}-${t}`;
      td.className = is.kind;
      const sign = document.createElement("span");
      sign.setAttribute("aria-hidden", "true");
      sign.textContent = is.text;
      const said = document.createElement("span");
      said.className = "unseen";
      said.textContent = is.said;
      td.append(sign, said);
      td.setAttribute("role", "gridcell");
      td.setAttribute("aria-colindex", String(t + 2));
      if (c) td.dataset.take = String(c[0]);
      row.append(td);
    }
    if (to < data.cells.length) row.append(el("td", { "aria-hidden": "true", colspan: data.cells.length - to }));
    return row;
  }

  /** point shows which cell the keys mean. */
  point() {
    this.table.querySelector("[aria-selected]")?.removeAttribute("aria-selected");
    const at = document.getElementById(`cell-${this.row}-${this.column}`);
    if (at && this.table.contains(at)) {
      at.setAttribute("aria-selected", "true");
      this.table.setAttribute("aria-activedescendant", at.id);
    } else {
      this.table.removeAttribute("aria-activedescendant");
    }
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    if (e.altKey || e.metaKey) return;
    const page = Math.max(1, Math.floor(this.container.clientHeight / this.height) - 2);
    const last = this.of - 1;
    const lastColumn = this.tasks.length - 1;
    /** @type {Record<string, [number, number]>} */
    const moves = {
      ArrowDown: [this.row + 1, this.column], ArrowUp: [this.row - 1, this.column], ArrowRight: [this.row, this.column + 1], ArrowLeft: [this.row, this.column - 1],
      PageDown: [this.row + page, this.column], PageUp: [this.row - page, this.column],
      Home: e.ctrlKey ? [0, 0] : [this.row, 0], End: e.ctrlKey ? [last, lastColumn] : [this.row, lastColumn],
    };
    if (e.key === "Enter") {
      this.enter();
    } else if (moves[e.key]) {
      this.row = Math.max(0, Math.min(last, moves[e.key][0]));
      this.column = Math.max(0, Math.min(lastColumn, moves[e.key][1]));
      this.reveal();
    } else {
      return;
    }
    e.preventDefault();
  }

  /** reveal scrolls to the cell that the keys mean. */
  reveal() {
    const c = this.container;
    const head = this.head.getBoundingClientRect().height;
    const top = this.row * this.height;
    if (top < c.scrollTop) c.scrollTop = top;
    else if (top + this.height + head > c.scrollTop + c.clientHeight) c.scrollTop = top + this.height + head - c.clientHeight;
    const who = this.head.querySelector(".who")?.getBoundingClientRect().width ?? 0;
    const left = this.column * this.width;
    if (left < c.scrollLeft) c.scrollLeft = left;
    else if (who + left + this.width > c.scrollLeft + c.clientWidth) c.scrollLeft = who + left + this.width - c.clientWidth;
    this.draw();
  }

  enter() {
    const take = document.getElementById(`cell-${this.row}-${this.column}`)?.dataset.take;
    if (take) this.desk.open(Number(take), "asked");
    else this.desk.say(words.states.none);
  }

  /** @param {MouseEvent} e */
  click(e) {
    const at = /** @type {Element} */ (e.target).closest("td[id]");
    if (!at) return;
    const [, row, column] = at.id.split("-").map(Number);
    this.row = row;
    this.column = column;
    this.point();
    this.enter();
  }
}
