// The parts of the page that need no browser.

import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import test from "node:test";

import { address, grouped } from "../web/form.js";
import { blocks } from "../web/help.js";
import { Messenger } from "../web/messenger.js";
import { Keyboard, changeOf, isPlayed } from "../web/midi.js";
import { rows } from "../web/parts.js";
import { layout } from "../web/picture.js";
import { rungs } from "../web/progress.js";
import { words } from "../web/words.js";

const web = new URL("../web/", import.meta.url);
const read = (name) => readFileSync(new URL(name, web), "utf8");
const modules = readdirSync(web).filter((f) => f.endsWith(".js") && f !== "xz-decompress.js"); // that one is of others

const degrees = [["do", 0], ["re", 200], ["mi", 400], ["fa", 500], ["sol", 700], ["la", 900], ["ti", 1100]].map(([name, cents]) => ({ name, cents }));
const picture = { asked: "la", degrees, target: 900, tolerance: 35, points: [[0.3, 740], [0.4, 830], null, [0.6, 860], [2, 860]], measured: [0.6, 2], pitch: 860, note: "" };

test("the picture: everything lies within, higher is higher, and later is to the right", () => {
  for (const [w, h] of [[280, 200], [700, 300], [1800, 700]]) {
    const l = layout(picture, w, h);
    for (const y of [l.band.top, l.band.bottom, l.pitch, ...l.rungs.map((r) => r.y)]) assert.ok(y >= l.top && y <= l.bottom, `${w}: ${y}`);
    assert.ok(l.band.top < l.y(900) && l.y(900) < l.band.bottom);
    assert.ok(l.y(900) < l.y(860) && l.y(860) < l.y(740));
    assert.ok(l.bracket.from < l.bracket.to && l.bracket.to <= l.right);
    assert.equal(l.runs.length, 2, "a gap breaks the curve");
    // Half of the band is 35 cents: an outside check of the scale.
    const px = (l.bottom - l.top) / (l.high - l.low);
    assert.ok(Math.abs(l.band.bottom - l.band.top - 70 * px) < 1e-9);
  }
});

test("the picture: the asked degree always has its rung, and rungs do not touch", () => {
  const close = { ...picture, degrees: Array.from({ length: 13 }, (_, i) => ({ name: String(i), cents: i * 100 })) };
  const l = layout({ ...close, points: [[0, 0], [1, 1200]] }, 300, 160);
  assert.ok(l.rungs.some((r) => r.asked));
  for (let i = 1; i < l.rungs.length; i++) assert.ok(l.rungs[i - 1].y - l.rungs[i].y >= 16);
});

test("the picture of nothing is a ladder with the tolerance", () => {
  const l = layout({ ...picture, points: [], measured: null, pitch: null }, 300, 200);
  assert.deepEqual([l.runs, l.bracket, l.pitch], [[], null, null]);
  assert.ok(l.rungs.some((r) => r.asked));
});

test("a stray reading far away does not press the picture flat", () => {
  const l = layout({ ...picture, points: [...picture.points, [2.1, 5000]] }, 300, 200);
  assert.ok(l.high < 2000);
});

test("large letters break in two rows where that is best", () => {
  const [one, two] = rows("do fa sol");
  assert.ok(two < one);
  assert.equal(...rows("la"), "one word stays whole");
});

test("addresses are the flags' own words", () => {
  assert.equal(address("sing", [["key", "Ab major"], ["degrees", "do mi sol"], ["count", ""]]), "sing?key=Ab+major&degrees=do+mi+sol");
  assert.equal(address("today", []), "today");
  assert.equal(address("sing", [["key", "f#m"]]), "sing?key=f%23m", "a sharp would end the fragment's words");
  assert.equal(new URLSearchParams(address("sing", [["key", "f#m & x"]]).split("?")[1]).get("key"), "f#m & x", "as another reader reads it");
});

test("every option of every form is in one group, and what belongs together stands together", () => {
  const all = JSON.parse(readFileSync(new URL("options.json", import.meta.url), "utf8"));
  for (const [command, options] of Object.entries(all)) {
    const names = grouped(options).map((of) => of.map((o) => o.name));
    assert.deepEqual(names.flat().toSorted(), options.map((o) => o.name).toSorted(), command);
    assert.equal(names.length, words.form.groups.length);
    for (const [group, wanted] of [[0, ["sound", "instrument"]], [1, ["count-in", "click"]], [1, ["backing", "vamp", "drone", "headphones"]]]) {
      const got = names[group].filter((n) => wanted.includes(n));
      const at = names[group].indexOf(got[0]);
      assert.deepEqual(got, wanted.filter((n) => options.some((o) => o.name === n)), command);
      assert.deepEqual(names[group].slice(at, at + got.length), got, `${command}: one beside the other`);
    }
  }
  const series = grouped(all.series).map((of) => of.map((o) => o.name));
  assert.ok(series[0].includes("sound") && series[1].includes("backing") && series[2].includes("study"));
});

test("the handbook is cut into its blocks", () => {
  assert.deepEqual(blocks("# A\n\none\ntwo\n\n    code\n\n    more\n\n- a\n- b\n  c\n\n| x | y |\n| --- | --- |\n| 1 | 2 |\n"), [
    ["# A"], ["one", "two"], ["    code", "", "    more"], ["- a", "- b", "  c"], ["| x | y |", "| --- | --- |", "| 1 | 2 |"],
  ]);
});

test("a struck key is a note on with a velocity (MIDI 1.0, channel voice messages)", () => {
  const change = (...bytes) => changeOf(new Uint8Array(bytes));
  assert.deepEqual(change(0x90, 60, 64), { key: 60, down: true, pedal: false });
  assert.deepEqual(change(0x9f, 60, 1), { key: 60, down: true, pedal: false });
  assert.deepEqual(change(0x90, 60, 0), { key: 60, down: false, pedal: false }, "velocity 0 ends a note");
  assert.deepEqual(change(0x80, 60, 64), { key: 60, down: false, pedal: false });
  assert.deepEqual(change(0xb0, 64, 127), { key: 0, down: true, pedal: true }, "a pedal");
  assert.deepEqual(change(0xb3, 64, 63), { key: 0, down: false, pedal: true }, "half down is up");
  assert.equal(change(0xb0, 1, 127), null, "another controller");
  assert.equal(change(0xfe), null, "active sensing");
  assert.equal(change(0xf8), null, "the clock");
  assert.equal(change(0xd0, 60), null, "pressure");
});

test("a keyboard answers, goes on where that is wished, and is missed when it is gone", async () => {
  const input = { state: "connected", onmidimessage: null };
  const access = { inputs: new Map([["1", input]]), onstatechange: null };
  Object.defineProperty(globalThis, "navigator", { value: { requestMIDIAccess: async () => access }, configurable: true });
  const heard = [];
  let on = 0;
  const k = new Keyboard(() => on++, () => assert.fail("refused"), (c) => heard.push(c));
  assert.equal(k.there, false);
  assert.ok(await k.open(false));
  assert.ok(k.there);
  const strike = (at, ...bytes) => input.onmidimessage({ data: new Uint8Array(bytes), timeStamp: at });
  strike(1000, 0x90, 60, 64);
  strike(1001, 0xfe);
  strike(1100, 0x90, 60, 0);
  assert.equal(on, 0);
  await k.open();
  strike(2000, 0x90, 62, 64);
  strike(2010, 0x90, 65, 64); // a chord is one
  assert.equal(on, 1);
  assert.deepEqual(heard.map((c) => `${c.key}${c.down ? "+" : "-"}`), ["60+", "60-", "62+", "65+"]);
  access.inputs.delete("1");
  access.onstatechange();
  assert.deepEqual(heard.at(-1), { gone: true });
  k.close();
  assert.equal(k.there, false);
});

test("which addresses are played, and need no microphone", () => {
  for (const [a, played] of [
    ["sing?then=play", true], ["dictation?answer=play&of=quality", true], ["dictation?answer=sing&then=play", true], ["today?then=play", true],
    ["sing?then=play&input=simulated", false], ["dictation?answer=play&input=mic", false], ["dictation?answer=sing", false], ["sing", false],
  ]) assert.equal(isPlayed(a), played, a);
});

test("the ladder has the names of the table, or where they do not fit the counted ones", () => {
  const by_degree = [{ name: "1", answers: 12, share: 0.5, share_low: 0.2, share_high: 0.8, median_cents: -3 }];
  assert.equal(rungs({ by_degree, said: { sections: [{ field: "degree", rows: [["do"]] }] } })[0].name, "do");
  assert.equal(rungs({ by_degree, said: { sections: [{ field: "degree", rows: [] }] } })[0].name, "1");
  assert.deepEqual(rungs({}), []);
});

class Line {
  sent = [];
  ended = false;
  postMessage(m) {
    this.sent.push(m);
  }
  terminate() {
    this.ended = true;
  }
}

test("calls are numbered and settled one by one, in any order", async () => {
  const line = new Line(), other = [];
  const m = new Messenger(() => line, (x) => other.push(x), () => {});
  const a = m.call("standing"), b = m.call("export");
  line.onmessage({ data: { is: "reply", id: 2, value: "two" } });
  line.onmessage({ data: { is: "state", name: "key" } });
  line.onmessage({ data: { is: "reply", id: 1, error: "no record" } });
  line.onmessage({ data: { is: "reply", id: 1, value: "late" } });
  assert.equal(await b, "two");
  await assert.rejects(a, /no record/);
  assert.deepEqual(other, [{ is: "state", name: "key" }]);
});

test("all that wait fail when the worker dies, and a new one takes its place", async () => {
  const lines = [];
  const died = [];
  const m = new Messenger(() => lines[lines.push(new Line()) - 1], () => {}, (why) => died.push(why));
  const a = m.call("standing");
  lines[0].onerror({ preventDefault() {}, message: "out of memory" });
  await assert.rejects(a, /out of memory/);
  assert.deepEqual(died, ["out of memory"]);
  assert.ok(lines[0].ended);
  await assert.rejects(m.call("standing"), /not running/);
  m.start();
  lines[0].onerror({ preventDefault() {}, message: "again" });
  assert.equal(died.length, 1, "nobody listens to the dead");
  const b = m.call("standing");
  lines[1].onmessage({ data: { is: "reply", id: lines[1].sent[0].id, value: 1 } });
  assert.equal(await b, 1);
});

test("every trouble has one sentence that says what to do", () => {
  for (const code of ["no-permission", "no-microphone", "microphone-in-use", "not-https", "silent-input", "suspended", "interrupted", "processing", "lost", "engine", "storage", "storage-full", "other-tab", "browser"]) {
    const text = words.trouble[code]("x");
    assert.match(text, /^[A-Z][^]*[.]$/, code);
    assert.ok(/[:;,.] /.test(text) && text.length < 220, `${code}: ${text}`);
  }
});

test("nothing makes markup of text, and nothing is inline", () => {
  for (const f of modules) assert.doesNotMatch(read(f), /innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|setAttribute\("style"/, f);
  const page = read("index.html");
  assert.doesNotMatch(page, /<style|style=|<script(?![^>]*src=)| on[a-z]+=/);
  assert.doesNotMatch(page + read("style.css"), /https?:/);
  assert.match(page, /<html lang="en">/);
});

test("the page's own policy is that of the server, but for what a meta element may not say", () => {
  const policy = /http-equiv="Content-Security-Policy" content="([^"]*)"/.exec(read("index.html"))[1].split("; ");
  assert.deepEqual(policy, ["default-src 'none'", "script-src 'self' 'wasm-unsafe-eval'", "style-src 'self'", "img-src 'self' data:", "connect-src 'self'", "worker-src 'self'", "manifest-src 'self'", "base-uri 'none'", "form-action 'none'"]);
});

// handin.js is loaded where it is needed, and brings its words with it.
test("words are in words.js: no other module has a sentence of its own", () => {
  for (const f of modules.filter((f) => !["words.js", "handin.js", "worker.js", "keep.js", "tight.js", "sound.js", "worklet.js"].includes(f))) {
    const code = read(f).replace(/\/\*[^]*?\*\/|\/\/.*/g, "").replace(/new Error\([^)]*\)/g, "");
    for (const [text] of code.matchAll(/"[A-Z][a-z]+ [a-z]+ [^"]*"|text: "[^"]{2,}"/g)) assert.fail(`${f}: ${text}`);
  }
});

test("what the manifest names is there", () => {
  const manifest = JSON.parse(read("manifest.webmanifest"));
  const there = new Set(readdirSync(web));
  for (const icon of manifest.icons) assert.ok(there.has(icon.src), icon.src);
  assert.ok(manifest.icons.some((i) => i.purpose === "maskable"));
  for (const url of [manifest.id, manifest.start_url, manifest.scope]) assert.equal(url, "./", "relative, wherever the page lies");
});
