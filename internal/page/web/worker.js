// The worker in which the engine runs. It unpacks and starts the engine, connects it
// with the sound and with what is kept, and sees to it that of several tabs one records.

/* global importScripts, Keep, loosen */

/**
 * What the engine and this script call each other by: see internal/page/engine/wasm.
 * @type {any}
 */
const engineSide = self;

importScripts("wasm_exec.js", "xz-decompress.js", "tight.js", "keep.js");

/** Of several tabs the one that holds this lock records. */
const recordLock = "singback-record";

const keep = new Keep();
let records = false; // this tab holds the lock

/** What the engine calls; see internal/page/engine/wasm. */
engineSide.singbackPost = (text) => {
  const message = JSON.parse(text);
  if (message.is === "ready") {
    if (!records) message.known.recording = "other-tab";
    ready = true;
    for (const m of waiting.splice(0)) take(m);
  }
  postMessage(message);
};

/** @type {MessagePort | null} */
let mouth = null;
engineSide.singbackPlay = (bytes) => {
  const sound = new Float32Array(bytes.buffer);
  mouth?.postMessage({ sound }, [sound.buffer]);
};
engineSide.singbackTell = (tell) => mouth?.postMessage({ tell });
engineSide.singbackSilence = () => mouth?.postMessage({ stop: true });

/** An error of the storage, with the name by which the engine knows it. */
function refused(why, name) {
  const e = new Error(why);
  e.name = name ?? "Error";
  return e;
}

const otherTab = "singback is open in another tab, which records: close one of them";

engineSide.singbackKeep = async (what, ...with_) => {
  try {
    switch (what) {
      case "add":
        if (!records) throw refused(otherTab);
        return await keep.add(JSON.parse(with_[0]));
      case "lines":
        return JSON.stringify(await keep.lines());
      case "get":
        return await keep.get(with_[0]);
      case "put":
        if (!records) throw refused(otherTab);
        return await keep.put(with_[0], with_[1]);
      case "clear":
        if (!records) throw refused(otherTab);
        return await keep.clear();
    }
    throw refused(`the storage does not know ${what}`);
  } catch (thrown) {
    /** @type {any} */
    const e = thrown;
    const full = e?.name === "QuotaExceededError";
    throw refused(full ? "there is no space left in this browser: free some on this device" : `the browser keeps nothing of this page (${e?.message ?? e}): leave private browsing, or allow the page to store data`, e?.name);
  }
};

engineSide.singbackFetch = async (method, path, body, etag) => {
  if (method !== "GET" && !records) throw refused(otherTab);
  const headers = {};
  if (body) headers["Content-Type"] = path === "data/profile" ? "application/toml" : path === "data/record" ? "text/csv" : "application/x-ndjson";
  if (etag) headers["If-None-Match"] = etag;
  const answer = await fetch(path, { method, headers, body: body || undefined, cache: "no-store", redirect: "error" });
  return { status: answer.status, text: await answer.text(), etag: answer.headers.get("ETag") ?? "" };
};

/** hear hands a message of the page to the engine. */
function hear(m) {
  if (m.do === "sound") sound(m);
  else engineSide.singbackDo(JSON.stringify(m));
}

/** How late, in seconds, what the worklet plays is heard. */
let latency = 0;

/** sound connects the engine with the loudspeaker and the microphone. */
function sound(m) {
  mouth = m.speaker;
  latency = 0;
  const port = m.speaker;
  port.onmessage = (/** @type {MessageEvent} */ e) => {
    if (e.data.latency === undefined) engineSide.singbackPlayed(e.data.played);
    else engineSide.singbackLatency(latency = e.data.latency);
  };
  tap?.cancel().catch(() => {});
  tap = null;
  if (m.mic && !(m.mic instanceof MessagePort)) {
    // What is said meanwhile waits, until the stream has told its rate.
    ready = false;
    const from = m.mic.getReader();
    tap = from;
    listen(from, m).catch((e) => trouble("engine", `The microphone cannot be heard (${e.message}): load the page again.`));
    return;
  }
  engineSide.singbackSound(m.rate, m.mic ? m.rate : 0);
  engineSide.singbackLatency(latency);
  if (m.mic) {
    m.mic.onmessage = (e) => {
      const x = e.data.x;
      engineSide.singbackHeard(e.data.at, new Uint8Array(x.buffer, x.byteOffset, x.byteLength));
    };
  }
}

/**
 * What the microphone gives, where it is a stream.
 * @type {ReadableStreamDefaultReader<any> | null}
 */
let tap = null;

/** How long, in milliseconds, a stream may take until it gives something. */
const streamPatience = 2000;

/** How late, in seconds, sound may come before what lies between is lost: computers are sometimes busy. */
const busy = 0.5;

/**
 * listen hands what a stream gives to the engine, as long as no other one has taken its
 * place.
 * @param {ReadableStreamDefaultReader<any>} from
 */
async function listen(from, m) {
  let late;
  const first = from.read();
  const came = await Promise.race([first, new Promise((done) => { late = setTimeout(done, streamPatience); })]);
  clearTimeout(late);
  if (from !== tap) return;
  const rate = came?.value?.sampleRate ?? m.rate;
  engineSide.singbackSound(m.rate, rate);
  engineSide.singbackLatency(latency);
  ready = true;
  for (const w of waiting.splice(0)) take(w);
  let at = 0; // frame that comes next
  let began = NaN; // when frame 0 was, in microseconds
  for (let next = came ?? await first; !next.done && from === tap; next = await from.read()) {
    const sound = next.value;
    if (sound.sampleRate !== rate) throw new Error("its rate has changed");
    if (at === 0) began = sound.timestamp;
    const missing = (sound.timestamp - began) / 1e6 - at / rate;
    if (missing > busy) at += Math.round(missing * rate);
    const x = mono(sound);
    sound.close();
    engineSide.singbackHeard(at, new Uint8Array(x.buffer));
    at += x.length;
  }
}

/** mono is the mean of the channels. */
function mono(sound) {
  const x = new Float32Array(sound.numberOfFrames);
  sound.copyTo(x, { planeIndex: 0, format: "f32-planar" });
  const channels = sound.numberOfChannels;
  if (channels === 1) return x;
  const y = new Float32Array(x.length);
  for (let c = 1; c < channels; c++) {
    sound.copyTo(y, { planeIndex: c, format: "f32-planar" });
    for (let i = 0; i < x.length; i++) x[i] += y[i];
  }
  for (let i = 0; i < x.length; i++) x[i] /= channels;
  return x;
}

let ready = false;
/** @type {any[]} */
const waiting = [];
self.onmessage = (e) => take(e.data);

/** take hands a message of the page on, or has it wait until the engine is ready. @param {any} m */
function take(m) {
  if (ready) hear(m);
  else waiting.push(m);
}

/** trouble tells the page that the engine cannot run. */
function trouble(code, text) {
  postMessage({ is: "trouble", code, text });
}

/** lock holds the lock of the tab that records, now or as soon as the others are gone. */
function lock() {
  if (!navigator.locks) {
    records = true; // a browser without locks: nobody else can be asked
    return Promise.resolve();
  }
  return new Promise((/** @type {(v?: any) => void} */ known) => {
    navigator.locks.request(recordLock, { ifAvailable: true }, (got) => {
      if (!got) {
        known();
        later();
        return undefined;
      }
      records = true;
      known();
      return new Promise(() => {}); // held as long as the worker lives
    });
  });
}

/** later takes the lock when the other tabs are gone, and says so. */
function later() {
  navigator.locks.request(recordLock, () => {
    records = true;
    postMessage({ is: "notice", text: "The other tab was closed: this one records from now on." });
    postMessage({ is: "records" });
    return new Promise(() => {});
  });
}

async function run() {
  const home = await (await fetch("home.json", { cache: "no-cache" })).json();
  engineSide.singbackHome = home.home;
  engineSide.singbackVersion = home.version;
  await lock();
  const go = new engineSide.Go();
  const packed = await fetch("engine.wasm.xz");
  if (!packed.ok) throw new Error(`the engine is missing (status ${packed.status})`);
  const unpacked = new engineSide["xz-decompress"].XzReadableStream(packed.body);
  const parts = [], reader = unpacked.getReader();
  for (let part = await reader.read(); !part.done; part = await reader.read()) parts.push(part.value);
  const tight = new Uint8Array(await new Blob(parts).arrayBuffer());
  const engine = await WebAssembly.instantiate(loosen(tight), go.importObject);
  go.run(engine.instance).then(() => {
    throw new Error("the engine has stopped"); // reaches the page as the worker's error
  });
}

run().catch((e) => trouble("engine", `The engine could not be started (${e.message}). Load the page again; if that does not help, use a newer browser.`));
