// What runs on the browser's thread of audio: an ear that hands on what the microphone
// gives, and a mouth that plays what it is handed. Both talk with the engine's worker
// over ports of their own, so that a page that is busy loses no sound and parts none.

/* global sampleRate, currentFrame, registerProcessor, AudioWorkletProcessor */

/** How many samples go to the engine at once: some 20 ms. */
const blockSize = 1024;

/**
 * Ear sends {at, x}: a block of mono samples, and the frame of the context that its
 * first one is. Where the microphone gives nothing no frame is sent, and the engine
 * counts what is missing.
 */
class Ear extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Float32Array(blockSize);
    this.n = 0;
    this.at = 0;
    this.to = null;
    this.port.onmessage = (e) => {
      this.to = e.data.port;
    };
  }

  process(inputs) {
    const x = inputs[0][0];
    if (!this.to) return true;
    if (!x || this.n > 0 && currentFrame !== this.at + this.n) this.send(); // a gap: what is there goes first
    if (!x) return true;
    for (let i = 0; i < x.length; ) {
      if (this.n === 0) this.at = currentFrame + i;
      const k = Math.min(x.length - i, blockSize - this.n);
      this.block.set(x.subarray(i, i + k), this.n);
      this.n += k;
      i += k;
      if (this.n === blockSize) this.send();
    }
    return true;
  }

  send() {
    if (this.n === 0) return;
    const x = this.n === blockSize ? this.block : this.block.slice(0, this.n);
    this.to.postMessage({ at: this.at, x }, [x.buffer]);
    this.block = new Float32Array(blockSize);
    this.n = 0;
  }
}

/** How long, in seconds, it takes to fall silent in the middle of a sound. */
const fade = 0.008;

/**
 * Mouth plays {sound} (mono samples) one right behind the other, answers {tell} with
 * {played} when all that came before has been played, and falls silent on {stop}. What
 * the page says of the {latency} it hands on.
 */
class Mouth extends AudioWorkletProcessor {
  constructor() {
    super();
    /** @type {({x: Float32Array} | {tell: number})[]} */
    this.queue = [];
    this.place = 0;
    this.falling = 0; // frames of the fade that are left
    this.from = null;
    this.port.onmessage = (e) => {
      if (!e.data.port) {
        this.from?.postMessage(e.data); // of the page, for the engine
        return;
      }
      this.from = e.data.port;
      this.from.onmessage = (m) => this.take(m.data);
    };
  }

  take(m) {
    if (m.sound) this.queue.push({ x: m.sound });
    else if (m.tell) this.queue.push({ tell: m.tell });
    else if (m.stop) {
      const sounds = this.queue.length > 0 && "x" in this.queue[0];
      this.queue = sounds ? [this.queue[0]] : [];
      this.falling = sounds ? Math.round(fade * sampleRate) : 0;
    }
  }

  process(_, outputs) {
    const out = outputs[0][0];
    let i = 0;
    while (this.queue.length > 0) {
      const next = this.queue[0];
      if ("tell" in next) {
        if (i < out.length && i > 0) break; // the last of it is in this block
        this.from.postMessage({ played: next.tell });
        this.queue.shift();
        continue;
      }
      const k = Math.min(out.length - i, next.x.length - this.place);
      out.set(next.x.subarray(this.place, this.place + k), i);
      i += k;
      this.place += k;
      if (this.place === next.x.length) {
        this.queue.shift();
        this.place = 0;
      }
      if (i === out.length) break;
    }
    if (this.falling > 0) this.fall(out);
    for (let c = 1; c < outputs[0].length; c++) outputs[0][c].set(out);
    return true;
  }

  /** fall fades what plays, and forgets the rest of it. */
  fall(out) {
    const all = Math.round(fade * sampleRate);
    for (let i = 0; i < out.length; i++) {
      out[i] *= Math.max(0, this.falling) / all;
      this.falling--;
    }
    if (this.falling <= 0) {
      this.falling = 0;
      this.queue = this.queue.slice(1);
      this.place = 0;
    }
  }
}

registerProcessor("singback-ear", Ear);
registerProcessor("singback-mouth", Mouth);
