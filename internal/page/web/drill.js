// The screen of a drill: for a person two steps away, with both hands at a keyboard.

import { steps } from "./calibrate.js";
import { el, mark, paragraphs, show, staff } from "./dom.js";
import { AskBox, Meter, big, cautions, keyList } from "./parts.js";
import { draw } from "./picture.js";
import { table } from "./progress.js";
import { chosen, goOn } from "./state.js";
import { words } from "./words.js";

/** @typedef {import("./app.js").App} App @typedef {import("./state.js").Drill} Drill */

/** What a tap anywhere or a struck note may choose; the rest wants a hand. */
const tappable = new Set(["retry", "guess", "study", "sung", "rest", "begin"]);

export class DrillScreen {
  /** @param {App} app @param {string} address */
  constructor(app, address) {
    this.app = app;
    this.address = address;
    this.kind = address.split("?")[0];
    this.title = words.drills[this.kind].name;
    /** @type {any} */
    this.drawn = null; // the answer whose picture is shown
    this.sheet = ""; // the SVG that is shown

    this.key = el("h1", { class: "key", tabindex: "-1", text: this.title });
    this.count = el("p", { class: "count" });
    this.score = el("p", { class: "score" });
    this.endButton = el("button", { type: "button", class: "end", onclick: () => this.quit() }, words.end, " ", el("kbd", { text: "q" }));
    this.asked = this.pane("asked");
    this.sung = this.pane("sung");
    this.paper = el("div", { class: "paper", tabindex: "0", role: "group", "aria-label": words.staff });
    this.sentence = el("p", { class: "sentence" });
    this.extra = el("div", { class: "extra" });
    this.phase = el("p", { class: "phase" });
    this.meter = new Meter();
    this.asks = new AskBox((id, value) => app.tell({ do: "answer", id, value }));
    this.headline = el("p", { class: "headline" });
    this.picture = el("div", { class: "picture" });
    this.details = el("div", { class: "details" });
    this.told = el("section", { class: "told" }, this.headline, this.picture, this.details);
    this.steps = el("div", { class: "steps" });
    this.panel = el("div", { class: "panel" });
    this.foot = el("div", { class: "foot" });
    this.now = el("div", { class: "now" }, this.phase, this.meter.container, this.asks.container);
    this.container = el("div", { class: "drill", onclick: (/** @type {MouseEvent} */ e) => this.tap(e) },
      el("div", { class: "drillbar" }, this.key, this.count, this.score, this.endButton),
      el("div", { class: "stage" }, this.asked.container, this.sung.container, this.paper),
      this.sentence, this.extra, this.steps, this.now, this.told, this.panel, this.foot);
    this.size = new ResizeObserver(() => this.redraw());
    this.size.observe(this.picture);
    this.shown = "";
    this.show();
  }

  /** @param {"asked" | "sung"} which */
  pane(which) {
    const label = el("p", { class: "label", text: words[which] });
    const sign = el("span", { class: "sign" });
    const letters = el("p", { class: "big" });
    const container = el("section", { class: `pane ${which}`, "aria-label": words[which] }, el("div", { class: "head" }, label, sign), el("div", { class: "fit" }, letters));
    return { container, label, sign, letters };
  }

  /** leave is called when another screen takes the place of this one. */
  leave() {
    this.size.disconnect();
    this.asks.stop();
    if (this.app.drill?.running) this.app.tell({ do: "stop" });
  }

  /** quit ends the drill, or where none runs goes home. */
  quit() {
    if (this.app.drill?.running) this.app.tell({ do: "stop" });
    else this.app.go("");
  }

  /** restart runs the same address anew. */
  restart() {
    this.app.start(this.address);
  }

  /** @param {MouseEvent} e */
  tap(e) {
    if (e.target instanceof Element && e.target.closest("button, a, input, label, summary, select, .paper")) return;
    if (getSelection()?.toString()) return;
    this.onward();
  }

  /** onward is what a tap anywhere and a struck note do. */
  onward() {
    const d = this.app.drill;
    if (!d) this.restart();
    else if (d.ask && tappable.has(d.ask.what)) this.choose(goOn(d.ask));
  }

  /** @param {import("./state.js").Choice | null} choice */
  choose(choice) {
    const ask = this.app.drill?.ask;
    if (ask && choice) this.app.tell({ do: "answer", id: ask.id, value: choice.value });
  }

  /**
   * press takes a key; it says whether the key did something.
   * @param {KeyboardEvent} e
   */
  press(e) {
    const d = this.app.drill;
    if (e.target instanceof HTMLInputElement) {
      if (e.key === "Escape") {
        if (e.target.value) e.target.value = "";
        else e.target.blur();
        return true;
      }
      return false;
    }
    const onControl = e.target instanceof Element && e.target.closest("button, a, summary") !== null;
    if (onControl && (e.key === " " || e.key === "Enter")) return false;
    if (chosen(d?.ask ?? null, e.key)) this.choose(chosen(d?.ask ?? null, e.key));
    else if (e.key === "q") this.quit();
    else if (!d || d.wrong) {
      if (d || (e.key !== " " && e.key !== "Enter")) return false;
      this.restart();
    } else if (d.end) {
      if (e.key !== "a") return false;
      this.restart();
    } else if (["ArrowUp", "+"].includes(e.key)) this.app.tell({ do: "louder", by: 3 });
    else if (["ArrowDown", "-"].includes(e.key)) this.app.tell({ do: "louder", by: -3 });
    else if (d.ask?.what === "name" && this.asks.field && e.key.length === 1) {
      this.asks.field.focus();
      return false;
    } else return e.key === " "; // no scrolling by a key that was meant to go on
    return true;
  }

  show() {
    const d = this.app.drill;
    const stage = stageOf(d);
    const c = this.container;
    c.dataset.stage = stage;
    c.dataset.open = String(Boolean(d?.open));
    c.dataset.mark = d?.answer && !d.answer.hidden ? d.answer.mark : "";
    const before = this.shown;
    this.shown = stage;
    if (stage === "gate" || stage === "ended" || stage === "wrong") {
      this.meter.container.hidden = true;
      this.asks.show(null, "");
      if (before !== stage || stage === "gate") this.closed(stage, d);
      return;
    }
    if (["", "gate", "ended", "wrong"].includes(before)) show(this.panel);
    this.running(/** @type {Drill} */ (d), stage);
  }

  /** @param {Drill} d @param {string} stage */
  running(d, stage) {
    this.endButton.hidden = false;
    set(this.key, d.key || this.title);
    set(this.count, d.index > 0 ? words.of(d.index, d.of) : "");
    set(this.score, d.answered > 0 ? words.right(d.right, d.answered) : "");
    this.panes(d, stage);
    set(this.sentence, d.question ? [d.question.ask, ...d.question.notes].filter(Boolean).join("  ·  ") : d.keyLine);
    set(this.phase, d.phase?.text || (d.ask?.text ?? ""));
    this.phase.dataset.name = d.phase?.name ?? "";
    this.meter.show(d);
    this.asks.show(d.ask, d.problem);
    show(this.extra, ...paragraphs(d.ask?.what === "rest" ? [] : d.rest, "caution"), d.before && !d.answer && d.question ? el("p", { class: "before", text: words.before(d.before) }) : null);
    this.answered(d);
    if (this.kind === "calibrate") show(this.steps, ...steps(d));
    this.footer(d);
  }

  /** @param {Drill} d @param {string} stage */
  panes(d, stage) {
    const q = d.question, a = d.answer;
    const sheet = (a?.svg || (q?.kind === "line" ? q.svg : "")) ?? "";
    if (sheet !== this.sheet) {
      this.sheet = sheet;
      show(this.paper, sheet ? staff(sheet) : null);
      this.paper.setAttribute("aria-label", a?.svg ? words.staffSung : words.staff);
    }
    this.paper.hidden = !sheet;
    const asked = q?.kind === "degree" ? (q.from ? words.from(q.from, q.asked) : q.asked) : stage === "key" ? d.key : "";
    set(this.asked.label, q ? words.asked : words.key);
    big(this.asked.letters, asked);
    this.asked.container.hidden = !asked;
    const sung = a && !a.hidden ? (q?.kind === "dictation" ? a.was : a.sung) : "";
    set(this.sung.label, q?.kind === "dictation" ? words.named : words.sung);
    big(this.sung.letters, sung);
    this.sung.container.hidden = !sung;
    if (sung && this.sung.sign.dataset.mark !== a?.mark) {
      const kind = a?.mark ?? "unknown";
      this.sung.sign.dataset.mark = kind;
      show(this.sung.sign, mark(kind), el("span", { text: words.marks[kind] }));
    }
  }

  /** @param {Drill} d */
  answered(d) {
    const a = d.answer;
    this.told.hidden = !a;
    if (!a || a === this.drawn) return;
    this.drawn = a;
    set(this.headline, a.hidden ? a.headline || words.noted : a.headline);
    show(this.details, ...paragraphs(a.hidden ? [] : a.lines),
      !a.hidden && a.notes.length > 1 && table({ heading: "", head: a.notes[0], rows: a.notes.slice(1) }));
    this.redraw();
  }

  redraw() {
    const a = this.drawn;
    this.picture.hidden = !a?.picture?.points?.length || a.hidden;
    if (this.picture.hidden) {
      show(this.picture);
      return;
    }
    const width = this.picture.clientWidth, height = this.picture.clientHeight;
    const key = `${width} ${height}`;
    if (!width || !height || (this.picture.dataset.size === key && this.pictured === a)) return;
    this.picture.dataset.size = key;
    this.pictured = a;
    // Labels grow with the letters of the page: the picture is drawn in px of 16 to
    // an em, and scaled.
    const scale = parseFloat(getComputedStyle(this.picture).fontSize) / 16;
    show(this.picture, draw(a.picture, width / scale, height / scale));
  }

  /** @param {Drill} d */
  footer(d) {
    const keys = d.ask?.what === "name" ? words.keys.name : words.keys.drill;
    const what = JSON.stringify([d.standing, d.notices, keys]);
    if (this.foot.dataset.what === what) return;
    this.foot.dataset.what = what;
    show(this.foot, ...paragraphs([d.standing, ...d.notices]), keyList(keys));
  }

  /** closed shows what stands before a drill and after it. @param {string} stage @param {Drill | null} d */
  closed(stage, d) {
    delete this.foot.dataset.what;
    this.endButton.hidden = true;
    this.drawn = null;
    this.told.hidden = true;
    this.sheet = "";
    for (const e of [this.count, this.score, this.sentence, this.phase]) set(e, "");
    for (const e of [this.extra, this.steps, this.paper]) show(e);
    for (const e of [this.asked.container, this.sung.container, this.paper]) e.hidden = true;
    if (stage === "gate") this.gate();
    else this.over(/** @type {Drill} */ (d));
  }

  gate() {
    set(this.key, this.title);
    const chosen = [...new URLSearchParams(this.address.split("?")[1] ?? "")];
    show(this.panel,
      el("p", { class: "lead", text: words.drills[this.kind].about }),
      chosen.length > 0 && el("ul", { class: "chosen" }, ...chosen.map(([name, value]) => el("li", {}, el("b", { text: name }), value ? ` ${value}` : ""))),
      /(^|[?&])input=simulated(&|$)/.test(this.address) && el("p", { text: words.simulated }),
      this.app.first && cautions(),
      el("p", {}, el("button", { type: "button", class: "start", onclick: () => this.restart(), disabled: this.app.starting }, words.start)),
      el("p", { text: words.startLine }),
      this.app.mute && el("p", {}, el("button", { type: "button", onclick: () => this.app.go(with_(this.address, "input=simulated"), true) }, words.without)),
      el("p", {}, el("a", { href: `#choose?drill=${this.address.replace("?", "&")}`, text: words.choose })));
    show(this.foot, keyList(words.keys.gate));
  }

  /** @param {Drill} d */
  over(d) {
    set(this.key, d.wrong ? words.wrong : d.end?.ok ? words.ended : words.failed);
    const lines = d.wrong ? [d.wrong] : [...new Set([d.end?.text ?? "", ...d.summary, ...d.today, ...(d.end?.lines ?? []), d.end?.kept ?? ""])];
    show(this.panel,
      el("div", { class: "summary" }, ...lines.filter(Boolean).map((line) => el("p", { class: / {2,}/.test(line.trim()) ? "columns" : "", text: line }))),
      this.kind === "calibrate" && el("div", { class: "steps" }, ...steps(d)),
      el("p", { class: "choices" },
        !d.wrong && el("button", { type: "button", class: "main", onclick: () => this.restart() }, d.end?.ok ? words.again : words.startAgain, " ", el("kbd", { text: "a" })),
        el("button", { type: "button", class: d.wrong ? "main" : "", onclick: () => this.app.go(`choose?drill=${this.address.replace("?", "&")}`) }, words.choose),
        el("button", { type: "button", onclick: () => this.app.go("") }, words.home, " ", el("kbd", { text: "q" }))));
    show(this.foot, keyList(words.keys.ended));
    this.key.focus({ preventScroll: true });
  }
}

/** @param {HTMLElement} e @param {string} text */
function set(e, text) {
  if (e.textContent !== text) e.textContent = text;
  if (e.tagName === "P") e.hidden = !text;
}

/** @param {string} address @param {string} word */
function with_(address, word) {
  return address + (address.includes("?") ? "&" : "?") + word;
}

/**
 * stageOf says what fills the screen.
 * @param {Drill | null} d
 */
export function stageOf(d) {
  if (!d) return "gate";
  if (d.wrong) return "wrong";
  if (d.end) return "ended";
  if (d.kind === "calibrate") return "parts";
  if (d.question?.kind === "line") return d.answer ? "lined" : "line";
  if (d.answer) return d.answer.hidden ? "noted" : "answered";
  if (d.question) return d.question.kind === "dictation" ? "hear" : "asked";
  return "key";
}
