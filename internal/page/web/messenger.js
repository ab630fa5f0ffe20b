// The page's end of the line to the engine, which runs in a worker.

/**
 * Messenger numbers what is called and settles a promise for each; all that wait
 * fail when the worker dies.
 */
export class Messenger {
  /**
   * @param {() => Worker} open
   * @param {(message: any) => void} on every message but replies
   * @param {(why: string) => void} died
   */
  constructor(open, on, died) {
    this.open = open;
    this.on = on;
    this.died = died;
    this.number = 0;
    /** @type {Map<number, {done: (v: any) => void, failed: (e: Error) => void}>} */
    this.waiting = new Map();
    /** @type {Worker | null} */
    this.worker = null;
    this.start();
  }

  /** start opens a worker, in the place of one that died. */
  start() {
    this.worker?.terminate();
    const worker = this.open();
    this.worker = worker;
    worker.onmessage = (e) => {
      if (worker === this.worker) this.take(e.data);
    };
    worker.onerror = (e) => {
      e.preventDefault();
      if (worker === this.worker) this.lose(e.message);
    };
    worker.onmessageerror = () => {
      if (worker === this.worker) this.lose("");
    };
  }

  /** @param {any} message */
  take(message) {
    if (message?.is !== "reply") {
      if (message?.is === "trouble" && message.code === "engine") this.fail(message.text);
      this.on(message);
      return;
    }
    const call = this.waiting.get(message.id);
    if (!call) return;
    this.waiting.delete(message.id);
    if (typeof message.error === "string") call.failed(new Error(message.error));
    else call.done(message.value);
  }

  /** @param {string} why */
  lose(why) {
    this.worker?.terminate();
    this.worker = null;
    this.fail(why);
    this.died(why);
  }

  /** @param {string} why */
  fail(why) {
    const waiting = [...this.waiting.values()];
    this.waiting.clear();
    for (const call of waiting) call.failed(new Error(why));
  }

  /**
   * tell sends a message that has no reply.
   * @param {any} message
   * @param {Transferable[]} [ports]
   */
  tell(message, ports = []) {
    this.worker?.postMessage(message, ports);
  }

  /**
   * call asks something apart from drills.
   * @param {string} what
   * @param {any} [given]
   * @returns {Promise<any>}
   */
  call(what, given = {}) {
    if (!this.worker) return Promise.reject(new Error("the engine is not running"));
    const id = ++this.number;
    return new Promise((done, failed) => {
      this.waiting.set(id, { done, failed });
      this.tell({ do: "call", id, what, with: given });
    });
  }
}
