// One take: hear it, see it, what its mark rests on, and the teacher's word.

import { el, mark, show, staff } from "../dom.js";
import { flag } from "./ask.js";
import { Player, button } from "./player.js";
import { words } from "./words.js";

const w = words.take;

/** SETTLES is how long a take has to be there before there can be a verdict on it, in milliseconds. */
const SETTLES = 400;

/** @param {string} at a time in RFC 3339 */
function when(at) {
  const t = new Date(at);
  return Number.isNaN(t.getTime()) ? at : t.toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "short" });
}

export class TakeScreen {
  /** @param {import("./desk.js").Desk} desk @param {URLSearchParams} given */
  constructor(desk, given) {
    this.desk = desk;
    this.id = Number(given.get("id"));
    this.by = given.get("by") ?? "asked";
    if (this.by === "doubt" || this.by === "sample") desk.way = { ...desk.way, by: this.by };
    if (desk.trail.at(-1) !== location.hash) desk.trail.push(location.hash);
    this.title = w.other(this.id);
    this.busy = false;
    this.settled = false;
    /** @type {any} */
    this.t = null;
    /** @type {Player | null} */
    this.player = null;
    /** @type {{start: number, to: number}[]} the places, as they are numbered */
    this.places = [];
    this.container = el("div", { class: "take" }, el("h1", { tabindex: "-1", text: words.loading }));
  }

  async ready() {
    try {
      this.t = await this.desk.ask.get("take", { id: this.id });
      if (this.desk.screen !== this) return;
      this.draw();
      this.desk.done();
      this.ahead();
    } catch (e) {
      show(this.container, el("h1", { tabindex: "-1", text: this.title }));
      this.desk.trouble(e, () => this.ready());
    }
  }

  /** ahead asks for what comes next, so that it is there at once. */
  async ahead() {
    try {
      const next = await this.desk.coming(this.id);
      if (this.desk.screen !== this) return;
      if (this.left) this.left.textContent = w.left(next.left, this.desk.way.by);
      if (next.take) await this.desk.ask.get("take", { id: next.take });
    } catch {
      // It is asked for again when it is wanted.
    }
  }

  draw() {
    const t = this.t;
    this.title = `${t.student.name}, ${t.task.name}`;
    this.desk.name(this.title);
    if (!this.player && !t.trouble && t.seconds > 0) this.player = new Player(this.desk, t.id, t.seconds);
    this.left = el("span", { class: "left" });
    const facts = [t.student.voice, w.length(t.seconds), w.handed(t.handed ? when(t.handed) : ""), t.flags & flag.late ? w.late(t.task.due) : ""].filter(Boolean);
    show(this.container,
      el("div", { class: "head" }, el("h1", { tabindex: "-1", text: this.title }), this.left, el("p", { class: "facts" }, facts.join(" · "), t.source && el("span", { title: t.source, text: ` · ${t.source.split(/[\\/]/).at(-1)}` }))),
      this.machine(), this.player?.container, this.verdict(), this.rests(), this.staffSection(), this.others());
    this.desk.focusHeading();
    // A key that was struck twice, or a second click, is no word on the take that came.
    if (this.settled) return;
    delete document.body.dataset.settled;
    setTimeout(() => {
      this.settled = true;
      if (this.desk.screen === this) document.body.dataset.settled = "true";
    }, SETTLES);
  }

  /** machine is the machine's mark, in a line or two. */
  machine() {
    const t = this.t;
    const m = t.mark;
    const box = el("section", { class: "machine", "aria-label": w.machine });
    if (t.trouble) {
      show(box, mark("unknown"), el("div", {}, el("p", { class: "said", text: w.trouble }), el("p", { text: t.trouble })));
      return box;
    }
    if (!m) {
      show(box, mark("unknown"), el("p", { text: w.notSung.none }));
      return box;
    }
    const value = words.value(m.value, t.task.points);
    const more = m.error > 0 ? words.plusMinus(m.error, t.task.points) : "";
    const notSung = m.heard !== "singing" ? (m.heard in w.notSung ? w.notSung[/** @type {keyof typeof w.notSung} */ (m.heard)] : m.heard) : "";
    show(box, mark(m.pass ? "right" : "wrong"), el("div", {},
      el("p", { class: "said" }, el("span", { class: "unseen", text: `${w.machine}: ` }), (m.pass ? w.passed : w.failed)(value, more).trim()),
      el("p", {}, el("b", { text: w.doubt(m.doubt) }), ` ${w.line(words.value(m.pass_at, t.task.points), m.rubric)}`),
      notSung && el("p", { text: notSung }), t.stale && el("p", { class: "caution", text: w.stale(t.stale) })));
    return box;
  }

  /** rests lists what the mark rests on; each place can be heard. */
  rests() {
    const t = this.t;
    this.places = [];
    if (!t.mark || t.mark.parts.length === 0) return null;
    return el("section", { class: "rests" }, el("h2", { text: w.rests }), el("p", { class: "help", text: w.restsAbout }),
      el("ul", { class: "parts" }, ...t.mark.parts.map((/** @type {any} */ p) => {
        const weight = words.percent(p.weight);
        return el("li", {},
          el("p", {}, el("b", { class: "criterion", text: p.name }), ` ${p.measured ? w.part(words.percent(p.value), weight) : w.unmeasured(weight)}`),
          p.measured && el("div", { class: "meterbar", "aria-hidden": "true" }, fill(p.value)),
          el("p", { class: "help", text: p.about }), p.why && el("p", { text: p.why }),
          p.places.length > 0 && el("ul", { class: "places" }, ...p.places.map((/** @type {any} */ place) => el("li", {}, this.placeButton(place)))));
      })));
  }

  /** @param {any} place */
  placeButton(place) {
    this.places.push(place);
    const n = this.places.length;
    return el("button", { type: "button", class: "place", "data-place": n, "aria-keyshortcuts": n <= 9 && this.desk.keys.on ? n : null, onclick: () => this.hearPlace(n) },
      el("span", { class: "time", text: w.clock(place.from) }), ` ${place.what}`, n <= 9 && this.desk.keys.on && el("kbd", { "aria-hidden": "true", text: String(n) }));
  }

  /** @param {number} n */
  hearPlace(n) {
    const place = this.places[n - 1];
    if (!place || !this.player) return;
    for (const b of this.container.querySelectorAll("[data-place]")) b.toggleAttribute("data-heard", b.getAttribute("data-place") === String(n));
    this.player.hearPlace(place);
  }

  staffSection() {
    if (!this.t.written) return null;
    const paper = el("div", { class: "paper", tabindex: "0", role: "group", "aria-label": w.staff });
    const section = el("section", { class: "written" }, el("h2", { text: w.staff }), paper);
    const width = Math.max(480, Math.min(1100, document.documentElement.clientWidth - 60));
    this.desk.ask.get("staff", { take: this.id, width }).then((s) => show(paper, staff(s.svg)), (e) => show(paper, el("p", { class: "caution", text: e.message })));
    return section;
  }

  /** verdict has the teacher's words: the verdict, why, the remark. */
  verdict() {
    const t = this.t;
    const points = t.task.points;
    this.own = el("input", { type: "text", inputmode: "decimal", id: "own", autocomplete: "off", maxlength: 6 });
    this.why = el("div", { class: "why", hidden: true });
    const words_ = el("textarea", { id: "remark", rows: 3, maxlength: 4000 });
    this.remark = words_;
    const r = t.review;
    const last = this.desk.last;
    return el("section", { class: "verdict" }, el("h2", { text: w.verdict }),
      r && el("p", { class: "before" }, el("b", { text: w.before(r.pass, r.value === null ? "" : words.value(r.value, points), when(r.at)) }), r.why && ` ${w.because(r.why)}`),
      t.mark && el("div", { class: "field own" }, el("label", { for: "own", text: w.own(points) }), this.own),
      t.mark && el("div", { class: "buttons decide" },
        button(this.desk, "pass", w.passButton, () => this.decide(true), "main"),
        button(this.desk, "fail", w.failButton, () => this.decide(false), "main")),
      this.why,
      el("div", { class: "buttons" },
        button(this.desk, "next", w.next, () => this.next()),
        button(this.desk, "previous", w.previous, () => this.back()),
        last && button(this.desk, "undo", w.undo, () => this.undo())),
      el("form", { class: "remark", onsubmit: (/** @type {Event} */ e) => {
        e.preventDefault();
        this.keepRemark();
      } },
      el("label", { for: "remark", text: w.remark }), this.desk.keys.sign("remark"), el("p", { class: "help", id: "remark-about", text: w.remarkAbout }), words_,
      el("button", { type: "submit", text: w.remarkKeep })),
      t.remarks.length > 0 && el("div", {}, el("h3", { text: w.remarks }), el("ul", {}, ...t.remarks.map((/** @type {any} */ m) => el("li", {}, m.words, el("small", { text: ` ${when(m.at)}` }))))));
  }

  others() {
    const others = this.t.others;
    if (others.length < 2) return null;
    return el("section", { class: "others" }, el("h2", { text: w.others }), el("ul", {}, ...others.map((/** @type {any} */ o, /** @type {number} */ i) => el("li", {},
      o.take === this.id ? el("b", { text: w.other(i + 1) }) : el("a", { href: `#take?id=${o.take}&by=asked`, text: w.other(i + 1) }),
      ` ${[o.handed ? when(o.handed) : "", o.counts ? w.counts : ""].filter(Boolean).join(", ")}`))));
  }

  /** @param {import("./keys.js").Action | "space" | number} meant */
  key(meant) {
    if (!this.t) return false;
    if (typeof meant === "number") {
      if (!this.places[meant - 1]) return false;
      this.hearPlace(meant);
      return true;
    }
    /** @type {Record<string, () => void>} */
    const does = {
      space: () => this.player?.toggle(), hear: () => this.player?.toggle(), loop: () => this.player?.loop(), slow: () => this.player?.slow(),
      take: () => this.player?.choose("take"), model: () => this.player?.choose("model"), both: () => this.player?.choose("both"),
      pass: () => this.decide(true), fail: () => this.decide(false), next: () => this.next(), previous: () => this.back(), undo: () => this.undo(),
      remark: () => this.remark?.focus(),
    };
    does[meant]?.();
    return meant in does;
  }

  /** ownValue is the teacher's own mark, 0 to 1; null where none is said, undefined where it is wrong. */
  ownValue() {
    const text = (this.own?.value ?? "").trim().replace(",", ".").replace(/\s*%$/, "");
    if (text === "") return null;
    const most = this.t.task.points || 100;
    const n = Number(text);
    if (!Number.isFinite(n) || n < 0 || n > most) {
      this.desk.trouble(new Error(w.ownWrong(most)));
      this.own?.focus();
      return undefined;
    }
    return n / most;
  }

  /** @param {boolean} pass */
  decide(pass) {
    if (this.busy || !this.settled) return;
    if (!this.t.mark) {
      this.desk.say(w.unmarkedKey);
      return;
    }
    if (this.ownValue() === undefined) return;
    if (pass === this.t.mark.pass) this.keep(pass, "");
    else this.askWhy(pass);
  }

  /** askWhy asks for a few words where the teacher says otherwise. @param {boolean} pass */
  askWhy(pass) {
    if (!this.why) return;
    const input = el("input", { type: "text", id: "why", maxlength: 400, autocomplete: "off", required: true });
    const cancel = () => {
      if (this.why) this.why.hidden = true;
      this.desk.focusHeading();
    };
    show(this.why, el("form", { onsubmit: (/** @type {Event} */ e) => {
      e.preventDefault();
      if (input.value.trim()) this.keep(pass, input.value.trim());
      else input.focus();
    }, onkeydown: (/** @type {KeyboardEvent} */ e) => {
      if (e.key === "Escape") cancel();
    } },
    el("p", { class: "asked", id: "why-asked", text: w.whyAsk(pass) }), el("label", { for: "why", text: w.why }), input,
    el("div", { class: "buttons reasons" }, ...w.whys[/** @type {"true" | "false"} */ (String(pass))].map((reason) => el("button", { type: "button", onclick: () => this.keep(pass, reason) }, reason))),
    el("div", { class: "buttons" }, el("button", { type: "submit", class: "main" }, w.keep), el("button", { type: "button", onclick: cancel }, w.cancel))));
    input.setAttribute("aria-describedby", "why-asked");
    this.why.hidden = false;
    input.focus();
    this.why.scrollIntoView({ block: "nearest" });
  }

  /** @param {boolean} pass @param {string} why */
  async keep(pass, why) {
    const value = this.ownValue();
    if (this.busy || value === undefined) return;
    this.busy = true;
    const t = this.t;
    try {
      const chosen = this.by === "doubt" || this.by === "sample" ? this.by : "asked";
      const done = await this.desk.ask.post("review", { take: t.id, mark: t.mark.id, chosen, pass, value, why });
      this.desk.ask.forget();
      this.desk.last = { take: t.id, review: done.done, who: this.title };
      this.desk.passed.delete(t.id);
      const coming = await this.desk.coming(t.id);
      this.desk.say(`${w.kept(pass, pass === t.mark.pass, this.title)}${coming.take ? "" : ` ${this.desk.way.by === "sample" ? w.endSample : w.end}`}`);
      if (this.desk.screen !== this) return;
      if (coming.take) this.desk.open(coming.take);
      else location.hash = `queue?${new URLSearchParams(Object.entries(this.desk.wayGiven()).filter(([, v]) => v))}`;
    } catch (e) {
      this.desk.trouble(e);
      if (e instanceof Error && /** @type {any} */ (e).code === "changed") {
        this.desk.ask.forget();
        this.desk.say(w.changed);
        await this.again();
      }
    } finally {
      this.busy = false;
    }
  }

  async again() {
    this.t = await this.desk.ask.get("take", { id: this.id });
    if (this.desk.screen === this) this.draw();
  }

  async next() {
    if (this.busy) return;
    this.busy = true;
    try {
      this.desk.passed.add(this.id);
      const coming = await this.desk.coming(this.id);
      if (coming.take) this.desk.open(coming.take);
      else this.desk.say(this.desk.way.by === "sample" ? w.endSample : w.end);
    } catch (e) {
      this.desk.trouble(e);
    } finally {
      this.busy = false;
    }
  }

  back() {
    const trail = this.desk.trail;
    if (trail.at(-1) === location.hash) trail.pop();
    const before = trail.at(-1);
    if (before) location.hash = before;
    else trail.push(location.hash);
  }

  async undo() {
    const last = this.desk.last;
    if (this.busy) return;
    if (!last) {
      this.desk.say(w.nothing);
      return;
    }
    this.busy = true;
    try {
      await this.desk.ask.post("undo", { take: last.take, review: last.review });
      this.desk.ask.forget();
      this.desk.last = null;
      this.desk.say(w.undone(last.who));
      if (last.take === this.id) await this.again();
      else this.desk.open(last.take);
    } catch (e) {
      this.desk.trouble(e);
    } finally {
      this.busy = false;
    }
  }

  async keepRemark() {
    const text = this.remark?.value.trim();
    if (!text || this.busy) return;
    this.busy = true;
    try {
      await this.desk.ask.post("remark", { student: this.t.student.id, task: this.t.task.id, words: text });
      this.desk.ask.forget();
      this.desk.say(w.remarked);
      await this.again();
    } catch (e) {
      this.desk.trouble(e);
    } finally {
      this.busy = false;
    }
  }

  changed() {
    this.again().catch((e) => this.desk.trouble(e));
  }

  leave() {
    this.player?.leave();
  }
}

/** @param {number} value 0 to 1 */
function fill(value) {
  const bar = el("div", { class: "fill" });
  bar.style.setProperty("--part", String(value));
  return bar;
}
