// A list of messages replays any screen: what the screen of a drill knows.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

import { late, standings } from "../web/calibrate.js";
import { stageOf } from "../web/drill.js";
import { begin, chosen, goOn, reduce } from "../web/state.js";
import { recordings } from "./recordings.mjs";

const all = recordings(readFileSync(new URL("line.svg", import.meta.url), "utf8"), readFileSync(new URL("sung.svg", import.meta.url), "utf8"));
const replay = (name) => all[name].reduce(reduce, begin(name.split("-")[0]));

test("what fills the screen", () => {
  const want = {
    "sing-key": "key", "sing-asked": "asked", "sing-listening": "asked", "sing-flat": "answered", "sing-hidden": "noted", "sing-guess": "asked",
    "sing-end": "ended", "sing-failed": "ended", "sing-wrong": "wrong", "series-read": "line", "series-line": "line", "series-sung": "lined",
    "dictation-name": "hear", "dictation-named": "answered", "calibrate-level": "parts", "calibrate-end": "ended", "today-summary": "ended",
  };
  for (const [name, stage] of Object.entries(want)) assert.equal(stageOf(replay(name)), stage, name);
  assert.equal(stageOf(null), "gate");
});

test("a message changes nothing of the screen before", () => {
  for (const [name, messages] of Object.entries(all)) {
    let d = begin(name.split("-")[0]);
    for (const m of messages) {
      const before = structuredClone(d), given = structuredClone(m);
      const after = reduce(d, m);
      assert.deepEqual(d, before, `${name}: ${JSON.stringify(m).slice(0, 80)}`);
      assert.deepEqual(m, given, name);
      d = after;
    }
  }
});

test("what was asked stays beside what was sung", () => {
  const d = replay("sing-flat");
  assert.equal(d.question.asked, "la");
  assert.equal(d.question.from, "mi");
  assert.equal(d.answer.sung, "la −40");
  assert.equal(d.answer.mark, "wrong");
  assert.equal(d.answer.picture.target, 900);
});

test("right so far counts first answers that were told, and of chords each name", () => {
  assert.deepEqual([replay("sing-flat").right, replay("sing-flat").answered], [1, 3]);
  assert.deepEqual([replay("sing-hidden").right, replay("sing-hidden").answered], [1, 2], "the third is hidden");
  assert.deepEqual([replay("dictation-named").right, replay("dictation-named").answered], [2, 3]);
  const flat = all["sing-flat"].find((m) => m.detail?.event === "verdict" && m.detail.index === 3);
  const again = { ...flat, detail: { ...flat.detail, attempt: 2, counts: false } };
  assert.equal(reduce(replay("sing-flat"), again).answered, 3, "a second attempt does not count");
});

test("a progression is explained where the answer stood", () => {
  const told = [
    { is: "event", detail: { event: "dictation", index: 1, of: 2, kind: "root", step: 3 }, said: { ask: "Now the 3 chords: which are they?" } },
    { is: "event", detail: { event: "named", index: 1, outcome: ["right", "wrong", "right"] }, said: { headline: "do fa do, not do re do: 2 of 3 right", mark: "wrong", was: "do fa do" } },
    { is: "event", detail: { event: "reasoned", index: 1 }, said: { headline: "It was I IV I", mark: "wrong", was: "I IV I", details: ["1 I on do, maj: named right."] } },
    { is: "ask", id: 7, what: "told", text: "Read it, then go on.", choices: [{ value: "", label: "Go on", key: "Enter" }], seconds: 0, words: null },
  ];
  const d = told.reduce(reduce, begin("dictation?of=progression"));
  assert.equal(stageOf(d), "answered");
  assert.deepEqual([d.answer.headline, d.answer.was, d.answer.lines], ["It was I IV I", "I IV I", ["1 I on do, maj: named right."]]);
  assert.deepEqual([d.right, d.answered], [2, 3], "an explanation counts nothing");
  assert.equal(chosen(d.ask, "Enter").value, "");
});

test("a hidden answer leaves nothing behind", () => {
  const d = replay("sing-hidden");
  assert.equal(d.before, "");
  assert.equal(d.answer.picture, null);
  assert.equal(d.answer.sung, "");
});

test("the screen reader hears the prompt, one sentence a verdict, and nothing while it listens", () => {
  let d = begin("sing");
  const heard = [];
  for (const m of all["sing-flat"]) {
    const next = reduce(d, m);
    const fresh = next.turn === d.turn ? next.said.slice(d.said.length) : next.said;
    if (d.open && next.open) assert.deepEqual(fresh, [], "silent while listening");
    heard.push(...fresh);
    d = next;
  }
  assert.deepEqual(heard, [
    "Sing do in A♭ major, within 35 cents.", "Do, in tune (4 cents sharp).",
    "Sing sol in A♭ major, within 35 cents.", "Not measured: too quiet.",
    "Hear mi, sing la in A♭ major, within 35 cents.", "La, but too low (40 cents flat).", "Once more?",
  ]);
});

test("the window opens with the event or the state, and closes with the answer", () => {
  assert.equal(replay("sing-listening").open, true);
  assert.equal(replay("sing-flat").open, false);
  assert.equal(replay("sing-guess").open, false);
  const d = reduce(begin("sing"), { is: "state", name: "sing", text: "Sing now, and hold." });
  assert.equal(d.open, true);
  const heard = reduce(d, { is: "meter", level: -20, singing: true, held: 0.3, cents: null });
  assert.equal(reduce(heard, { is: "event", detail: { event: "listening", index: 1 } }).heard.held, 0.3, "the same window");
});

test("a microphone that gives nothing at all is asked about after ten readings", () => {
  assert.equal(replay("sing-deaf").deaf, 12);
  assert.equal(reduce(replay("sing-deaf"), { is: "meter", level: -70, singing: false, held: 0, cents: null }).deaf, 0, "noise of a room is not nothing");
});

test("one key goes on, and first letters choose", () => {
  const ask = replay("sing-flat").ask;
  assert.equal(goOn(ask).value, "no");
  assert.equal(chosen(ask, " ").value, "no");
  assert.equal(chosen(ask, "Enter").value, "no");
  assert.equal(chosen(ask, "n").value, "no");
  assert.equal(chosen(ask, "r").value, "yes");
  assert.equal(chosen(ask, "R").value, "yes");
  assert.equal(chosen(ask, "x"), null);
  assert.equal(chosen(null, " "), null);
  assert.equal(chosen(replay("dictation-name").ask, "Enter"), null, "where a name is typed, keys are letters");
  assert.equal(chosen(replay("sing-guess").ask, "f").value, "flat");
});

test("an ask that is over is taken away, another one is not", () => {
  const d = replay("sing-flat");
  assert.equal(reduce(d, { is: "asked", id: 1 }).ask, null);
  assert.equal(reduce(d, { is: "asked", id: 9 }).ask, d.ask);
  assert.equal(replay("dictation-name").problem, "\"x\" is no degree; want three, like do fa sol");
});

test("a rest is shown for three questions", () => {
  const prompt = all["sing-asked"].find((m) => m.detail?.event === "prompt");
  let d = reduce(begin("sing"), { is: "event", detail: { event: "rest" }, said: { lines: ["Rest."] } });
  const shown = [];
  for (let i = 0; i < 5; i++) {
    d = reduce(d, prompt);
    shown.push(d.rest.length);
  }
  assert.deepEqual(shown, [1, 1, 1, 0, 0]);
});

test("a line keeps its staff while the key sounds, and shows the marks after", () => {
  const read = replay("series-read");
  assert.match(read.question.svg, /^<svg/);
  assert.equal(reduce(read, { is: "event", detail: { event: "key" }, said: { key: "E♭ major" } }).question, read.question);
  assert.match(replay("series-sung").answer.svg, /^<svg/);
  assert.equal(replay("series-sung").answer.headline, "14 of 16 notes right, 2 of 4 bars.");
});

test("calibration says of each part how far it is", () => {
  const names = (name) => standings(replay(name)).map((s) => [s.part, s.name]);
  assert.deepEqual(names("calibrate-level"), [["room", "found"], ["level", "began"], ["leak", "waits"], ["voice", "waits"], ["instrument", "waits"]]);
  assert.deepEqual(standings(begin("calibrate?only=room,level")).map((s) => s.part), ["room", "level"]);
  assert.deepEqual(standings(begin("calibrate?skip=voice+leak")).map((s) => s.part), ["room", "level", "instrument"]);
});

test("headphones over 150 ms late are named, others not", () => {
  assert.match(late({ echo: { delay_s: 0.21 } }), /210 ms/);
  assert.equal(late({ echo: { delay_s: 0.15 } }), "");
  assert.equal(late({ echo: { delay_s: null } }), "");
  assert.equal(late(null), "");
});

test("what is played after it was sung stands below it, and is counted apart", () => {
  let d = replay("sing-flat");
  const { right, answered } = d;
  d = reduce(d, { is: "event", detail: { event: "hand", index: 3, by: "keys" } });
  d = reduce(d, { is: "state", name: "strike", text: "Play it now, on the keyboard." });
  d = reduce(d, { is: "event", detail: { event: "listening", index: 3 } });
  assert.equal(d.open, false, "keys are not heard");
  assert.equal(d.phase.text, "Play it now, on the keyboard.");
  const said = { headline: "Sang la, played la: voice and hand agree", mark: "right", details: ["Then so."] };
  const after = reduce(d, { is: "event", detail: { event: "struck", index: 3 }, said });
  assert.deepEqual(after.answer.lines.slice(0, 2), [said.headline, "Then so."]);
  assert.equal(after.answer.headline, d.answer.headline);
  assert.deepEqual([after.right, after.answered, after.phase], [right, answered, null]);
  assert.equal(after.said.at(-1), said.headline);
  const hidden = reduce(d, { is: "event", detail: { event: "struck", index: 3 }, said: { hidden: true, details: [] } });
  assert.deepEqual(hidden.answer, d.answer);
});

test("an instrument is heard as a voice is", () => {
  const d = reduce(begin("dictation?answer=play"), { is: "state", name: "tune", text: "Play it now, one note at a time." });
  assert.equal(d.open, true);
  assert.equal(reduce(d, { is: "event", detail: { event: "listening", index: 1 } }).open, true);
});
