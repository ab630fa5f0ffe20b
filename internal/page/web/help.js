// Help: the page's own in short, and the handbook.

import { el, paragraphs, show } from "./dom.js";
import { keyList } from "./parts.js";
import { words } from "./words.js";

export class HelpScreen {
  /** @param {import("./app.js").App} app @param {string} topic of the handbook, "" for the short help */
  constructor(app, topic) {
    this.app = app;
    this.title = words.screens.help;
    this.book = el("div", { class: "book" }, el("p", { text: words.loading }));
    this.container = el("div", { class: "about" });
    if (/^[a-z]+$/.test(topic)) {
      show(this.container, el("p", {}, el("a", { href: "#help", text: words.help.back })), this.book);
      this.read(topic);
      return;
    }
    show(this.container, el("h1", { tabindex: "-1", text: this.title }),
      ...words.help.short.map((s) => el("section", {}, el("h2", { text: s.heading }), ...paragraphs(s.lines))),
      el("section", {}, el("h2", { text: words.keys.heading }), keyList([...words.keys.drill, ...words.keys.ended.slice(0, 1), ...words.keys.name])),
      el("section", {}, el("h2", { text: words.help.handbook }), this.book));
    this.topics();
  }

  async topics() {
    try {
      const got = await fetch("help/topics.json");
      if (!got.ok) throw new Error(String(got.status));
      /** @type {{name: string, about: string}[]} */
      const topics = await got.json();
      show(this.book, el("ul", { class: "links" }, ...topics.map((t) => el("li", {}, el("a", { href: `#help?topic=${t.name}` }, el("b", { text: t.name }), el("span", { text: t.about }))))));
    } catch {
      show(this.book, el("p", { text: words.help.noHandbook }));
    }
  }

  /** @param {string} topic */
  async read(topic) {
    try {
      const got = await fetch(`help/${topic}.md`);
      if (!got.ok) throw new Error(String(got.status));
      show(this.book, ...markdown(await got.text()));
    } catch {
      show(this.book, el("h1", { tabindex: "-1", text: this.title }), el("p", { text: words.help.noHandbook }));
    }
  }
}

/**
 * markdown sets a topic: headings, paragraphs, lists, tables, blocks of four blanks,
 * code and links.
 * @param {string} text
 * @returns {HTMLElement[]}
 */
export function markdown(text) {
  /** @type {HTMLElement[]} */
  const out = [];
  for (const block of blocks(text)) {
    const heading = /^(#{1,4}) (.*)$/.exec(block[0]);
    if (heading) out.push(el(/** @type {"h1"} */ (`h${heading[1].length}`), heading[1].length === 1 ? { tabindex: "-1" } : {}, ...inline(heading[2])));
    else if (block[0].startsWith("    ")) out.push(el("pre", { tabindex: "0", text: block.map((l) => l.slice(4)).join("\n") }));
    else if (block[0].startsWith("|")) out.push(rows(block));
    else if (/^(- |\d+\. )/.test(block[0])) out.push(list(block));
    else out.push(el("p", {}, ...inline(block.join(" "))));
  }
  return out;
}

/**
 * blocks are the lines that belong together; a block of code keeps its empty lines.
 * @param {string} text
 * @returns {string[][]}
 */
export function blocks(text) {
  /** @type {string[][]} */
  const all = [];
  let empty = true;
  for (const line of text.split("\n")) {
    const last = all.at(-1);
    const code = line.startsWith("    ");
    if (!line.trim()) {
      empty = true;
    } else if (last && code && last[0].startsWith("    ")) {
      if (empty) last.push("");
      last.push(line);
      empty = false;
    } else if (empty || !last || line.startsWith("#") || last[0].startsWith("#")) {
      all.push([line]);
      empty = false;
    } else {
      last.push(line);
    }
  }
  return all;
}

/** @param {string[]} block */
function list(block) {
  /** @type {string[]} */
  const items = [];
  for (const line of block) {
    const item = /^(?:- |\d+\. )(.*)$/.exec(line);
    if (item) items.push(item[1]);
    else items[items.length - 1] += ` ${line.trim()}`;
  }
  return el(block[0].startsWith("- ") ? "ul" : "ol", {}, ...items.map((i) => el("li", {}, ...inline(i))));
}

/** @param {string[]} block */
function rows(block) {
  const [head, , ...body] = block.map((l) => l.replace(/^\||\|$/g, "").split(/(?<!\\)\|/).map((c) => c.trim().replaceAll("\\|", "|")));
  return el("div", { class: "scroll", tabindex: "0", role: "group" }, el("table", {},
    el("thead", {}, el("tr", {}, ...head.map((c) => (c ? el("th", { scope: "col" }, ...inline(c)) : el("td"))))),
    el("tbody", {}, ...body.map((r) => el("tr", {}, ...r.map((c) => el("td", {}, ...inline(c))))))));
}

/**
 * inline sets code, emphasis and links; a link to another topic is its address here,
 * and one that leads elsewhere is its text alone.
 * @param {string} text
 * @returns {(string | Node)[]}
 */
function inline(text) {
  return text.split(/(\x60[^\x60]+\x60|\*\*[^*]+\*\*|\*[^*\s][^*]*\*|\[[^\]]+\]\([^)]+\))/).map((s) => {
    if (/^`.+`$/.test(s)) return el("code", { text: s.slice(1, -1) });
    if (/^\*\*.+\*\*$/.test(s)) return el("strong", { text: s.slice(2, -2) });
    if (/^\*.+\*$/.test(s)) return el("em", { text: s.slice(1, -1) });
    const link = /^\[([^\]]+)\]\(([a-z]+)\.md[^)]*\)$/.exec(s);
    if (link) return el("a", { href: `#help?topic=${link[2]}`, text: link[1] });
    return s.replace(/^\[([^\]]+)\]\([^)]+\)$/, "$1");
  });
}
