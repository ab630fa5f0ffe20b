// Handing in: the part of the Record screen that is there where a teacher has set an
// address. It is loaded only then. What is chosen, and the password, live in this tab.

import { el, mark, show } from "./dom.js";
import { Sender, Trouble, direct, relayed, safeName } from "./handin-send.js";

/** @param {number} n @param {string} one @param {string} many */
const count = (n, one, many) => `${n} ${n === 1 ? one : many}`;

/** @param {number} n */
export function bytes(n) {
  let [x, unit] = [n, "bytes"];
  for (const next of ["kB", "MB", "GB"]) if (x >= 999.5) [x, unit] = [x / 1000, next];
  return unit === "bytes" ? count(n, "byte", "bytes") : `${x.toFixed(x < 9.95 ? 1 : 0)} ${unit}`;
}

const words = {
  heading: "Hand in",
  to: (/** @type {string} */ address) => `Your teacher has set this address: ${address}. Nothing is sent there before you have chosen it, read it and said yes.`,
  http: "This address has no https: anybody on the way can read your password and your files.",
  caution: "Send only what is yours, or what all who are heard, and the parents of minors, have agreed to. The rules of your school come first.",
  choose: "Choose files",
  chooseAbout: "Takes that you recorded, or whatever your teacher has asked for.",
  practice: "Add my record of practice",
  practiceAbout: "All your answers in the record here, as a table.",
  noPractice: "Your record is empty: there is nothing of it to hand in.",
  chosen: "What will be sent",
  none: "Nothing is chosen yet.",
  first: (/** @type {number} */ lines) => `Its first lines, of ${lines}:`,
  leave: "Leave out",
  as: "Words before each name",
  asAbout: "Who you are and which task it is, as agreed with your teacher; it need not be your real name.",
  user: "Your name there",
  password: "Password there",
  passwordAbout: "Both are kept in this tab only, until you close it.",
  send: (/** @type {number} */ n, /** @type {string} */ host) => `Send ${count(n, "file", "files")} to ${host}`,
  ask: (/** @type {string} */ what, /** @type {string} */ host) => `Send ${what} to ${host}?`,
  yes: "Yes, send",
  no: "No",
  stop: "Stop",
  again: "Go on",
  save: "Save it as a file",
  reading: (/** @type {string} */ name) => `${name} is being read.`,
  sending: (/** @type {string} */ name, /** @type {number} */ done, /** @type {number} */ total) => `${name}: ${bytes(done)} of ${bytes(total)} sent.`,
  waiting: (/** @type {string} */ why, /** @type {number} */ s) => `${why} It is tried again in ${count(s, "second", "seconds")}.`,
  arrived: (/** @type {import("./handin-send.js").Sent} */ s) => s.there ? `${s.name} was there already.` : s.pieces > 1 ? `${s.name} has arrived, in ${s.pieces} pieces that your teacher's program joins.` : s.compared ? `${s.name} has arrived; it was read back and is the same.` : `${s.name} has arrived.`,
  part: (/** @type {number} */ have, /** @type {number} */ of) => `${have} of ${of} pieces have come; Go on sends the rest.`,
  all: "Everything has arrived.",
  stopped: "Stopped.",
  // What goes wrong, by its kind: one sentence with what to do.
  trouble: /** @type {Record<string, (host: string) => string>} */ ({
    password: (host) => `${host} does not know this name with this password: type both again, or ask your teacher.`,
    forbidden: (host) => `${host} does not let you put anything there: ask your teacher.`,
    "no-folder": () => "The folder is not there: ask your teacher for the address.",
    "not-webdav": () => "What is at that address takes no files: ask your teacher for the address.",
    "too-large": (host) => `${host} takes no file of that size: send a shorter one.`,
    full: (host) => `There is no room left at ${host}: tell your teacher, and go on later.`,
    locked: () => "Somebody holds that file there: go on in a while.",
    elsewhere: (host) => `${host} sends on to another address, where nothing was sent: ask your teacher for the address.`,
    tls: (host) => `It is not certain that this is ${host}, so nothing was sent: ask your teacher for the address.`,
    gone: (host) => `${host} cannot be reached, or the connection broke: look at your network, then go on.`,
    blocked: (host) => `${host} cannot be reached from this page: look at your network and go on, or save the file and hand it in another way; your teacher can see in the handbook what that server has to allow.`,
    singback: () => "singback on this computer has ended: start singback page again.",
    other: (host) => `${host} keeps something else than was sent: go on, and tell your teacher if it happens again.`,
    changed: () => "The file was changed while it was sent: choose it again.",
    failed: (host) => `${host} failed, or is full: go on in a while, and tell your teacher if it happens again.`,
  }),
};

/**
 * @typedef {{name: string, as?: string, blob: Blob, lines?: string[], all?: number, state: "chosen" | "sending" | "arrived" | "failed", said: string}} Item
 */

/** @type {HandIn | null} */
let only = null;

/** part is the part of the screen; there is one, which goes on while other screens stand. @param {import("./app.js").App} app */
export async function part(app) {
  const { address, relay } = await (await fetch("handin.json", { cache: "no-store" })).json();
  only ??= new HandIn(app, address, relay);
  return only.container;
}

export class HandIn {
  /** @param {import("./app.js").App} app @param {string} address @param {boolean} relay @param {(user: string, password: string) => import("./handin-send.js").Way} [way] */
  constructor(app, address, relay, way = (user, password) => (relay ? relayed(user, password) : direct(address, user, password))) {
    this.app = app;
    this.address = address;
    this.host = new URL(address).host;
    this.way = way;
    /** @type {Item[]} */
    this.items = [];
    /** @type {AbortController | null} */
    this.running = null;
    this.as = el("input", { type: "text", id: "hand-in-as", autocomplete: "off", spellcheck: "false", maxlength: "80", "aria-describedby": "hand-in-as-about", oninput: () => this.draw() });
    this.user = el("input", { type: "text", id: "hand-in-user", autocomplete: "off", autocapitalize: "off", spellcheck: "false" });
    this.password = el("input", { type: "password", id: "hand-in-password", autocomplete: "off" });
    this.list = el("div");
    this.act = el("div", { class: "found" });
    this.bar = el("progress", { max: "1", value: "0", "aria-label": words.heading, hidden: true });
    this.bar.style.setProperty("width", "100%");
    this.bar.style.setProperty("max-width", "44rem");
    this.bar.style.setProperty("accent-color", "var(--accent)");
    this.status = el("p", { role: "status" });
    this.picker = el("input", { type: "file", multiple: true, class: "unseen", tabindex: "-1", "aria-hidden": "true", onchange: () => this.take() });
    const field = (/** @type {HTMLInputElement} */ input, /** @type {string} */ label) => el("div", { class: "field" }, el("label", { for: input.id, text: label }), input);
    this.container = el("section", { class: "part", "data-part": "hand-in" },
      el("h2", { text: words.heading }),
      el("p", {}, words.to(address)),
      address.startsWith("http:") && !/^(127\.|localhost|\[::1\])/.test(this.host) && el("p", { class: "caution", text: words.http }),
      el("p", { class: "caution", text: words.caution }),
      this.picker,
      el("div", { class: "act" }, button(words.choose, () => this.picker.click()), el("p", { text: words.chooseAbout })),
      el("div", { class: "act" }, button(words.practice, () => this.practice()), el("p", { text: words.practiceAbout })),
      el("div", { class: "grid" }, field(this.as, words.as)),
      el("p", { class: "help", id: "hand-in-as-about", text: words.asAbout }),
      el("h3", { text: words.chosen }), this.list,
      el("div", { class: "grid" }, field(this.user, words.user), field(this.password, words.password)),
      el("p", { class: "help", text: words.passwordAbout }),
      this.act, this.bar, this.status);
    this.draw();
  }

  /** take takes the files that were chosen. */
  take() {
    for (const f of this.picker.files ?? []) this.add({ name: safeName(f.name), blob: f, state: "chosen", said: "" });
    this.picker.value = "";
  }

  /** @param {Item} item */
  add(item) {
    this.items = this.items.filter((i) => i.name !== item.name || i.state === "sending").concat(item);
    this.draw();
  }

  /** practice adds the record. */
  async practice() {
    try {
      const got = await this.app.call("export");
      const lines = got.text.split("\n").filter(Boolean);
      if (lines.length < 2) {
        this.status.textContent = words.noPractice;
        return;
      }
      this.add({ name: safeName(got.name), blob: new Blob([got.text], { type: "text/csv" }), lines: lines.slice(0, 3), all: lines.length, state: "chosen", said: "" });
    } catch (e) {
      this.status.textContent = e instanceof Error ? e.message : String(e);
    }
  }

  /** draw shows what is chosen, and what can be done now. */
  draw() {
    show(this.list, this.items.length === 0 ? el("p", { text: words.none }) : el("ul", {}, ...this.items.map((i) => this.row(i))));
    const waiting = this.items.filter((i) => i.state !== "arrived");
    if (this.running) show(this.act, button(words.stop, () => this.running?.abort(), "main"));
    else if (waiting.length === 0) show(this.act);
    else {
      const failed = waiting.some((i) => i.state === "failed");
      show(this.act, el("p", { class: "choices" }, button(failed ? words.again : words.send(waiting.length, this.host), () => (failed ? this.send() : this.ask(waiting)), "main")));
    }
  }

  /** name is what a file is called in the folder. @param {Item} i */
  name(i) {
    const before = this.as.value.trim().replace(/\s+/g, " ").replace(/[/\\]/g, "-");
    return i.as ?? safeName(before ? `${before} ${i.name}` : i.name);
  }

  /** row is one of the files. @param {Item} i */
  row(i) {
    const sign = i.state === "arrived" ? mark("right") : i.state === "failed" ? mark("wrong") : null;
    return el("li", { class: "panel" },
      el("p", { class: "sign" }, sign, el("span", {}, `${this.name(i)} (${bytes(i.blob.size)})`)),
      i.lines && i.state === "chosen" && el("p", { class: "help", text: words.first(i.all ?? 0) }),
      i.lines && i.state === "chosen" && el("pre", { tabindex: "0", "aria-label": words.first(i.all ?? 0) }, i.lines.join("\n")),
      i.said && el("p", { text: i.said }),
      el("p", { class: "choices" },
        !this.running && i.state !== "arrived" && button(words.leave, () => {
          this.items = this.items.filter((o) => o !== i);
          this.draw();
        }, undefined, `${words.leave}: ${i.name}`),
        i.state === "failed" && button(words.save, () => this.save(i), undefined, `${words.save}: ${i.name}`)));
  }

  /** save writes a file that could not be sent, to be handed in another way. @param {Item} i */
  save(i) {
    const url = URL.createObjectURL(i.blob);
    el("a", { href: url, download: i.name }).click();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
  }

  /** ask asks before anything is sent. @param {Item[]} waiting */
  ask(waiting) {
    const names = waiting.map((i) => `${this.name(i)} (${bytes(i.blob.size)})`);
    const what = names.length === 1 ? names[0] : `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
    const sure = el("div", { class: "panel", role: "group", "aria-label": words.heading }, el("p", { class: "caution", text: words.ask(what, this.host) }),
      el("p", { class: "choices" }, button(words.no, () => this.draw()), button(words.yes, () => this.send(), "main")));
    show(this.act, sure);
    sure.querySelector("button")?.focus();
  }

  /** send sends one file after the other; what fails ends it, and Go on goes on. */
  async send() {
    const stop = new AbortController();
    this.running = stop;
    this.bar.hidden = false;
    const way = this.way(this.user.value.trim(), this.password.value);
    let last = words.all;
    for (const i of this.items.filter((i) => i.state !== "arrived")) {
      i.state = "sending";
      i.said = "";
      this.draw();
      this.act.querySelector("button")?.focus();
      i.as = this.name(i); // from now on
      this.say(words.reading(i.as), 0);
      const sender = new Sender(way, this.address, i.blob, i.as, (p) => this.tell(i, p), stop.signal);
      try {
        i.said = words.arrived(await sender.send());
        i.state = "arrived";
      } catch (e) {
        i.state = "failed";
        const why = stop.signal.aborted ? words.stopped : this.sentence(e);
        i.said = sender.of > 1 && sender.have > 0 ? `${why} ${words.part(sender.have, sender.of)}` : why;
        last = i.said;
        break;
      }
    }
    this.running = null;
    this.bar.hidden = true;
    this.draw();
    this.status.textContent = last;
    this.act.querySelector("button")?.focus();
  }

  /** sentence says what went wrong. @param {unknown} e */
  sentence(e) {
    if (!(e instanceof Trouble)) return words.trouble[e instanceof DOMException && e.name === "NotReadableError" ? "changed" : "failed"](this.host);
    return (words.trouble[e.text] ?? words.trouble[e.kind] ?? words.trouble.failed)(this.host);
  }

  /** tell shows how a file fares. @param {Item} i @param {import("./handin-send.js").Progress} p */
  tell(i, p) {
    if (p.why) this.say(words.waiting(this.sentence(p.why), p.wait ?? 0), p.done / (p.total || 1));
    else this.say(words.sending(i.as ?? i.name, p.done, p.total), p.done / (p.total || 1));
  }

  /** @param {string} text @param {number} part */
  say(text, part) {
    this.bar.value = part;
    if (this.status.textContent !== text) this.status.textContent = text;
  }
}

/** @param {string} label @param {() => any} does @param {string} [name] @param {string} [said] what a screen reader says */
function button(label, does, name, said) {
  return el("button", { type: "button", class: name, onclick: does, "aria-label": said }, label);
}
