// The way back from the tight form of the engine, in which it packs better, to what it
// is. The form is described in internal/page/lean/tight.go; lean/loosen.go goes the
// same way.

/* exported loosen */

// What the bytes from 0xe0 on stand for, before and after what differs.
const callPush = [0x20, 1, 0x41, 8, 0x6b, 0x22, 1, 0x24, 0, 0x20, 1, 0x42];
const callStore = [0x37, 3, 0, 0x41, 0, 0x10];
const callBack = [0x23, 0, 0x21, 1, 0x0d];
const jumpSet = [0x41];
const jumpGo = [0x21, 0, 0x0c];
const blockBegin = [2, 0x40];
const addressOf = [0x20, 1, 0xad, 0x42];
const addressAdd = [0x7c, 0xa7];
const loadOf = [0x20, 1, 0x29, 3];

/** The alignments of the loads and stores from 0x28 on. */
const alignments = [2, 3, 2, 3, 0, 0, 1, 1, 0, 0, 1, 1, 2, 2, 2, 3, 2, 3, 0, 1, 0, 1, 2];

/**
 * loosen returns the module that a tight form stands for. What is a module already stays
 * as it is.
 * @param {Uint8Array<ArrayBuffer>} b
 */
function loosen(b) {
  const mark = "tight\0\0\x01", head = 20, maxModule = 1 << 26;
  if (b[0] === 0 && b[1] === 0x61) return b; // "\0asm"
  const damaged = () => new Error("it is damaged");
  if (b.length < head || String.fromCharCode(...b.subarray(0, mark.length)) !== mark) throw damaged();
  const view = new DataView(b.buffer, b.byteOffset);
  const length = view.getUint32(8, true), checksum = view.getUint32(12, true);
  if (length > maxModule) throw damaged();
  const out = new Uint8Array(length);
  let at = head, to = 0; // where it reads, and where it writes

  function copy(n) {
    if (n > b.length - at || n > length - to) throw damaged();
    for (; n > 0; n--) out[to++] = b[at++];
  }
  function put(bytes) {
    for (let i = 0; i < bytes.length; i++) out[to++] = bytes[i];
  }
  function copyNumber() {
    while (b[at] > 127) out[to++] = b[at++];
    out[to++] = b[at++];
  }
  function read() {
    let v = 0;
    for (let shift = 0; ; shift += 7) {
      const c = b[at++];
      v |= (c & 127) << shift;
      if (!(c > 127)) return v >>> 0;
    }
  }
  function write(v) {
    for (v >>>= 0; v > 127; v >>>= 7) out[to++] = v | 128;
    out[to++] = v;
  }
  function signed(v) {
    for (v &= 0x7fffffff; v > 63; v >>= 7) out[to++] = v | 128;
    out[to++] = v;
  }
  function difference() {
    const v = read();
    return (v >>> 1) ^ -(v & 1);
  }
  function offset(by) {
    const v = read();
    return v << by | v >>> (32 - by);
  }

  // Of the function: its number, how many blocks are open, how many of those that its
  // table enters, which of these is next, and where each begins.
  let index = 0x1000, depth = 0, outer = -1, block = 0, starts = [];
  const next = () => starts[depth === outer ? block : block - 1] ?? 0;
  const place = () => signed((index << 16) + difference() + next());

  function body() {
    depth = block = 0;
    outer = -1;
    starts = [];
    const from = to;
    let kinds = read();
    write(kinds);
    for (; kinds > 0; kinds--) {
      copyNumber();
      copy(1);
    }
    while (depth >= 0) {
      if (at >= b.length || to > length) throw damaged();
      const op = b[at++];
      if (op < 0xe0 || op > 0xe5) instruction(op);
      else sequence(op);
    }
    const size = to - from;
    write(size);
    const written = out.slice(from + size, to);
    out.copyWithin(from + written.length, from, from + size);
    out.set(written, from);
    index++;
  }

  function sequence(op) {
    switch (op) {
      case 0xe0:
        put(callPush);
        place();
        put(callStore);
        copyNumber();
        put(callBack);
        return write(depth - 1);
      case 0xe1:
        out[to++] = 0x42;
        return place();
      case 0xe2:
        put(jumpSet);
        signed(difference() + next());
        put(jumpGo);
        return write(depth - 2);
      case 0xe3: {
        const n = read();
        if (n > length - to) throw damaged();
        depth += n;
        for (let i = 0; i < n; i++) put(blockBegin);
        return;
      }
      case 0xe4:
        put(addressOf);
        signed(offset(3));
        return put(addressAdd);
      case 0xe5:
        put(loadOf);
        return write(offset(3));
    }
  }

  function table() {
    const n = read();
    write(n);
    if (n > length - to) throw damaged();
    outer = depth;
    block = 0;
    starts = [];
    for (let i = 0, v = 0; i <= n; i++) {
      v += difference();
      if (i < n && v === starts.length) starts.push(i);
      write(v);
    }
  }

  function instruction(op) {
    out[to++] = op;
    switch (op) {
      case 0x0b: // end
        if (depth === outer) {
          block++;
          outer--;
        }
        depth--;
        return;
      case 0x20: case 0x21: case 0x22: case 0x23: case 0x24: case 0x10: case 0x41: case 0x42:
        return copyNumber();
      case 2: case 3: case 4: // block, loop, if
        depth++;
        return copy(1);
      case 0x0c: case 0x0d: // br, br_if
        return write(depth - read());
      case 0x0e: // br_table
        return table();
      case 0x11: // call_indirect
        copyNumber();
        return copyNumber();
      case 0x3f: case 0x40:
        return copy(1);
      case 0x43:
        return copy(4);
      case 0x44:
        return copy(8);
      case 0xfc:
        copy(1);
        if (b[at - 1] > 7) copy(b[at - 1] === 10 ? 2 : 1);
        return;
    }
    if (op >= 0x28 && op <= 0x3e) {
      const by = alignments[op - 0x28];
      out[to++] = by;
      write(offset(by));
    }
  }

  copy(view.getUint32(16, true));
  const functions = read();
  write(functions);
  for (let i = 0; i < functions; i++) body();
  copy(b.length - at);
  let sum = 0x811c9dc5; // FNV-1a
  for (let i = 0; i < length; i++) sum = Math.imul(sum ^ out[i], 0x01000193);
  if (to !== length || sum >>> 0 !== checksum) throw damaged();
  return out;
}
