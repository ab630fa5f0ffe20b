// What calibration adds to the screen of a drill: its parts, and what each found.

import { el, mark } from "./dom.js";
import { words } from "./words.js";

/** @typedef {import("./state.js").Drill} Drill */

const order = ["room", "level", "leak", "voice", "instrument"];

/** LATE is the delay in seconds above which headphones are named: wireless ones. */
export const LATE = 0.15;

/**
 * late is the sentence about a measured delay that is too long, or "".
 * @param {any} result of calibrate --format json
 */
export function late(result) {
  const s = result?.echo?.delay_s;
  return typeof s === "number" && s > LATE ? words.calibrate.late(Math.round(s * 1000)) : "";
}

/**
 * standings says of each part that is measured how far it is.
 * @param {Drill} d
 * @returns {{part: string, name: string, lines: string[]}[]}
 */
export function standings(d) {
  const query = new URLSearchParams(d.address.split("?")[1] ?? "");
  const only = (query.get("only") ?? "").split(/[\s,]+/).filter(Boolean);
  const skip = (query.get("skip") ?? "").split(/[\s,]+/);
  const parts = order.filter((p) => (only.length === 0 || only.includes(p)) && !skip.includes(p));
  for (const s of d.steps) if (s.part && !parts.includes(s.part)) parts.push(s.part);
  return parts.map((part) => {
    const of = d.steps.filter((s) => s.part === part);
    const last = of.findLast((s) => ["began", "found", "missed", "left"].includes(s.name));
    const lines = of.filter((s) => s.text).map((s) => s.text);
    return { part, name: last?.name ?? "waits", lines: last?.name === "began" ? lines.slice(-2) : lines.slice(-1) };
  });
}

/**
 * steps draws them.
 * @param {Drill} d
 */
export function steps(d) {
  const w = words.calibrate;
  const late_ = late(d.result);
  const rows = standings(d).map(({ part, name, lines }) => el("li", { "aria-current": name === "began" ? "step" : null },
    name === "found" ? mark("right") : name === "missed" ? mark("unknown") : el("span", { class: "dot", "aria-hidden": "true" }),
    el("div", {}, el("p", {}, el("b", { text: w.parts[part] ?? part }), " ", el("span", { class: "how", text: /** @type {any} */ (w)[name] ?? "" })),
      ...lines.map((text) => el("p", { text })))));
  return [el("ol", {}, ...rows), late_ && el("p", { class: "caution", text: late_ })];
}
