// What the desk asks the program, and what it is told.

import { words } from "./words.js";

/** What the flags of a take say, as the program numbers them. */
export const flag = { marked: 1, passed: 2, reviewed: 4, overruled: 8, late: 16, unread: 32, unsure: 64 };

/** An error of the program's: one sentence, and a code to go by. */
export class Refusal extends Error {
  /** @param {string} code @param {string} text @param {string} hint */
  constructor(code, text, hint) {
    super(hint ? `${text}; ${hint}` : text);
    this.code = code;
  }
}

/** MOST is how many answers are remembered. */
const MOST = 120;

export class Asker {
  /** @param {() => void} changed is called when another program changed the class */
  constructor(changed) {
    this.changed = changed;
    this.turn = 0;
    /** @type {Map<string, Promise<any>>} */
    this.known = new Map();
  }

  /** forget what was answered, since it may be otherwise now. */
  forget() {
    this.known.clear();
  }

  /**
   * get asks; the same question is asked once until it is forgotten.
   * @param {string} name
   * @param {Record<string, string | number>} [given]
   * @returns {Promise<any>}
   */
  get(name, given = {}) {
    const path = address(name, given);
    const before = this.known.get(path);
    if (before) {
      this.known.delete(path);
      this.known.set(path, before);
      return before;
    }
    const answer = this.fetch(path);
    this.known.set(path, answer);
    answer.catch(() => {
      if (this.known.get(path) === answer) this.known.delete(path);
    });
    for (const [old] of this.known) {
      if (this.known.size <= MOST) break;
      this.known.delete(old);
    }
    return answer;
  }

  /**
   * post does something once: what is sent again after the line broke has the same name.
   * @param {string} name
   * @param {Record<string, any>} record
   * @returns {Promise<any>}
   */
  async post(name, record) {
    const id = [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");
    const request = { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ id, ...record }) };
    try {
      return await this.fetch(`data/${name}`, request);
    } catch (e) {
      if (!(e instanceof Refusal) || e.code !== "offline") throw e;
      await new Promise((done) => setTimeout(done, 500));
      return this.fetch(`data/${name}`, request);
    }
  }

  /**
   * @param {string} path
   * @param {RequestInit} [request]
   * @returns {Promise<any>}
   */
  async fetch(path, request) {
    let got;
    try {
      got = await fetch(path, { cache: "no-store", ...request });
    } catch {
      throw new Refusal("offline", words.offline, "");
    }
    let record;
    try {
      record = await got.json();
    } catch {
      throw new Refusal("nonsense", words.nonsense, "");
    }
    if (!got.ok) throw new Refusal(record.code ?? "", record.error ?? words.nonsense, record.hint ?? "");
    if (typeof record.turn === "number") {
      const before = this.turn;
      this.turn = Math.max(before, record.turn);
      if (before && record.turn > before) {
        this.forget();
        this.changed();
      }
    }
    return record;
  }
}

/**
 * address is where something is asked.
 * @param {string} name
 * @param {Record<string, string | number>} given
 */
export function address(name, given) {
  const query = new URLSearchParams(Object.entries(given).filter(([, v]) => v !== "").map(([k, v]) => [k, String(v)]));
  return query.size ? `data/${name}?${query}` : `data/${name}`;
}
