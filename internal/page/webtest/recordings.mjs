// What an engine says to the page, as it would say it: lists of messages that replay
// screens. The singers and what they sang are invented.

/** curve is a sung note: a scoop from below, then a held pitch with vibrato. */
function curve(pitch, { scoop = 120, vibrato = 40, until = 2.1, gap = false } = {}) {
  const points = [];
  for (let i = 0; i <= until * 50; i++) {
    const s = i / 50;
    if (s < 0.3) continue;
    if (gap && s > 1.1 && s < 1.2) {
      if (points.at(-1) !== null) points.push(null);
      continue;
    }
    const settled = 1 - Math.exp(-(s - 0.3) / 0.08);
    points.push([Math.round(s * 100) / 100, Math.round(10 * (pitch - scoop * (1 - settled) + vibrato * settled * Math.sin(2 * Math.PI * 5.5 * s))) / 10]);
  }
  return points;
}

const degrees = ["do", "re", "mi", "fa", "sol", "la", "ti", "do'"].map((name, i) => ({ name, cents: [0, 200, 400, 500, 700, 900, 1100, 1200][i] }));

const key = { is: "event", detail: { event: "key", schema: 1, key: "Ab major", tonic: "Ab3", seed: 7 }, said: { key: "A♭ major", how: "cadence", line: "A♭ major: cadence, A4 = 440 Hz." } };
const state = (name, text, more = {}) => ({ is: "state", name, text, ...more });
const prompt = (index, asked, from, more = {}) => ({
  is: "event", detail: { event: "prompt", index, of: 6, attempt: 1, ...more.detail },
  said: { asked, from, ask: from ? `Hear ${from}, sing ${asked} in A♭ major, within 35 cents.` : `Sing ${asked} in A♭ major, within 35 cents.`, index, of: 6, folded: "", part: "", tolerance: 35, hold: 2, ...more.said },
});
const listening = (index) => [state("sing", "Sing now, and hold."), { is: "event", detail: { event: "listening", index } }];
const meter = (level, singing, held, cents = null) => ({ is: "meter", level, singing, held, cents });

const flatLa = {
  is: "event", detail: { event: "verdict", index: 3, attempt: 1, counts: true, outcome: "flat", cents: -40, hidden: false, guess: null },
  said: {
    headline: "La, but too low (40 cents flat).", asked: "la", sung: "la −40", mark: "wrong",
    details: ["right is within 35 cents", "in the octave asked", "steady within 6 cents, vibrato 5.5 Hz, 40 cents each way", "settled after 0.12 s, held 1.80 s"], hidden: false, guess: "",
  },
  picture: { asked: "la", degrees, target: 900, tolerance: 35, points: curve(860), measured: [0.55, 2.1], pitch: 860, note: "A scoop from 120 cents below; vibrato 5.5 Hz, 40 cents each way." },
};
const rightDo = {
  is: "event", detail: { event: "verdict", index: 1, attempt: 1, counts: true, outcome: "in_tune", cents: 4, hidden: false, guess: null },
  said: { headline: "Do, in tune (4 cents sharp).", asked: "do", sung: "do +4", mark: "right", details: ["in the octave asked", "steady within 3 cents"], hidden: false, guess: "" },
  picture: { asked: "do", degrees, target: 0, tolerance: 35, points: curve(4, { scoop: 30, vibrato: 8 }), measured: [0.4, 2.1], pitch: 4, note: "Steady." },
};
const unknown = {
  is: "event", detail: { event: "verdict", index: 2, attempt: 1, counts: true, outcome: "not_measured", reason: "too_quiet", hidden: false, guess: null },
  said: { headline: "Not measured: too quiet.", asked: "sol", sung: "?", mark: "unknown", details: ["sing nearer to the microphone"], hidden: false, guess: "" },
  picture: { asked: "sol", degrees, target: 700, tolerance: 35, points: [], measured: null, pitch: null, note: "No pitch." },
};
const hidden = {
  is: "event", detail: { event: "verdict", index: 4, attempt: 1, counts: true, outcome: "flat", hidden: true, guess: null },
  said: { headline: "Noted: told at the end.", asked: "mi", sung: "", mark: "unknown", details: [], hidden: true, guess: "" },
};
const retry = { is: "ask", id: 1, what: "retry", text: "Once more?", choices: [{ value: "yes", label: "Once more", key: "r" }, { value: "no", label: "Next", key: "Enter" }], seconds: 6, words: null };

const two = [key, state("key", "Listen: this is the key."), state("wait", "Hear it inside; do not sing yet."), prompt(1, "do", ""), ...listening(1), rightDo, state("compare", "Compare: this is the note."),
  prompt(2, "sol", ""), ...listening(2), unknown];
const third = [state("from", "Listen."), prompt(3, "la", "mi")];
const summary = { is: "event", detail: { event: "summary" }, said: { lines: ["4 of 6 right in A♭ major.", "la: 1 of 2 right, 40 cents flat.", "Weakest move: mi – la up."] } };
const end = { is: "end", ok: true, text: "", lines: [], kept: "6 answers recorded." };

const standing = { is: "standing", text: "Stage 4 of 11: fa and ti." };

const lineAsked = (svg) => [
  state("key", "E♭ major: cadence, A4 = 440 Hz."),
  { is: "event", detail: { event: "line", index: 1, of: 3, tempo_bpm: 72, free: false, echo: false }, said: { headline: "A melody in E♭ major, level 3, 72 beats a minute.", index: 1, of: 3, echo: false }, svg },
  state("read", "Read it."),
];

/** recordings are the lists, by name; they need the two staves. */
export function recordings(line, sung) {
  const studied = { is: "ask", id: 1, what: "study", text: "Read it in silence.", choices: [{ value: "", label: "Begin now", key: "Enter" }], seconds: 30, words: null };
  return {
    "sing-key": two.slice(0, 2),
    "sing-asked": [...two, ...third, state("wait", "Hear it inside; do not sing yet.")],
    "sing-listening": [...two, ...third, ...listening(3), meter(-31, true, 0.4), meter(-22, true, 1.2)],
    "sing-deaf": [...two, ...third, ...listening(3), ...Array(12).fill(meter(-120, false, 0))],
    "sing-flat": [...two, standing, ...third, ...listening(3), meter(-22, true, 1.9), flatLa, retry],
    "sing-compare": [...two, ...third, ...listening(3), flatLa, state("compare", "Compare: this is the note.")],
    "sing-right": [key, prompt(1, "do", ""), ...listening(1), rightDo, state("compare", "Compare: this is the note.")],
    "sing-unknown": two,
    "sing-hidden": [...two, prompt(4, "mi", "sol"), ...listening(4), hidden],
    "sing-guess": [...two, ...third, ...listening(3), state("guess", "What was it: flat, right or sharp?"), {
      is: "ask", id: 2, what: "guess", text: "What was it?", seconds: 8, words: null,
      choices: [{ value: "flat", label: "Flat", key: "f" }, { value: "right", label: "Right", key: "r" }, { value: "sharp", label: "Sharp", key: "s" }, { value: "", label: "No idea", key: "Enter" }],
    }],
    "sing-rest": [...two, { is: "event", detail: { event: "rest", sung_s: 900 }, said: { lines: ["You have sung for 15 minutes.", "Rest your voice for a few minutes; sip some water."] } }, {
      is: "ask", id: 3, what: "rest", text: "You have sung for 15 minutes. Rest your voice for a few minutes; sip some water.", seconds: 0, words: null, choices: [{ value: "", label: "Go on", key: "Enter" }],
    }],
    "sing-end": [...two, ...third, ...listening(3), flatLa, summary, end],
    "sing-failed": [...two, { is: "end", ok: false, text: "The microphone stopped: plug it in again, then start again.", lines: [], kept: "2 answers recorded." }],
    "sing-wrong": [{ is: "wrong", text: "--key: \"H major\": no note is called H; want one like \"Ab major\" or f#m" }],
    "series-read": [...lineAsked(line), studied],
    "series-line": [...lineAsked(line), studied, { is: "asked", id: 1 }, state("count", "The beat is counted: 4 beats, then sing."), state("line", "Sing now."), { is: "event", detail: { event: "listening", index: 1 } }, meter(-20, true, 0.5, 712)],
    "series-sung": [...lineAsked(line), state("line", "Sing now."), {
      is: "event", detail: { event: "sung", index: 1, heard: true }, svg: sung,
      said: { mark: "wrong", lines: ["14 of 16 notes right, 2 of 4 bars.", "sol was 62 cents flat.", "Weakest interval: do – sol down."], notes: [["note", "written", "sung"], ["1", "do", "right"], ["2", "do", "right"], ["3", "sol", "62 cents flat"]] },
    }, { is: "ask", id: 2, what: "sung", text: "How do you go on?", seconds: 20, words: null, choices: [{ value: "", label: "Go on", key: "Enter" }, { value: "again", label: "Again", key: "a" }, { value: "practise", label: "Practise the weakest interval", key: "p" }] }],
    "dictation-name": [key, { is: "event", detail: { event: "dictation", index: 2, of: 10, kind: "bass", chords: 3 }, said: { ask: "Name the bass of three chords.", index: 2, of: 10 } }, state("name", "What was it?"), {
      is: "ask", id: 1, what: "name", text: "Name 3 degrees.", seconds: 0, words: ["do", "fa", "sol"], count: 3, choices: [{ value: "", label: "Hear it again", key: "h" }, { value: "?", label: "Give up", key: "g" }],
    }, { is: "problem", id: 1, text: "\"x\" is no degree; want three, like do fa sol" }],
    "dictation-named": [key, { is: "event", detail: { event: "dictation", index: 2, of: 10, kind: "bass", chords: 3 }, said: { ask: "Name the bass of three chords.", index: 2, of: 10 } }, {
      is: "event", detail: { event: "named", index: 2, right: [true, true, false], outcome: ["right", "right", "wrong"], hidden: false }, said: { headline: "Do fa right; not la but sol.", mark: "wrong", was: "do fa sol" },
    }, state("told", "Listen again: this was it.")],
    "today-summary": [...two, summary, { is: "event", detail: { event: "today" }, said: { lines: ["Stage 4 of 11: fa and ti. New today: 2.", "Ended: the time is over."] } }, end],
    "calibrate-level": [
      { is: "calibration", name: "began", part: "room", text: "Be silent for five seconds." }, { is: "calibration", name: "found", part: "room", text: "Quiet: −62 dBFS, no hum." },
      { is: "calibration", name: "began", part: "level", text: "Sing ah at ease for some seconds." },
      { is: "ask", id: 4, what: "begin", text: "Sing ah at ease, as in the drill, for some seconds.", seconds: 0, words: null, choices: [{ value: "yes", label: "Begin", key: "Enter" }, { value: "skip", label: "Leave it out", key: "s" }] },
    ],
    "calibrate-end": [
      { is: "calibration", name: "found", part: "room", text: "Quiet: −62 dBFS, no hum." }, { is: "calibration", name: "missed", part: "level", text: "Nothing was heard." }, { is: "calibration", name: "left", part: "leak", text: "" },
      { is: "event", detail: { schema: 1, parts: [{ part: "room", outcome: "measured" }], echo: { heard: true, delay_s: 0.21 } }, said: { lines: ["The room is quiet.", "What you hear comes late."] } },
      { is: "end", ok: true, text: "", lines: [], kept: "Kept for Anna." },
    ],
  };
}
