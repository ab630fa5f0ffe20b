// The player: the take, the model or both, from a place, in a loop, at half speed; and
// the picture of the pitch with a cursor.

import { el, show, staff } from "../dom.js";
import { address } from "./ask.js";
import { words } from "./words.js";

const w = words.take;

/** SECOND is how wide a second of the picture is at least, in pixels. */
const SECOND = 46;
/** LEAST is how narrow a picture can be, in its units. */
const LEAST = 480;

export class Player {
  /** @param {import("./desk.js").Desk} desk @param {number} take @param {number} length seconds */
  constructor(desk, take, length) {
    this.desk = desk;
    this.take = take;
    this.length = length;
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
    this.audio = new Audio();
    this.audio.preload = "auto";
    this.audio.preservesPitch = true;
    /** @type {"take" | "model" | "both"} */
    this.part = "take";
    /** What is looped. @type {{from: number, to: number} | null} */
    this.stretch = null;
    this.looping = false;
    this.frame = 0;
    this.at = 0;
    /** What the picture shows. @type {{from: number, to: number, left: number, right: number} | null} */
    this.view = null;
    this.wanted = "";

    this.playButton = button(desk, "hear", w.play, () => this.toggle(), "main");
    this.partButtons = (/** @type {("take" | "model" | "both")[]} */ (["take", "model", "both"])).map((p) => {
      const b = button(desk, p, w.parts[p], () => this.choose(p));
      b.setAttribute("aria-pressed", String(p === "take"));
      b.dataset.part = p;
      return b;
    });
    this.loopButton = button(desk, "loop", w.loop, () => this.loop());
    this.slowButton = button(desk, "slow", w.slow, () => this.slow());
    for (const b of [this.loopButton, this.slowButton]) b.setAttribute("aria-pressed", "false");
    this.slider = el("input", { type: "range", id: "at", min: 0, max: Math.max(0.1, length).toFixed(1), step: 0.1, value: 0, "aria-label": w.at, oninput: () => this.seek(Number(this.slider.value)) });
    this.clock = el("span", { class: "clock" });
    this.cursor = el("div", { class: "cursor" });
    this.shade = el("div", { class: "shade", hidden: true });
    this.drawing = el("div", { class: "drawing" });
    this.roll = el("div", { class: "roll", onclick: (/** @type {MouseEvent} */ e) => this.point(e) }, this.drawing, this.shade, this.cursor);
    this.paper = el("div", { class: "paper", tabindex: "0", role: "group", "aria-label": w.picture }, this.roll);
    this.windowText = el("span", { class: "window" });
    this.earlier = el("button", { type: "button", onclick: () => this.turn(-1) }, w.earlier);
    this.later = el("button", { type: "button", onclick: () => this.turn(1) }, w.later);
    this.pages = el("div", { class: "pages" }, this.earlier, this.windowText, this.later);
    this.container = el("section", { class: "hear", "aria-label": w.hear }, this.paper, this.pages,
      el("div", { class: "player" }, this.playButton,
        el("div", { class: "buttons", role: "group", "aria-label": w.partsLabel }, ...this.partButtons), this.loopButton,
        "preservesPitch" in this.audio && this.slowButton,
        el("div", { class: "where" }, this.slider, this.clock)));

    const showing = () => this.showPlaying();
    for (const what of ["play", "pause", "ended"]) this.audio.addEventListener(what, showing);
    this.audio.addEventListener("ended", () => {
      if (this.looping) this.playFrom(this.stretch?.from ?? 0);
    });
    this.audio.addEventListener("seeked", () => this.move());
    this.audio.addEventListener("error", () => this.why());
    this.audio.addEventListener("loadedmetadata", () => {
      if (Math.abs(this.audio.currentTime - this.at) > 0.05) this.audio.currentTime = this.at;
    });
    this.resized = new ResizeObserver(() => this.page());
    this.resized.observe(this.paper);
    this.load();
    this.move();
  }

  /** load takes the sound of the part that is chosen. */
  load() {
    this.audio.src = address("sound", { take: this.take, part: this.part });
    this.audio.playbackRate = this.slowButton.getAttribute("aria-pressed") === "true" ? 0.5 : 1;
    this.audio.defaultPlaybackRate = this.audio.playbackRate;
  }

  /** why says why nothing can be heard: the program tells. */
  async why() {
    if (!this.audio.getAttribute("src")) return;
    try {
      const got = await fetch(this.audio.src, { headers: { Range: "bytes=0-0" } });
      const text = got.ok ? words.unplayed : (await got.json()).error;
      this.desk.trouble(new Error(text || words.nonsense));
    } catch {
      this.desk.trouble(new Error(words.offline));
    }
    this.showPlaying();
  }

  toggle() {
    if (this.audio.paused) {
      if (this.audio.ended || this.at >= this.length - 0.05) this.seek(this.looping ? this.stretch?.from ?? 0 : 0);
      this.play();
    } else {
      this.audio.pause();
    }
  }

  play() {
    this.audio.play().catch((e) => {
      if (e.name !== "AbortError" && !this.audio.error) this.desk.trouble(e);
    });
  }

  /** @param {number} at seconds */
  playFrom(at) {
    this.seek(at);
    this.play();
  }

  /**
   * hearPlace plays a place from a while before it, and that is what is looped.
   * @param {{start: number, to: number}} place
   */
  hearPlace(place) {
    this.stretch = { from: place.start, to: Math.min(this.length, place.to + 0.4) };
    this.showLoop();
    this.playFrom(this.stretch.from);
  }

  /** @param {"take" | "model" | "both"} part */
  choose(part) {
    if (part === this.part) return;
    const playing = !this.audio.paused;
    this.part = part;
    for (const b of this.partButtons) b.setAttribute("aria-pressed", String(b.dataset.part === part));
    this.load();
    if (playing) this.play();
  }

  loop() {
    this.looping = !this.looping;
    this.showLoop();
    if (this.looping && this.stretch && (this.at < this.stretch.from || this.at > this.stretch.to)) this.seek(this.stretch.from);
  }

  slow() {
    const on = this.slowButton.getAttribute("aria-pressed") !== "true";
    this.slowButton.setAttribute("aria-pressed", String(on));
    this.audio.playbackRate = on ? 0.5 : 1;
    this.audio.defaultPlaybackRate = this.audio.playbackRate;
  }

  /** @param {number} at seconds */
  seek(at) {
    this.at = Math.max(0, Math.min(this.length, at));
    if (this.audio.readyState > 0) this.audio.currentTime = this.at;
    this.move();
  }

  showPlaying() {
    const playing = !this.audio.paused && !this.audio.ended;
    this.playButton.replaceChildren(playing ? w.stop : w.play, ...[this.desk.keys.sign("hear")].filter((k) => k !== null));
    this.container.dataset.playing = String(playing);
    if (playing && !this.frame) this.frame = requestAnimationFrame(() => this.tick());
  }

  showLoop() {
    this.loopButton.setAttribute("aria-pressed", String(this.looping));
    if (this.looping && this.stretch) this.desk.say(w.looped(w.clock(this.stretch.from), w.clock(this.stretch.to)));
    this.showShade();
  }

  tick() {
    this.frame = 0;
    if (this.audio.paused) return;
    if (this.audio.readyState > 0 && !this.audio.seeking) {
      this.at = this.audio.currentTime;
      const s = this.stretch;
      if (this.looping && s && this.at >= s.to) this.seek(s.from);
      // Who wants no motion has a cursor that goes by half seconds.
      if (!this.still.matches || Math.abs(this.at - (this.moved ?? -1)) >= 0.5) this.move();
    }
    this.frame = requestAnimationFrame(() => this.tick());
  }

  /** move puts the cursor where the sound is. */
  move() {
    this.moved = this.at;
    this.slider.value = this.at.toFixed(1);
    this.slider.setAttribute("aria-valuetext", w.clock(this.at));
    this.clock.textContent = `${w.clock(this.at)} / ${w.clock(this.length)}`;
    if (this.view && (this.at < this.view.from || this.at > this.view.to)) this.page();
    this.place();
  }

  /** x is where a time lies in the picture, in parts of its width. @param {number} s */
  x(s) {
    const v = this.view;
    if (!v) return 0;
    return v.left + Math.max(0, Math.min(1, (s - v.from) / (v.to - v.from))) * (v.right - v.left);
  }

  place() {
    if (!this.view) return;
    const x = this.x(this.at) * this.roll.clientWidth;
    this.cursor.style.setProperty("transform", `translateX(${x}px)`);
    const p = this.paper;
    if (p.scrollWidth > p.clientWidth && (x < p.scrollLeft + 20 || x > p.scrollLeft + p.clientWidth - 20)) p.scrollLeft = x - 60;
  }

  showShade() {
    const s = this.stretch;
    const v = this.view;
    this.shade.hidden = !s || !v || s.to <= v.from || s.from >= v.to;
    if (this.shade.hidden || !s) return;
    this.shade.dataset.looping = String(this.looping);
    this.shade.style.setProperty("left", `${100 * this.x(s.from)}%`);
    this.shade.style.setProperty("width", `${100 * (this.x(s.to) - this.x(s.from))}%`);
  }

  /** span is how many seconds one picture shows: all of a short take, or whole pages of it. */
  span() {
    const room = Math.max(LEAST, this.paper.clientWidth);
    const most = Math.max(4, Math.floor(room / SECOND));
    return this.length <= most * 1.25 ? this.length : most;
  }

  /** @param {number} by how many pages */
  turn(by) {
    const span = this.span();
    const at = Math.max(0, Math.floor((this.view?.from ?? 0) / span + 0.01) + by) * span;
    if (at < this.length) this.seek(at);
  }

  /** page shows the part of the take in which the cursor is. */
  async page() {
    if (this.paper.clientWidth === 0) return;
    const span = this.span();
    const n = Math.min(Math.floor(this.at / span), Math.max(0, Math.ceil(this.length / span) - 1));
    const from = n * span;
    const to = Math.min(this.length, from + span);
    const room = Math.max(LEAST, Math.round((this.paper.clientWidth - 16) / 20) * 20);
    // The last page is as wide as what is left of the take, so that a second is as wide on each.
    const width = Math.max(LEAST, Math.round(room * Math.min(1, (to - from) / span)));
    const given = { take: this.take, from: from.toFixed(3), to: to.toFixed(3), width };
    const key = JSON.stringify(given);
    if (key === this.wanted) return;
    this.wanted = key;
    const whole = span >= this.length;
    this.pages.hidden = whole;
    try {
      const p = await this.desk.ask.get("picture", given);
      if (this.wanted !== key) return;
      const picture = staff(p.svg);
      picture?.classList.add("take-picture");
      if (p.text) picture?.setAttribute("aria-label", p.text);
      show(this.drawing, picture);
      this.roll.style.setProperty("width", `${width}px`);
      this.view = { from: p.from, to: p.to, left: p.left, right: p.right };
      this.windowText.textContent = w.window(w.clock(p.from), w.clock(p.to), w.clock(this.length));
      this.earlier.disabled = n === 0;
      this.later.disabled = to >= this.length;
      this.place();
      this.showShade();
      if (to < this.length) this.desk.ask.get("picture", { take: this.take, from: to.toFixed(3), to: Math.min(this.length, to + span).toFixed(3), width: Math.max(LEAST, Math.round(room * Math.min(1, (this.length - to) / span))) }).catch(() => {});
    } catch (e) {
      this.wanted = "";
      this.desk.trouble(e);
    }
  }

  /** @param {MouseEvent} e */
  point(e) {
    const v = this.view;
    if (!v) return;
    const box = this.roll.getBoundingClientRect();
    const part = ((e.clientX - box.left) / box.width - v.left) / (v.right - v.left);
    if (part > -0.02 && part < 1.02) this.seek(v.from + Math.max(0, Math.min(0.999, part)) * (v.to - v.from));
  }

  leave() {
    this.resized.disconnect();
    cancelAnimationFrame(this.frame);
    this.audio.pause();
    this.audio.removeAttribute("src");
    this.audio.load();
  }
}

/**
 * button is a button with its key beside its name.
 * @param {import("./desk.js").Desk} desk
 * @param {import("./keys.js").Action} action
 * @param {string} text
 * @param {() => void} press
 * @param {string} [kind]
 */
export function button(desk, action, text, press, kind) {
  return el("button", { type: "button", class: kind, "aria-keyshortcuts": desk.keys.shortcut(action), onclick: press }, text, desk.keys.sign(action));
}
