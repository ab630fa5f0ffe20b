// What a drill's screen knows: a function of the messages so far, and of nothing
// else, so that a list of messages shows any screen again.

/**
 * @typedef {{name: string, text: string, [more: string]: any}} Phase
 * @typedef {{level: number, singing: boolean, held: number, cents: number | null}} Heard
 * @typedef {{value: any, label: string, key: string}} Choice
 * @typedef {{id: number, what: string, text: string, choices: Choice[], seconds: number, words: string[] | null, count?: number}} Ask
 * @typedef {{kind: "degree" | "line" | "dictation", asked: string, from: string, ask: string, notes: string[], svg: string, tolerance: number, hold: number}} Question
 * @typedef {{mark: "right" | "wrong" | "unknown", hidden: boolean, headline: string, sung: string, was: string, lines: string[], picture: any, svg: string, notes: string[][]}} Answer
 * @typedef {{part: string, name: string, text: string}} Step
 * @typedef {{
 *   kind: string, address: string, running: boolean,
 *   phase: Phase | null, key: string, keyLine: string,
 *   index: number, of: number, right: number, answered: number,
 *   question: Question | null, answer: Answer | null, before: string,
 *   open: boolean, heard: Heard | null, deaf: number,
 *   ask: Ask | null, problem: string,
 *   standing: string, notices: string[], rest: string[], restFor: number,
 *   summary: string[], today: string[], steps: Step[], result: any,
 *   end: {ok: boolean, text: string, lines: string[], kept: string} | null,
 *   wrong: string, said: string[], turn: number,
 * }} Drill
 */

/** The kinds of drill an address can name. */
export const drills = ["today", "sing", "series", "echo", "dictation", "calibrate"];

/** SILENCE is the level in dBFS of samples that are all zero: as in the terminal. */
export const SILENCE = -120;
/** TOO_LOUD is the level in dBFS at which a voice is about to be cut off: as in the terminal. */
export const TOO_LOUD = -6;
/** DEAF is after how many silent readings in a row, ten a second, the microphone is asked about. */
export const DEAF = 10;

/**
 * begin is the screen before anything was heard of the drill.
 * @param {string} address like "sing?key=Eb"
 * @returns {Drill}
 */
export function begin(address) {
  return {
    kind: address.split("?")[0], address, running: true,
    phase: null, key: "", keyLine: "", index: 0, of: 0, right: 0, answered: 0,
    question: null, answer: null, before: "", open: false, heard: null, deaf: 0,
    ask: null, problem: "", standing: "", notices: [], rest: [], restFor: 0,
    summary: [], today: [], steps: [], result: null, end: null, wrong: "", said: [], turn: 0,
  };
}

/**
 * reduce is the screen after a message; the one before stays as it was.
 * @param {Drill} d
 * @param {any} m
 * @returns {Drill}
 */
export function reduce(d, m) {
  switch (m.is) {
    case "event":
      return event(d, m);
    case "state":
      return window_({ ...d, phase: m.name === "idle" ? null : { ...m, text: m.text ?? "" } }, ["sing", "line", "tune"].includes(m.name));
    case "meter":
      return { ...d, heard: { level: m.level, singing: m.singing, held: m.held, cents: m.cents ?? null }, deaf: m.level > SILENCE ? 0 : d.deaf + 1 };
    case "standing":
      return { ...d, standing: m.text };
    case "notice":
      return { ...d, notices: [...d.notices.slice(-2), m.text] };
    case "ask":
      return say({ ...d, ask: { ...m, choices: m.choices ?? [], words: m.words ?? null, seconds: m.seconds ?? 0 }, problem: "", open: false }, m.text);
    case "asked":
      return d.ask?.id === m.id ? { ...d, ask: null, problem: "" } : d;
    case "problem":
      return d.ask?.id === m.id ? say({ ...d, problem: m.text }, m.text) : d;
    case "calibration":
      return step(d, m);
    case "wrong":
      return say({ ...d, running: false, wrong: m.text, phase: null, open: false, ask: null }, m.text);
    case "end":
      return say({ ...d, running: false, open: false, ask: null, phase: null, end: { ok: m.ok, text: m.text ?? "", lines: m.lines ?? [], kept: m.kept ?? "" } },
        m.text || (d.summary[0] ?? ""));
  }
  return d;
}

/** @param {Drill} d @param {any} m @returns {Drill} */
function event(d, m) {
  const said = m.said ?? {};
  const detail = m.detail ?? {};
  switch (detail.event) {
    case "key": {
      const key = said.key ?? detail.key ?? "";
      const next = d.question?.kind === "line" && !d.answer ? d : forget(d);
      return { ...next, key, keyLine: said.line ?? "" };
    }
    case "prompt":
      return ask(d, detail, {
        kind: "degree", asked: said.asked ?? "", from: said.from ?? "", ask: said.ask ?? "", svg: "",
        notes: [said.part, said.folded].filter(Boolean), tolerance: said.tolerance ?? 0, hold: said.hold ?? 0,
      }, (detail.attempt ?? 1) > 1);
    case "dictation":
      return ask(d, detail, { kind: "dictation", asked: "", from: "", ask: said.ask ?? "", svg: "", notes: [], tolerance: 0, hold: 0 }, false);
    case "line":
      return ask(d, detail, { kind: "line", asked: "", from: "", ask: said.headline ?? said.ask ?? "", svg: m.svg ?? "", notes: said.lines ?? [], tolerance: said.tolerance ?? 0, hold: 0 }, false);
    case "listening":
      return window_(d, d.phase?.name !== "strike"); // keys are not heard
    case "struck":
      return struck(d, said);
    case "verdict":
      return answer(d, said, { picture: m.picture ?? null }, detail.counts === false ? [] : [said.mark]);
    case "named":
      return answer(d, said, {}, (detail.outcome ?? []).filter((/** @type {string} */ o) => o === "right" || o === "wrong"));
    case "reasoned":
      return answer(d, said, {}, []);
    case "sung":
      return answer(d, { ...said, headline: said.headline ?? said.lines?.[0], details: said.headline ? said.lines : said.lines?.slice(1) }, { svg: m.svg ?? "" }, []);
    case "rest":
      return { ...d, rest: said.lines ?? [], restFor: 3 };
    case "summary":
      return { ...d, summary: said.lines ?? [], open: false, phase: null };
    case "today":
      return { ...d, today: said.lines ?? [] };
  }
  if (Array.isArray(detail.parts)) return { ...d, result: detail, summary: said.lines ?? [] };
  return d;
}

/** window_ opens the window in which the singer is heard, or shuts it. @param {Drill} d @param {boolean} open @returns {Drill} */
function window_(d, open) {
  if (open === d.open) return d;
  return open ? { ...d, open, heard: null, deaf: 0 } : { ...d, open };
}

/** @param {Drill} d @returns {Drill} */
function forget(d) {
  return { ...d, question: null, answer: null, open: false };
}

/**
 * ask takes a new question, or the same once more.
 * @param {Drill} d @param {any} detail @param {Question} question @param {boolean} again
 * @returns {Drill}
 */
function ask(d, detail, question, again) {
  const restFor = again ? d.restFor : d.restFor - 1;
  return {
    ...forget(d), question, index: detail.index ?? d.index, of: detail.of ?? d.of,
    rest: restFor < 0 ? [] : d.rest, restFor, said: question.ask ? [question.ask] : [], turn: d.turn + 1,
  };
}

/**
 * answer takes what is said of an answer. An answer that is hidden counts nothing
 * that is shown, and leaves nothing to be remembered.
 * @param {Drill} d @param {any} said @param {Partial<Answer>} more @param {string[]} marks one for each that counts
 * @returns {Drill}
 */
function answer(d, said, more, marks) {
  const hidden = said.hidden === true;
  const lines = [...(said.guess ? [said.guess] : []), ...(said.details ?? [])].filter(Boolean);
  /** @type {Answer} */
  const a = { mark: said.mark ?? "unknown", hidden, headline: said.headline ?? "", sung: said.sung ?? "", was: said.was ?? "", lines, picture: null, svg: "", notes: said.notes ?? [], ...more };
  const counted = hidden ? [] : marks.filter((x) => x === "right" || x === "wrong" || x === "unknown");
  const next = {
    ...d, open: false, phase: null, answer: a, before: hidden ? "" : a.headline,
    answered: d.answered + counted.length, right: d.right + counted.filter((x) => x === "right").length,
  };
  return say(next, a.headline);
}

/**
 * struck takes what was played of what was sung: it stands below the answer, and is
 * counted apart.
 * @param {Drill} d @param {any} said @returns {Drill}
 */
function struck(d, said) {
  const next = { ...d, open: false, phase: null };
  if (said.hidden || !d.answer) return next;
  const answer = { ...d.answer, lines: [said.headline, ...(said.details ?? []), ...d.answer.lines] };
  return say({ ...next, answer, before: `${d.before} ${said.headline}` }, said.headline);
}

/** @param {Drill} d @param {any} m @returns {Drill} */
function step(d, m) {
  const it = { part: m.part ?? "", name: m.name, text: m.text ?? "" };
  const next = { ...d, steps: [...d.steps, it] };
  return m.name === "say" || m.name === "found" || m.name === "missed" ? say(next, it.text) : next;
}

/** @param {Drill} d @param {string} text @returns {Drill} */
function say(d, text) {
  return text ? { ...d, said: [...d.said, text] } : d;
}

/**
 * goOn is the choice that one key, a tap or a struck note stands for, or null.
 * @param {Ask | null} ask
 * @returns {Choice | null}
 */
export function goOn(ask) {
  if (!ask || ask.what === "name") return null;
  return ask.choices.find((c) => /(^|\W)(space|enter)(\W|$)/i.test(c.key) || c.key === " ") ?? (ask.choices.length === 1 ? ask.choices[0] : null);
}

/**
 * chosen is the choice that a key stands for, or null.
 * @param {Ask | null} ask
 * @param {string} key of a KeyboardEvent
 * @returns {Choice | null}
 */
export function chosen(ask, key) {
  if (!ask || ask.what === "name") return null;
  if (key === " " || key === "Enter") return goOn(ask);
  const k = key.toLowerCase();
  return ask.choices.find((c) => c.key.toLowerCase() === k) ?? (k === "n" ? goOn(ask) : null);
}
