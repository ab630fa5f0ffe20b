// Files sent to a WebDAV folder (RFC 4918), whole or in pieces that go on where they were
// left: the same names and the same order as the program has, see internal/handin, so
// that what one began the other ends.

/**
 * @typedef {{status: number, text: () => Promise<string>, body: ReadableStream<Uint8Array<ArrayBuffer>> | null, why?: {kind: string, text: string}}} Answer
 * @typedef {(method: string, name: string, headers: Record<string, string>, body: Blob | string | undefined, signal: AbortSignal) => Promise<Answer>} Way
 * @typedef {{name: string, folder: boolean, size: number}} Entry
 * @typedef {{name: string, pieces: number, there: boolean, compared: boolean}} Sent
 * @typedef {{done: number, total: number, wait?: number, why?: Trouble}} Progress
 */

const block = 1 << 20;
const usual = 4 * block;
const most = 999;
const sizes = [1, 4, 16, 64, 256, 1024].map((n) => n * block);

/** Seconds between tries. */
const waits = [1, 2, 4, 8, 16];

/** Trouble is what went wrong: a kind by which its sentence is found. */
export class Trouble extends Error {
  /** @param {string} kind @param {number} [status] @param {string} [text] */
  constructor(kind, status = 0, text = "") {
    super(text || kind);
    this.kind = kind;
    this.status = status;
    this.text = text;
  }

  /** passes tells whether it may be over in a while. */
  passes() {
    return this.kind === "gone" || this.kind === "locked" || (this.kind === "failed" && (this.status === 0 || this.status >= 500 || this.status === 429 || this.status === 408));
  }
}

const kinds = /** @type {Record<number, string>} */ ({
  401: "password", 403: "forbidden", 404: "no-folder", 409: "no-folder", 410: "no-folder", 412: "taken", 413: "too-large", 423: "locked", 507: "full", 405: "not-allowed", 501: "not-allowed",
});

/** kindOf says what an answer means that is no success. @param {string} method @param {number} status */
export function kindOf(method, status) {
  if (method === "PROPFIND" && (status < 300 || [400, 405, 415, 501].includes(status))) return "not-webdav";
  if (status >= 300 && status < 400) return "elsewhere";
  return kinds[status] ?? "failed";
}

/** safeName is the name that a file gets in the folder. @param {string} given */
export function safeName(given) {
  let name = given.replace(/^.*[/\\]/s, "").replace(/[\s\p{Zl}\p{Zp}]/gu, " ").replace(/[\p{Cc}\p{Cf}\p{Co}\p{Cs}]/gu, "").normalize("NFC");
  name = name.replace(/^[ .]+|[ .]+$/g, "");
  if (parsePiece(name)) name = name.replace(/part$/, "piece");
  const bytes = (/** @type {string} */ s) => new TextEncoder().encode(s).length;
  if (bytes(name) > 180) {
    let [stem, ending] = parted(name);
    if (bytes(ending) > 16) [stem, ending] = [name, ""];
    const letters = [...stem];
    while (bytes(letters.join("")) > 180 - bytes(ending)) letters.pop();
    name = letters.join("").replace(/[ .]+$/, "") + ending;
  }
  return name || "unnamed";
}

/** parted is a name before its ending, and the ending. @param {string} name @returns {[string, string]} */
function parted(name) {
  const at = name.lastIndexOf(".");
  return at < 0 ? [name, ""] : [name.slice(0, at), name.slice(at)];
}

/** numbered is the k-th name for a file, from 1 on. @param {string} name @param {number} k */
export function numbered(name, k) {
  const [stem, ending] = parted(name);
  return k === 1 ? name : `${stem}-${k}${ending}`;
}

/** @param {number} size @param {number} piece */
const count = (size, piece) => Math.max(1, Math.ceil(size / piece));

/** pieceName is the name of a piece. @param {string} name @param {string} id @param {number} size @param {number} i @param {number} of */
export function pieceName(name, id, size, i, of) {
  const three = (/** @type {number} */ n) => String(n).padStart(3, "0");
  return `${name}.${id}-${size}.${three(i)}-of-${three(of)}.part`;
}

/** parsePiece reads the name of a piece; null where it is none. @param {string} name */
export function parsePiece(name) {
  const m = /^(.+)\.([0-9a-f]{16})-([0-9]{1,13})\.([0-9]{3})-of-([0-9]{3})\.part$/su.exec(name);
  if (!m) return null;
  const p = { name: m[1], id: m[2], size: Number(m[3]), i: Number(m[4]), of: Number(m[5]) };
  return p.i >= 1 && p.i <= p.of && String(p.size) === m[3] && lengthOf(p.size, p.i, p.of) >= 0 ? p : null;
}

/** lengthOf is how many bytes a piece has; -1 where there is no such. @param {number} size @param {number} i @param {number} of */
function lengthOf(size, i, of) {
  const each = sizes.find((s) => count(size, s) === of);
  return each === undefined ? -1 : Math.min(each, size - (i - 1) * each);
}

/** @param {ArrayBuffer | Uint8Array<ArrayBuffer>} bytes */
const sha256 = async (bytes) => new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));

/** idOf is the ID of a file whose blocks have these hashes. @param {Uint8Array[]} hashes */
async function idOf(hashes) {
  const all = new Uint8Array(hashes.length * 32);
  hashes.forEach((h, i) => all.set(h, i * 32));
  return [...(await sha256(all)).slice(0, 8)].map((b) => b.toString(16).padStart(2, "0")).join("");
}

/** idOfBlob is the ID of what a file holds, read a block at a time. @param {Blob} file @param {AbortSignal} [signal] */
export async function idOfBlob(file, signal) {
  const hashes = [];
  for (let at = 0; at < file.size; at += block) {
    signal?.throwIfAborted();
    hashes.push(await sha256(await file.slice(at, at + block).arrayBuffer()));
  }
  return idOf(hashes);
}

/** idOfStream is the ID of what comes; "" where it is of another size. @param {ReadableStream<Uint8Array<ArrayBuffer>> | null} stream @param {number} size */
async function idOfStream(stream, size) {
  const hashes = [];
  const buffer = new Uint8Array(Math.min(block, size + 1));
  let held = 0, read = 0;
  const reader = stream?.getReader();
  for (let next = await reader?.read(); next && !next.done; next = await reader?.read()) {
    let part = next.value;
    read += part.length;
    if (read > size) {
      await reader?.cancel();
      return "";
    }
    while (part.length > 0) {
      const n = Math.min(part.length, buffer.length - held);
      buffer.set(part.subarray(0, n), held);
      part = part.subarray(n);
      held += n;
      if (held === block) {
        hashes.push(await sha256(buffer));
        held = 0;
      }
    }
  }
  if (held > 0) hashes.push(await sha256(buffer.slice(0, held)));
  return read === size ? idOf(hashes) : "";
}

const wanted = '<?xml version="1.0" encoding="utf-8"?>\n<propfind xmlns="DAV:"><prop><resourcetype/><getcontentlength/></prop></propfind>\n';

/**
 * entriesOf reads the answer to a PROPFIND: each with its whole path as its name.
 * @param {Document} xml @param {string} base address of the folder
 * @returns {Entry[]}
 */
export function entriesOf(xml, base) {
  const dav = (/** @type {Element | Document} */ e, /** @type {string} */ name) => [...e.getElementsByTagNameNS("DAV:", name)];
  return dav(xml, "response").flatMap((r) => {
    try {
      const path = decodeURIComponent(new URL(dav(r, "href")[0]?.textContent?.trim() || "%", base).pathname);
      const good = dav(r, "propstat").filter((p) => / 200/.test(dav(p, "status")[0]?.textContent ?? " 200"));
      const length = good.map((p) => dav(p, "getcontentlength")[0]?.textContent?.trim() ?? "").find((t) => /^\d+$/.test(t));
      return [{ name: path, folder: good.some((p) => dav(p, "collection").length > 0), size: length === undefined ? -1 : Number(length) }];
    } catch {
      return []; // an address that is none
    }
  });
}

/** Sender sends one file. */
export class Sender {
  /**
   * @param {Way} way @param {string} address of the folder
   * @param {File | Blob} file @param {string} name
   * @param {(p: Progress) => void} told
   * @param {AbortSignal} signal
   * @param {(seconds: number, signal: AbortSignal) => Promise<void>} [pause]
   */
  constructor(way, address, file, name, told, signal, pause = rest) {
    this.way = way;
    this.address = address;
    this.file = file;
    this.name = safeName(name);
    this.told = told;
    this.signal = signal;
    this.pause = pause;
    this.piece = usual;
    this.have = 0; // pieces that are there
    this.of = 0;
    this.id = "";
  }

  /** ask makes a request, and hands out its answer where it is a success. @param {string} method @param {string} name @param {Record<string, string>} [headers] @param {Blob | string} [body] */
  async ask(method, name, headers = {}, body = undefined) {
    this.signal.throwIfAborted();
    const answer = await this.way(method, name, headers, body, this.signal);
    if (answer.why) throw new Trouble(answer.why.kind, 0, answer.why.text);
    if (answer.status < 200 || answer.status > 299 || (method === "PROPFIND" && answer.status !== 207)) throw new Trouble(kindOf(method, answer.status), answer.status);
    return answer;
  }

  /**
   * again does something until it succeeds, fails for good, or has failed too often.
   * @template T
   * @param {(tries: number) => Promise<T>} does @param {number} done
   * @returns {Promise<T>}
   */
  async again(does, done) {
    for (let tries = 0; ; tries++) {
      try {
        return await does(tries);
      } catch (e) {
        const last = e instanceof Trouble && e.status === 500 ? 2 : waits.length;
        if (!(e instanceof Trouble) || !e.passes() || tries >= last) throw e;
        this.told({ done, total: this.file.size, wait: waits[tries], why: e });
        await this.pause(waits[tries], this.signal);
      }
    }
  }

  /** find makes a PROPFIND. @param {string} name @param {"0" | "1"} depth */
  async find(name, depth) {
    const text = await (await this.ask("PROPFIND", name, { Depth: depth, "Content-Type": "application/xml" }, wanted)).text();
    const xml = new DOMParser().parseFromString(text, "application/xml");
    if (xml.documentElement.localName !== "multistatus") throw new Trouble("not-webdav", 207);
    return entriesOf(xml, this.address);
  }

  /** list is what lies in the folder. @returns {Promise<Entry[]>} */
  async list() {
    const all = await this.find("", "1");
    const plain = (/** @type {string} */ p) => p.replace(/\/+$/, "");
    let self = plain(decodeURIComponent(new URL(this.address).pathname));
    if (!all.some((e) => plain(e.name) === self)) self = plain(all.map((e) => e.name).reduce((a, b) => (b.length < a.length ? b : a), all[0]?.name ?? ""));
    return all.filter((e) => e.name.startsWith(`${self}/`)).map((e) => ({ ...e, name: plain(e.name.slice(self.length + 1)) })).filter((e) => e.name !== "" && !e.name.includes("/"));
  }

  /** send sends what is not there yet. @returns {Promise<Sent>} */
  async send() {
    this.id = await idOfBlob(this.file, this.signal);
    for (let tries = 1; ; tries++) {
      try {
        return await this.once();
      } catch (e) {
        if (e instanceof Trouble && e.kind === "taken" && tries < 10) continue; // by somebody else, since it was looked
        if (!(e instanceof Trouble) || e.kind !== "too-large" || this.piece === block || count(this.file.size, block) > most) throw e;
        this.piece = block;
      }
    }
  }

  /** @returns {Promise<Sent>} */
  async once() {
    const size = this.file.size;
    const there = (await this.again(() => this.list(), 0)).map((e) => ({ ...e, name: e.name.normalize("NFC") }));
    const name = await this.free(there);
    if (typeof name !== "string") return name;
    this.plan(name, there);
    let done = 0;
    const missing = [];
    this.have = 0;
    for (let i = 1; i <= this.of; i++) {
      const n = lengthOf(size, i, this.of);
      const as = pieceName(name, this.id, size, i, this.of);
      if (there.some((e) => e.name === as && !e.folder && e.size === n)) {
        this.have++;
        done += n;
      } else missing.push({ as, n, from: (i - 1) * lengthOf(size, 1, this.of) });
    }
    this.told({ done, total: size });
    for (const p of missing) {
      await this.one(p, done);
      done += p.n;
      this.have++;
      this.told({ done, total: size });
    }
    if (this.of > 1) return { name, pieces: this.of, there: false, compared: false };
    const as = pieceName(name, this.id, size, 1, 1);
    const compared = await this.compare(as);
    try {
      await this.named(as, name);
    } catch (e) {
      // Where nothing may be moved it stays a piece, which is joined like others.
      if (!(e instanceof Trouble) || !(["not-allowed", "forbidden"].includes(e.kind) || e.status === 502)) throw e;
      return { name, pieces: 1, there: false, compared };
    }
    return { name, pieces: 0, there: false, compared };
  }

  /** free is the first name that nothing else has, or says that the file is there. @param {Entry[]} there @returns {Promise<string | Sent>} */
  async free(there) {
    const size = this.file.size;
    const groups = grouped(there);
    for (let k = 1; ; k++) {
      const name = numbered(this.name, k);
      const whole = groups.filter((g) => g.name === name && g.have === g.of);
      const mine = whole.find((g) => g.id === this.id && g.size === size && g.of > 1);
      if (mine) return { name, pieces: mine.of, there: true, compared: false };
      let free = whole.every((g) => g.id === this.id);
      for (const e of there.filter((e) => e.name === name)) {
        if (!e.folder && (e.size === size || e.size < 0) && (await this.same(e.name))) return { name, pieces: 0, there: true, compared: true };
        free = false;
      }
      if (free) return name;
    }
  }

  /** same reads a file of the folder, and tells whether it holds the same. @param {string} name */
  same(name) {
    return this.again(async () => {
      const answer = await this.ask("GET", name);
      try {
        return (await idOfStream(answer.body, this.file.size)) === this.id;
      } catch (e) {
        this.signal.throwIfAborted();
        throw new Trouble("gone");
      }
    }, 0);
  }

  /** plan says in how many pieces the file goes: as it was begun, if it was. @param {string} name @param {Entry[]} there */
  plan(name, there) {
    if (count(this.file.size, this.piece) > most) throw new Trouble("too-large");
    this.of = count(this.file.size, this.piece);
    let bytes = 0;
    for (const g of grouped(there)) {
      if (g.name === name && g.id === this.id && g.size === this.file.size && g.bytes > bytes) [bytes, this.of] = [g.bytes, g.of];
    }
  }

  /** one sends a piece until it is there with its size. @param {{as: string, n: number, from: number}} p @param {number} done */
  one(p, done) {
    return this.again(async (tries) => {
      const size = async () => {
        try {
          return (await this.find(p.as, "0"))[0]?.size ?? -1;
        } catch (e) {
          if (e instanceof Trouble && e.kind === "no-folder") return -2;
          throw e;
        }
      };
      if (tries > 0 && (await size()) === p.n) return; // it has come after all
      await this.ask("PUT", p.as, { "Content-Type": "application/octet-stream" }, this.file.slice(p.from, p.from + p.n));
      const kept = await size();
      if (kept !== p.n && kept !== -1) throw new Trouble("failed", 500);
    }, done);
  }

  /** compare reads back what was sent as one piece; false where the server does not show it. @param {string} as */
  async compare(as) {
    try {
      if (await this.same(as)) return true;
    } catch (e) {
      if (e instanceof Trouble && ["forbidden", "not-allowed"].includes(e.kind)) return false;
      throw e;
    }
    throw new Trouble("other");
  }

  /** named gives a piece the file's own name. @param {string} as @param {string} name */
  named(as, name) {
    return this.again(async (tries) => {
      if (tries > 0) {
        const now = await this.list();
        if (!now.some((e) => e.name.normalize("NFC") === as) && now.some((e) => e.name.normalize("NFC") === name && e.size === this.file.size)) return;
      }
      await this.ask("MOVE", as, { Destination: new URL(encodeURIComponent(name), this.address).href, Overwrite: "F" });
    }, this.file.size);
  }
}

/** grouped puts pieces of one file together. @param {Entry[]} there */
function grouped(there) {
  /** @type {Map<string, {name: string, id: string, size: number, of: number, have: number, bytes: number}>} */
  const found = new Map();
  for (const e of there) {
    const p = parsePiece(e.name);
    if (!p || e.folder) continue;
    const key = `${p.name}\n${p.id}\n${p.size}\n${p.of}`;
    const g = found.get(key) ?? { name: p.name, id: p.id, size: p.size, of: p.of, have: 0, bytes: 0 };
    found.set(key, g);
    const n = lengthOf(p.size, p.i, p.of);
    if (e.size === n || e.size < 0) {
      g.have++;
      g.bytes += n;
    }
  }
  return [...found.values()];
}

/** rest waits, unless it is stopped. @param {number} seconds @param {AbortSignal} signal */
function rest(seconds, signal) {
  return new Promise((/** @type {(v?: any) => void} */ done, failed) => {
    const timer = setTimeout(done, seconds * 1000);
    signal.addEventListener("abort", () => {
      clearTimeout(timer);
      failed(signal.reason);
    }, { once: true });
  });
}

/** @param {string} text UTF-8, as base64 */
const base64 = (text) => btoa(String.fromCharCode(...new TextEncoder().encode(text)));

/**
 * direct is the way from this browser to the folder itself, where its server allows it.
 * The password goes there and nowhere else: nothing is followed.
 * @param {string} address @param {string} user @param {string} password
 * @returns {Way}
 */
export function direct(address, user, password) {
  return async (method, name, headers, body, signal) => {
    const to = new URL(encodeURIComponent(name), address);
    /** @type {Record<string, string>} */
    const all = { ...headers };
    if (user) all.Authorization = `Basic ${base64(`${user}:${password}`)}`;
    try {
      const got = await fetch(to, { method, headers: all, body, signal, mode: "cors", credentials: "omit", redirect: "manual", cache: "no-store", referrerPolicy: "no-referrer" });
      if (got.type === "opaqueredirect") return { status: 302, text: async () => "", body: null };
      return { status: got.status, text: () => got.text(), body: got.body };
    } catch (e) {
      signal.throwIfAborted();
      throw new Trouble("gone", 0, "blocked"); // a browser does not say why
    }
  };
}

/**
 * relayed is the way over singback on this computer, which sends only to the address that
 * it was started with.
 * @param {string} user @param {string} password
 * @returns {Way}
 */
export function relayed(user, password) {
  return async (method, name, headers, body, signal) => {
    /** @type {Record<string, string>} */
    const all = { "Content-Type": "application/octet-stream", "Singback-Method": method, "Singback-Name": encodeURIComponent(name), "Singback-User": encodeURIComponent(user), "Singback-Password": encodeURIComponent(password) };
    if (headers.Depth) all["Singback-Depth"] = headers.Depth;
    if (headers.Destination) all["Singback-As"] = /** @type {string} */ (headers.Destination.split("/").pop());
    try {
      const got = await fetch("data/handin", { method: "POST", headers: all, body, signal, cache: "no-store", redirect: "error" });
      const status = Number(got.headers.get("Singback-Status") ?? -1);
      if (status > 0) return { status, text: () => got.text(), body: got.body };
      const said = await got.json();
      return { status: 0, text: async () => "", body: null, why: { kind: said.kind ?? "failed", text: said.error ?? "" } };
    } catch (e) {
      signal.throwIfAborted();
      throw new Trouble("gone", 0, "singback");
    }
  };
}
