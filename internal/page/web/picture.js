// The picture of the note: its pitch over time on the ladder of degrees.

import { svg } from "./dom.js";
import { words } from "./words.js";

/**
 * @typedef {{asked: string, degrees: {name: string, cents: number}[], target: number, tolerance: number,
 *   points: ([number, number] | null)[], measured: [number, number] | null, pitch: number | null, note: string}} Picture
 * @typedef {{width: number, height: number, left: number, right: number, top: number, bottom: number,
 *   x: (s: number) => number, y: (cents: number) => number, low: number, high: number, end: number,
 *   rungs: {name: string, y: number, asked: boolean}[], band: {top: number, bottom: number} | null,
 *   runs: string[], bracket: {from: number, to: number} | null, pitch: number | null, ticks: number[]}} Layout
 */

const letter = 16; // px, of the labels
const least = 320; // cents that are seen at least
const most = 1500;

/**
 * layout says where everything of a picture lies, in px of a box of that size.
 * What was sung, the degree asked and its tolerance all lie within.
 * @param {Picture} p
 * @param {number} width
 * @param {number} height
 * @returns {Layout}
 */
export function layout(p, width, height) {
  const points = p.points.filter((q) => q !== null);
  const tall = [p.target - p.tolerance - 60, p.target + p.tolerance + 60, ...(p.pitch === null ? [] : [p.pitch - 60, p.pitch + 60])];
  let low = Math.min(...tall), high = Math.max(...tall);
  for (const [, c] of points) {
    if (Math.abs(c - p.target) <= most) [low, high] = [Math.min(low, c - 20), Math.max(high, c + 20)];
  }
  if (high - low < least) [low, high] = [(low + high - least) / 2, (low + high + least) / 2];
  const start = 0;
  const end = Math.max(1, ...points.map(([s]) => s), p.measured?.[1] ?? 0) * 1.02;
  const longest = Math.max(2, ...p.degrees.map((d) => d.name.length));
  const left = 14 + longest * letter * 0.62, right = width - 14, top = 34, bottom = height - 30;
  const x = (/** @type {number} */ s) => left + 6 + ((s - start) / (end - start)) * (right - left - 6);
  const y = (/** @type {number} */ c) => bottom - ((Math.max(low, Math.min(high, c)) - low) / (high - low)) * (bottom - top);
  const rungs = spread(p.degrees.filter((d) => d.cents >= low && d.cents <= high)
    .map((d) => ({ name: d.name, y: y(d.cents), asked: Math.abs(d.cents - p.target) < 1 })));
  return {
    width, height, left, right, top, bottom, x, y, low, high, end, rungs,
    band: p.tolerance > 0 ? { top: y(p.target + p.tolerance), bottom: y(p.target - p.tolerance) } : null,
    runs: runs(p.points, x, y),
    bracket: p.measured ? { from: x(p.measured[0]), to: x(p.measured[1]) } : null,
    pitch: p.pitch === null ? null : y(p.pitch),
    ticks: [...Array(Math.floor(end) + 1).keys()].filter((s) => end <= 6 || s % 2 === 0),
  };
}

/**
 * spread leaves out rungs that would touch, those asked never.
 * @param {{name: string, y: number, asked: boolean}[]} rungs
 */
function spread(rungs) {
  /** @type {typeof rungs} */
  const kept = [];
  for (const r of [...rungs].sort((a, b) => Number(b.asked) - Number(a.asked))) {
    if (kept.every((k) => Math.abs(k.y - r.y) >= letter * 1.05)) kept.push(r);
  }
  return kept.sort((a, b) => b.y - a.y);
}

/**
 * runs are the pieces of the curve, broken where no voice was.
 * @param {Picture["points"]} points
 * @param {(s: number) => number} x
 * @param {(c: number) => number} y
 */
function runs(points, x, y) {
  /** @type {string[]} */
  const all = [];
  let run = "";
  for (const p of [...points, null]) {
    if (p) run += `${run ? "L" : "M"}${x(p[0]).toFixed(1)} ${y(p[1]).toFixed(1)}`;
    else if (run) {
      all.push(run.includes("L") ? run : `${run}h1`);
      run = "";
    }
  }
  return all;
}

/**
 * draw makes the picture.
 * @param {Picture} p
 * @param {number} width
 * @param {number} height
 */
export function draw(p, width, height) {
  const l = layout(p, width, height);
  const w = words.picture;
  const root = svg("svg", { viewBox: `0 0 ${width} ${height}`, class: "note", role: "img", "aria-label": w.label(p.asked, p.note) });
  const text = (/** @type {string} */ s, /** @type {number} */ x, /** @type {number} */ y, /** @type {string} */ name, anchor = "start") =>
    svg("text", { x, y, class: name, "text-anchor": anchor, "font-size": letter }, s);
  if (l.band) {
    root.append(svg("rect", { x: l.left, y: l.band.top, width: l.right - l.left, height: Math.max(1, l.band.bottom - l.band.top), class: "band" }));
    for (const y of [l.band.top, l.band.bottom]) root.append(svg("line", { x1: l.left, x2: l.right, y1: y, y2: y, class: "edge" }));
  }
  for (const r of l.rungs) {
    root.append(svg("line", { x1: l.left, x2: l.right, y1: r.y, y2: r.y, class: r.asked ? "rung asked" : "rung" }));
    root.append(text(r.name, l.left - 8, r.y + letter * 0.35, r.asked ? "degree asked" : "degree", "end"));
  }
  if (l.pitch !== null) root.append(svg("line", { x1: l.bracket?.from ?? l.left, x2: l.bracket?.to ?? l.right, y1: l.pitch, y2: l.pitch, class: "pitch" }));
  for (const d of l.runs) root.append(svg("path", { d, class: "halo" }), svg("path", { d, class: "voice" }));
  if (l.bracket) {
    const { from, to } = l.bracket, y = 26;
    root.append(svg("path", { d: `M${from} ${y + 7}V${y}H${to}V${y + 7}`, class: "bracket" }));
    const middle = Math.max(l.left + 40, Math.min(l.right - 40, (from + to) / 2));
    root.append(text(w.measured, middle, y - 8, "label", "middle"));
  }
  if (l.band) root.append(...beside(l, p));
  root.append(svg("line", { x1: l.left, x2: l.right, y1: l.bottom + 4, y2: l.bottom + 4, class: "time" }));
  for (const s of l.ticks) {
    root.append(svg("line", { x1: l.x(s), x2: l.x(s), y1: l.bottom + 4, y2: l.bottom + 9, class: "time" }));
    if (l.x(s) < l.right - 20 || s === 0) root.append(text(w.seconds(s), l.x(s), l.bottom + 25, "label", s === 0 ? "start" : "middle"));
  }
  return root;
}

/**
 * beside is the label of the tolerance, at the end of the band where it does not
 * lie on the curve: above or below it.
 * @param {Layout} l
 * @param {Picture} p
 */
function beside(l, p) {
  const band = /** @type {{top: number, bottom: number}} */ (l.band);
  const late = p.points.filter((q) => q !== null && q[0] > l.end * 0.55).map((q) => l.y(/** @type {[number, number]} */ (q)[1]));
  const above = band.top - 6, below = band.bottom + letter + 2;
  const free = (/** @type {number} */ y) => late.every((v) => v < y - letter - 4 || v > y + 6) && y > l.top + letter && y < l.bottom;
  const y = free(above) || !free(below) ? Math.max(l.top + letter, above) : below;
  const label = (/** @type {string} */ name) => svg("text", { x: l.right - 4, y, class: name, "text-anchor": "end", "font-size": letter }, words.picture.right(p.tolerance));
  return [label("label under"), label("label")];
}
