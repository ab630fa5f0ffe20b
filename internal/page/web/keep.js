// What the engine's worker keeps, in the browser's own database: the answers, a line
// each, and a few things by name. Everything is safe when its promise is kept: a
// transaction is over, and the browser was asked to write it through.

/* exported Keep */

/** Things that are kept by name: the profile, the course, who sings. */
const things = "things";
/** Answers, by session and number there. */
const answers = "answers";

class Keep {
  constructor() {
    /** @type {Promise<IDBDatabase> | null} */
    this.opening = null;
  }

  /** @returns {Promise<IDBDatabase>} */
  open() {
    this.opening ??= new Promise((done, failed) => {
      const request = indexedDB.open("singback", 1);
      request.onupgradeneeded = () => {
        request.result.createObjectStore(answers);
        request.result.createObjectStore(things);
      };
      request.onerror = () => {
        this.opening = null;
        failed(request.error);
      };
      request.onblocked = () => failed(new Error("another tab of this page is an older version: close it"));
      request.onsuccess = () => {
        const db = request.result;
        db.onversionchange = () => db.close();
        db.onclose = () => {
          this.opening = null;
        };
        done(db);
      };
    });
    return this.opening;
  }

  /**
   * within runs a transaction, and settles when it is over.
   * @template T
   * @param {string} store @param {IDBTransactionMode} mode
   * @param {(s: IDBObjectStore) => {value: T}} work
   * @returns {Promise<T>}
   */
  async within(store, mode, work) {
    const db = await this.open();
    return new Promise((done, failed) => {
      const tx = db.transaction(store, mode, { durability: "strict" });
      const result = work(tx.objectStore(store));
      tx.oncomplete = () => done(result.value);
      tx.onabort = () => failed(tx.error ?? new Error("the browser gave up writing"));
    });
  }

  /** add puts lines where there are none yet. @param {{session: string, number: number, line: string}[]} lines */
  add(lines) {
    return this.within(answers, "readwrite", (s) => {
      const result = { value: 0 };
      for (const l of lines) {
        const key = [l.session, l.number];
        s.getKey(key).onsuccess = (e) => {
          if (/** @type {IDBRequest} */ (e.target).result !== undefined) return;
          s.add(l.line, key);
          result.value++;
        };
      }
      return result;
    });
  }

  /** lines gives all of them, by session and number. */
  async lines() {
    const [keys, values] = await this.within(answers, "readonly", (s) => {
      const result = { value: [[], []] };
      s.getAllKeys().onsuccess = (e) => {
        result.value[0] = /** @type {any} */ (e.target).result;
      };
      s.getAll().onsuccess = (e) => {
        result.value[1] = /** @type {any} */ (e.target).result;
      };
      return result;
    });
    return keys.map((k, i) => ({ session: k[0], number: k[1], line: values[i] }));
  }

  /** @param {string} name */
  get(name) {
    return this.within(things, "readonly", (s) => {
      const result = { value: "" };
      s.get(name).onsuccess = (e) => {
        result.value = /** @type {any} */ (e.target).result ?? "";
      };
      return result;
    });
  }

  /** @param {string} name @param {string} value */
  put(name, value) {
    return this.within(things, "readwrite", (s) => {
      s.put(value, name);
      return { value: true };
    });
  }

  /** clear deletes everything. */
  async clear() {
    for (const store of [answers, things]) {
      await this.within(store, "readwrite", (s) => {
        s.clear();
        return { value: true };
      });
    }
  }
}
