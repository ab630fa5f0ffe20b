// The controller: it opens the engine, knows which screen stands, and wires them.

import { ChooseScreen } from "./choose.js";
import { el, paragraphs, show } from "./dom.js";
import { DrillScreen } from "./drill.js";
import { HelpScreen } from "./help.js";
import { HomeScreen } from "./home.js";
import { LookScreen } from "./look.js";
import { Messenger } from "./messenger.js";
import { Keyboard, isPlayed } from "./midi.js";
import { ProgressScreen } from "./progress.js";
import { RecordScreen } from "./record.js";
import { Sound } from "./sound.js";
import { begin, drills, reduce } from "./state.js";
import { offerUpdates } from "./update.js";
import { words } from "./words.js";

/**
 * @typedef {{container: HTMLElement, title: string, show?: () => void, leave?: () => void,
 *   press?: (e: KeyboardEvent) => boolean, onward?: () => void, ready?: () => void}} Screen
 * @typedef {{code: string, text: string, act?: {label: string, does: () => void}}} Trouble
 */

/** Troubles that are said at once, whatever else is being said. */
const alarms = new Set(["interrupted", "silent-input", "no-microphone", "microphone-in-use"]);

/** @param {string} name */
const find = (name) => /** @type {HTMLElement} */ (document.getElementById(name));

export class App {
  constructor() {
    this.main = find("main");
    this.said = find("said");
    this.alarm = find("alarm");
    this.troubles = find("troubles");
    /** @type {Map<string, Trouble>} */
    this.trouble = new Map();
    /** @type {import("./state.js").Drill | null} */
    this.drill = null;
    /** @type {any} */
    this.known = null; // what the engine said when it was ready
    this.home = "";
    this.starting = false;
    this.mute = false; // no microphone was lent
    this.first = stored("started") === null;
    /** @type {Screen | null} */
    this.screen = null;
    this.spoken = { turn: -1, n: 0 };
    this.sound = new Sound((t) => this.heard(t));
    this.asked = false; // the microphone was asked for
    this.broken = false;
    this.wired = false; // the worker has the ports of the sound
    this.keyboard = new Keyboard(() => this.struck(), () => this.tell_("midi"), (strike) => {
      if (this.drill?.running && isPlayed(this.drill.address)) this.tell({ do: "key", strike });
    });
    this.messenger = new Messenger(() => new Worker("worker.js"), (m) => this.take(m), (why) => this.died(why));
    /** @type {(() => void) | undefined} */
    this.waiting = undefined; // what waits for the end of the drill
    /** @type {Promise<undefined> | undefined} */
    this.draining = undefined;
    this.drained = () => {};
    /** @type {WakeLockSentinel | undefined} */
    this.lit = undefined;
    /** @type {ReturnType<Sound["start"]> | undefined} */
    this.waking = undefined;
    this.entering = false; // Start was pressed on the screen before
    addEventListener("hashchange", () => this.route());
    addEventListener("keydown", (e) => this.press(e));
    document.querySelector("a.skip")?.addEventListener("click", (e) => {
      e.preventDefault(); // the fragment is the address of a screen
      this.main.focus();
    });
    document.addEventListener("visibilitychange", () => this.awake());
    this.route();
    if (stored("midi") === "on") this.keyboard.open();
  }

  /** tell sends the engine a message. @param {any} message */
  tell(message) {
    this.messenger.tell(message);
  }

  /** call asks the engine. @param {string} what @param {any} [given] */
  call(what, given) {
    return this.messenger.call(what, given);
  }

  /**
   * go shows the screen of an address; with `now` a drill starts there at once,
   * which only a gesture may ask for.
   * @param {string} address @param {boolean} [now]
   */
  go(address, now = false) {
    if (now) {
      this.wake(address);
      this.entering = true;
    }
    if (location.hash === `#${address}`) this.route();
    else location.hash = address;
  }

  route() {
    const address = location.hash.slice(1);
    const name = address.split("?")[0];
    const query = new URLSearchParams(address.split("?")[1] ?? "");
    const entering = this.entering;
    this.entering = false;
    this.screen?.leave?.();
    if (this.drill?.running) this.drain();
    this.drill = null;
    this.over();
    this.mute = false;
    this.say([], -1);
    const old = this.screen;
    this.screen = this.made(name, address, query);
    document.body.dataset.screen = drills.includes(name) ? "drill" : "page";
    document.title = words.title(this.screen.title);
    show(this.main, this.screen.container);
    for (const a of document.querySelectorAll("nav a")) {
      if (a.getAttribute("href") === `#${name}`) a.setAttribute("aria-current", "page");
      else a.removeAttribute("aria-current");
    }
    if (old) {
      scrollTo(0, 0);
      this.main.querySelector("h1")?.focus({ preventScroll: true });
    }
    if (this.known) this.screen.ready?.();
    if (entering && drills.includes(name)) this.start(address);
  }

  /**
   * @param {string} name @param {string} address @param {URLSearchParams} query
   * @returns {Screen}
   */
  made(name, address, query) {
    if (drills.includes(name)) return new DrillScreen(this, address);
    switch (name) {
      case "":
      case "home":
        return new HomeScreen(this);
      case "choose":
        return new ChooseScreen(this, query);
      case "melody":
      case "key":
      case "chords":
        return new LookScreen(this, name, query);
      case "progress":
        return new ProgressScreen(this, query);
      case "record":
        return new RecordScreen(this);
      case "help":
        return new HelpScreen(this, query.get("topic") ?? "");
    }
    return new HomeScreen(this, words.missing);
  }

  /**
   * wake frees the sound while a gesture lasts; what comes of it is awaited later. The
   * microphone is asked for only where an address needs it.
   * @param {string} address
   */
  wake(address) {
    const mic = !isDeaf(address, this.keyboard.there);
    if (this.broken || (mic && !this.asked)) this.silence();
    if (this.sound.running && this.wired) return;
    this.asked ||= mic;
    this.waking = this.open();
    this.waking.catch(() => {});
  }

  /** open opens the sound, with the microphone where it was asked for. @returns {ReturnType<Sound["start"]>} */
  open() {
    return this.sound.start({ mic: this.asked });
  }

  /**
   * start runs the drill of an address on the screen that stands.
   * @param {string} address
   */
  async start(address) {
    if (this.starting || this.drill?.running) return;
    this.starting = true;
    for (const code of ["no-permission", "no-microphone", "microphone-in-use", "interrupted", "silent-input", "engine", "call"]) this.settle(code);
    try {
      if (isPlayed(address) && "requestMIDIAccess" in navigator) await this.keyboard.open(false);
      if (!this.messenger.worker) this.restart();
      if (!(await this.sounding(address))) return;
      await this.draining;
      this.first = false;
      store("started", "yes");
      this.drill = begin(address);
      this.spoken = { turn: -1, n: 0 };
      this.tell({ do: "drill", address, touch: true, keys: isPlayed(address) && this.keyboard.there, width: Math.round(Math.min(1400, this.main.clientWidth * 0.94 - 16)) });
      this.awake();
    } catch (e) {
      this.silence();
      if (!this.trouble.has("not-https")) this.tell_("call", e instanceof Error ? e.message : String(e));
    } finally {
      this.starting = false;
      this.screen?.show?.();
    }
  }

  /**
   * sounding starts the sound and hands its ports to the engine; it says whether
   * the drill has what it needs.
   * @param {string} address
   */
  async sounding(address) {
    this.wake(address);
    if (!this.waking) return true;
    const got = await this.waking;
    if (!this.wired) {
      this.wired = true;
      this.messenger.tell({ do: "sound", rate: got.rate, mic: got.micPort, speaker: got.speakerPort }, got.micPort ? [got.micPort, got.speakerPort] : [got.speakerPort]);
    }
    this.mute = !got.mic && !isDeaf(address, this.keyboard.there);
    if (!this.mute) return true;
    this.silence();
    return false;
  }

  /** silence lets the sound go, so that the next start asks for the microphone anew. */
  silence() {
    this.sound.close();
    this.waking = undefined;
    this.wired = this.asked = this.broken = false;
  }

  /** listen has the sound play what the engine plays apart from drills. */
  async listen() {
    await this.sounding("melody");
  }

  /** take takes a message of the engine. @param {any} m */
  take(m) {
    if (m.is === "ready") this.ready(m);
    else if (m.is === "trouble") this.tell_(m.code, m.text, true);
    if (m.is === "event" && !m.quiet) dispatchEvent(new CustomEvent("singback", { detail: m.detail }));
    if (m.is === "records") this.settle("other-tab");
    if (m.is === "end") this.drained();
    if (!this.drill || this.draining) return;
    const ran = this.drill.running;
    this.drill = reduce(this.drill, m);
    this.say(this.drill.said, this.drill.turn);
    this.screen?.show?.();
    if (ran && !this.drill.running) this.over();
  }

  /** drain has start wait, and the screen hear nothing, until the drill that was left has ended. */
  drain() {
    this.draining = new Promise((done) => {
      this.drained = () => {
        this.draining = undefined;
        this.drained = () => {};
        done(undefined);
      };
    });
  }

  /** over is called when a drill has ended. */
  over() {
    this.awake();
    const waiting = this.waiting;
    this.waiting = undefined;
    waiting?.();
  }

  /** @param {any} m */
  ready(m) {
    this.known = m.known ?? {};
    this.home = m.home;
    this.settle("loading");
    document.body.dataset.ready = "true";
    if (this.known.recording === "other-tab") this.tell_("other-tab", this.known.why, true);
    if (this.home === "browser") offerUpdates(this);
    this.screen?.ready?.();
  }

  /** died is called when the worker has ended by itself. @param {string} why */
  died(why) {
    const running = this.drill?.running;
    this.drained();
    this.silence();
    this.known = null;
    const text = words.trouble.engine(why || words.notLoaded);
    if (!this.drill || !running) {
      this.tell_("engine", text, true);
      return;
    }
    this.drill = reduce(this.drill, { is: "end", ok: false, text, lines: [], kept: "" });
    this.say(this.drill.said, this.drill.turn);
    this.screen?.show?.();
    this.over();
  }

  restart() {
    this.silence();
    this.messenger.start();
  }

  /** heard takes what goes wrong with the sound. @param {any} t */
  heard(t) {
    if (t.code === "sounding") {
      this.settle("silent-input");
      return;
    }
    if (t.code === "silent-input" && this.drill && isDeaf(this.drill.address, this.keyboard.there)) return;
    if (t.code === "lost") this.tell({ do: "lost", samples: Number(t.detail?.samples ?? t.detail) || 0 });
    if (t.code === "interrupted") this.broken = true; // the next start opens it anew
    this.tell_(t.code, t.detail);
  }

  /**
   * tell_ says what is wrong: in the page's words for the code, or in the engine's.
   * @param {string} code @param {any} [detail] @param {boolean} [whole] the detail is the sentence
   */
  tell_(code, detail, whole = false) {
    const own = words.trouble[code] ?? words.trouble.call;
    const text = whole && detail ? String(detail) : own(detail);
    /** @type {Trouble["act"]} */
    let act;
    if (code === "suspended") act = { label: words.goOn, does: () => this.resume() };
    if (code === "engine") act = { label: words.startAgain, does: () => {
      this.settle("engine");
      this.restart();
      this.route();
    } };
    this.add({ code, text, act });
  }

  /** resume goes on after the browser held the sound back. */
  resume() {
    this.settle("suspended");
    this.open().catch(() => {});
  }

  /** @param {Trouble} t */
  add(t) {
    this.trouble.set(t.code, t);
    this.troubled();
    if (alarms.has(t.code)) this.alarm.textContent = t.text;
  }

  /** settle takes a trouble away. @param {string} code */
  settle(code) {
    if (this.trouble.delete(code)) this.troubled();
    if (alarms.has(code)) this.alarm.textContent = "";
  }

  troubled() {
    show(this.troubles, ...[...this.trouble.values()].map((t) => el("div", { class: "trouble", "data-code": t.code },
      el("p", { text: t.text }),
      t.act && el("button", { type: "button", class: "main", onclick: t.act.does }, t.act.label),
      el("button", { type: "button", onclick: () => this.settle(t.code) }, words.dismiss))));
  }

  /**
   * say lets a screen reader know the sentences of a turn, each once.
   * @param {string[]} sentences @param {number} turn
   */
  say(sentences, turn) {
    if (turn !== this.spoken.turn) {
      this.said.replaceChildren();
      this.spoken = { turn, n: 0 };
    }
    for (; this.spoken.n < sentences.length; this.spoken.n++) this.said.append(el("p", { text: sentences[this.spoken.n] }));
  }

  /** note shows one sentence apart from drills, and has it read. @param {string} text */
  note(text) {
    this.add({ code: "note", text });
    this.said.replaceChildren(...paragraphs([text]));
  }

  /** later does something as soon as no drill runs. @param {() => void} does */
  later(does) {
    if (this.drill?.running || this.starting) this.waiting = does;
    else does();
  }

  /** struck is called when a key of a MIDI keyboard is struck. */
  struck() {
    if (this.trouble.has("suspended")) this.resume();
    else this.screen?.onward?.();
  }

  /** @param {KeyboardEvent} e */
  press(e) {
    if (e.ctrlKey || e.metaKey || e.altKey || e.isComposing || e.repeat) return;
    if (this.trouble.has("suspended") && (e.key === " " || e.key === "Enter")) {
      this.resume();
      e.preventDefault();
    } else if (this.screen?.press?.(e)) e.preventDefault();
  }

  /** awake keeps the screen lit while a drill runs, where the browser can. */
  async awake() {
    try {
      if (this.drill?.running && !document.hidden) this.lit ??= await navigator.wakeLock?.request("screen");
      else {
        await this.lit?.release();
        this.lit = undefined;
      }
      if (this.lit?.released) this.lit = undefined;
    } catch {
      this.lit = undefined; // the screen may go dark: the browser's word
    }
  }
}

/**
 * isDeaf tells whether an address needs no microphone.
 * @param {string} address @param {boolean} [keys] a MIDI keyboard is there
 */
export function isDeaf(address, keys = false) {
  const ways = /^dictation\?(?:.*&)?answer=([^&]*)/.exec(address)?.[1] ?? "";
  if (/sing/.test(ways)) return /[?&]input=simulated(&|$)/.test(address);
  if (/play/.test(ways)) return /[?&]input=(simulated|keys)(&|$)/.test(address) || (keys && !/[?&]input=mic(&|$)/.test(address));
  return /^(dictation|melody|key|chords)(\?|$)/.test(address) || /[?&]input=simulated(&|$)/.test(address);
}

/** stored is what this browser remembers of the page itself. @param {string} name */
export function stored(name) {
  try {
    return localStorage.getItem(`singback-${name}`);
  } catch {
    return null;
  }
}

/** @param {string} name @param {string} value */
export function store(name, value) {
  try {
    localStorage.setItem(`singback-${name}`, value);
  } catch {
    // the page then says its cautions again
  }
}

/** lacking is the feature that this browser has not, or "". */
export function lacking() {
  const has = { WebAssembly: "WebAssembly" in globalThis, AudioWorklet: "AudioWorklet" in globalThis, indexedDB: "indexedDB" in globalThis, Worker: "Worker" in globalThis };
  for (const [name, there] of Object.entries(has)) {
    // An AudioWorklet is hidden from a page that is not from https: that is another trouble.
    if (!there && !(name === "AudioWorklet" && !isSecureContext)) return /** @type {any} */ (words.features)[name];
  }
  return "";
}
