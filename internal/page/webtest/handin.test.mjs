// Files sent to a folder that is played here: what comes to lie there, whatever goes wrong.
// The names and IDs are those of the program: internal/handin tests the same table.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

import { bytes } from "../web/handin.js";
import { Sender, Trouble, direct, entriesOf, idOfBlob, kindOf, numbered, parsePiece, pieceName, relayed, safeName } from "../web/handin-send.js";

const table = JSON.parse(readFileSync(new URL("handin.json", import.meta.url), "utf8"));

/** sound is n bytes that are no two times the same within 256, as the program's tests have them. */
function sound(n) {
  const b = new Uint8Array(n);
  for (let i = 0, x = 7; i < n; i++) {
    x = (Math.imul(x, 1664525) + 1013904223) >>> 0;
    b[i] = x >>> 24;
  }
  return b;
}

test("names, pieces and IDs are the program's", async () => {
  for (const [given, want] of table.names) assert.equal(safeName(given), want);
  for (const [name, k, want] of table.numbered) assert.equal(numbered(name, k), want);
  for (const [name, size, i, of] of table.pieces) {
    const p = parsePiece(name);
    assert.deepEqual([p.size, p.i, p.of], [size, i, of]);
    assert.equal(pieceName(p.name, p.id, size, i, of), name);
  }
  for (const name of table.no_pieces) assert.equal(parsePiece(name), null, name);
  for (const [n, id] of table.ids) assert.equal(await idOfBlob(new Blob([sound(n)])), id);
  assert.deepEqual([999, 1000, 120000, 1700000, 30e6, 2e9].map(bytes), ["999 bytes", "1.0 kB", "120 kB", "1.7 MB", "30 MB", "2.0 GB"]);
});

/** The part of a document that entriesOf reads, for a list of [path, size, is a folder]. */
const answered = (list) => {
  const e = (name, text, children = []) => ({ localName: name, textContent: text, children, getElementsByTagNameNS: (_, n) => all(children, n) });
  const all = (children, n) => children.flatMap((c) => [...(c.localName === n ? [c] : []), ...all(c.children, n)]);
  return e("", "", list.map(([path, size, folder]) => e("response", "", [e("href", path), e("propstat", "", [e("status", "HTTP/1.1 200 OK"), e("getcontentlength", String(size)), ...(folder ? [e("collection", "")] : [])])])));
};

test("a listing is read, and what is odd in it left out", () => {
  const got = entriesOf(answered([["/dav/", "", true], ["/dav/%C3%9Cbung%201.wav", 5], ["https://example.org/dav/b", 7], ["/dav/c%zz", 1], ["", 1]]), "https://example.org/dav/");
  assert.deepEqual(got, [{ name: "/dav/", folder: true, size: -1 }, { name: "/dav/Übung 1.wav", folder: false, size: 5 }, { name: "/dav/b", folder: false, size: 7 }]);
});

/** folder is a way to a folder in memory; `wrong` may answer before it does. */
function folder(wrong = () => undefined) {
  const files = new Map(), asked = [];
  const say = (status, text = "", body = null) => ({ status, text: async () => text, body });
  const list = (name, depth) => [["/dav/", "", true], ...[...files].map(([n, b]) => [`/dav/${encodeURIComponent(n)}`, b.size])].filter(([p], i) => depth === "1" || (name === "" ? i === 0 : p === `/dav/${encodeURIComponent(name)}`));
  const way = async (method, name, headers, body) => {
    asked.push(`${method} ${name}`);
    const bad = wrong(method, name, body, asked);
    if (bad) return typeof bad === "number" ? say(bad) : Promise.reject(bad);
    if (method === "PROPFIND") return name === "" || files.has(name) ? say(207, JSON.stringify(list(name, headers.Depth))) : say(404);
    if (method === "PUT") files.set(name, body);
    if (method === "GET") return say(200, "", files.get(name).stream());
    if (method === "MOVE") {
      const as = decodeURIComponent(headers.Destination.split("/").pop());
      if (files.has(as)) return say(412);
      files.set(as, files.get(name));
      files.delete(name);
    }
    return say(201);
  };
  globalThis.DOMParser = class {
    parseFromString(text) {
      return Object.assign(answered(JSON.parse(text)), { documentElement: { localName: "multistatus" } });
    }
  };
  return { way, files, asked };
}

const paused = [];
const send = (f, blob, name, signal = new AbortController().signal, told = () => {}) => new Sender(f.way, "https://example.org/dav/", blob, name, told, signal, async (s) => { paused.push(s); }).send();

test("a small file lies there under its name, and is never replaced", async () => {
  const f = folder();
  const la = new Blob(["la"]), fa = new Blob(["fa"]);
  assert.deepEqual(await send(f, la, "Ü 1.wav"), { name: "Ü 1.wav", pieces: 0, there: false, compared: true });
  assert.deepEqual(await send(f, la, "Ü 1.wav"), { name: "Ü 1.wav", pieces: 0, there: true, compared: true });
  assert.deepEqual(await send(f, fa, "Ü 1.wav"), { name: "Ü 1-2.wav", pieces: 0, there: false, compared: true });
  assert.deepEqual([...f.files.keys()], ["Ü 1.wav", "Ü 1-2.wav"]);
});

test("a large file lies there in pieces, and goes on where it was left", async () => {
  let breaks = 7;
  const f = folder((method, name) => (method === "PUT" && name.includes("002-of") && breaks-- > 0 ? new Trouble("gone") : undefined));
  const file = new Blob([sound((9 << 20) + 5)]);
  await assert.rejects(send(f, file, "take.wav"), (e) => e instanceof Trouble && e.kind === "gone");
  assert.deepEqual(paused.splice(0), [1, 2, 4, 8, 16]);
  f.asked.length = 0;
  const got = await send(f, file, "take.wav");
  assert.equal(got.pieces, 3);
  assert.deepEqual(f.asked.filter((a) => a.startsWith("PUT")).map((a) => /0+(\d)-of/.exec(a)[1]), ["2", "2", "3"]);
  const whole = new Blob([...f.files.keys()].sort().map((n) => f.files.get(n)));
  assert.deepEqual(new Uint8Array(await whole.arrayBuffer()), sound((9 << 20) + 5));
  assert.equal((await send(f, file, "take.wav")).there, true);
});

test("a server that takes little gets small pieces; one that moves nothing keeps one", async () => {
  const little = folder((method, _, body) => (method === "PUT" && body.size > 1 << 20 ? 413 : undefined));
  assert.equal((await send(little, new Blob([sound(3 << 20)]), "a")).pieces, 3);
  const still = folder((method) => (method === "MOVE" ? 405 : undefined));
  assert.deepEqual(await send(still, new Blob(["la"]), "a"), { name: "a", pieces: 1, there: false, compared: true });
});

test("each refusal is of its kind, and what passes is tried again", async () => {
  for (const [status, kind, tries] of [[401, "password", 1], [403, "forbidden", 1], [404, "no-folder", 1], [507, "full", 1], [413, "too-large", 2], [423, "locked", 6], [500, "failed", 3], [503, "failed", 6]]) {
    const f = folder((method) => (method === "PUT" ? status : undefined));
    await assert.rejects(send(f, new Blob(["la"]), "a"), (e) => e.kind === kind, String(status));
    assert.equal(f.asked.filter((a) => a.startsWith("PUT")).length, tries, String(status));
  }
  assert.equal(kindOf("PROPFIND", 405), "not-webdav");
  assert.equal(kindOf("PUT", 302), "elsewhere");
});

test("it stops at once", async () => {
  const f = folder();
  const stop = new AbortController();
  const going = send(f, new Blob([sound(9 << 20)]), "take.wav", stop.signal, (p) => p.done > 0 && stop.abort());
  await assert.rejects(going, (e) => e.name === "AbortError");
  assert.equal(f.asked.filter((a) => a.startsWith("PUT")).length, 1);
});

test("the password goes where it is to go, and nowhere else", async () => {
  const asked = [];
  globalThis.fetch = async (to, given) => {
    asked.push([String(to), given]);
    return new Response("", { status: 201, headers: { "Singback-Status": "207" } });
  };
  const signal = new AbortController().signal;
  await direct("https://example.org/dav/", "änna", "la ti")("PUT", "ü 1.wav", {}, "x", signal);
  await relayed("änna", "la ti")("PUT", "ü 1.wav", {}, "x", signal);
  assert.equal(asked[0][0], "https://example.org/dav/%C3%BC%201.wav");
  assert.equal(asked[0][1].headers.Authorization, `Basic ${Buffer.from("änna:la ti").toString("base64")}`);
  assert.deepEqual([asked[0][1].redirect, asked[0][1].credentials], ["manual", "omit"]);
  assert.equal(asked[1][0], "data/handin");
  assert.equal(asked[1][1].headers["Singback-Name"], "%C3%BC%201.wav");
  assert.deepEqual([asked[1][1].redirect, asked[1][1].headers["Singback-Password"]], ["error", "la%20ti"]);
});
