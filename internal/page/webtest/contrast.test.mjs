// Contrasts of the style sheet, by the formula of WCAG 2.2 (relative luminance and
// contrast ratio, in its glossary).

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

function luminance(hex) {
  const full = hex.length === 4 ? hex.replace(/[0-9a-f]/gi, "$&$&") : hex;
  const [r, g, b] = [1, 3, 5].map((i) => {
    const c = parseInt(full.slice(i, i + 2), 16) / 255;
    return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

function contrast(a, b) {
  const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p);
  return (x + 0.05) / (y + 0.05);
}

test("the formula, against published values", () => {
  for (const [a, b, want] of [["#000", "#fff", 21], ["#767676", "#fff", 4.54], ["#777", "#fff", 4.48], ["#949494", "#fff", 3.03], ["#f00", "#fff", 4.0], ["#008000", "#fff", 5.14], ["#f00", "#008000", 1.28]]) {
    assert.equal(contrast(a, b).toFixed(2), want.toFixed(2), `${a} on ${b}`);
  }
});

const css = readFileSync(new URL("../web/style.css", import.meta.url), "utf8");
const roots = [...css.matchAll(/:root \{([^}]*)\}/g)].map((m) => Object.fromEntries([...m[1].matchAll(/--([a-z-]+): (#[0-9a-f]{6});/g)].map((n) => [n[1], n[2]])));
const schemes = { light: roots[0], dark: { ...roots[0], ...roots[1] } };

test("both schemes give every colour", () => {
  assert.equal(roots.length, 2);
  assert.deepEqual(Object.keys(roots[1]).sort(), Object.keys(roots[0]).sort());
  const body = css.replace(/:root \{[^}]*\}/g, "").replace(/@media \(forced-colors[^]*/, "");
  assert.doesNotMatch(body, /: #[0-9a-f]{3}/, "colours have names");
});

for (const [scheme, c] of Object.entries(schemes)) {
  test(`${scheme}: text has 4.5 to 1 (SC 1.4.3)`, () => {
    for (const [text, ground] of [["ink", "paper"], ["ink", "card"], ["soft", "paper"], ["soft", "card"], ["accent", "paper"], ["accent", "card"], ["on-accent", "accent"], ["ink", "band"], ["on-sheet", "sheet"], ["right", "card"], ["wrong", "card"], ["unknown", "card"]]) {
      const k = contrast(c[text], c[ground]);
      assert.ok(k >= 4.5, `${text} on ${ground}: ${k.toFixed(2)}`);
    }
  });
  test(`${scheme}: controls, marks and lines have 3 to 1 (SC 1.4.11)`, () => {
    for (const [part, ground] of [["line", "paper"], ["line", "card"], ["edge", "card"], ["edge", "band"], ["voice", "card"], ["voice", "band"], ["wrong", "band"], ["wrong", "paper"], ["focus", "paper"], ["focus", "card"], ["accent", "card"]]) {
      const k = contrast(c[part], c[ground]);
      assert.ok(k >= 3, `${part} on ${ground}: ${k.toFixed(2)}`);
    }
  });
}
