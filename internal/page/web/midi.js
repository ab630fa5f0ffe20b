// A MIDI keyboard, where the browser lends one: a struck key goes on.

export class Keyboard {
  /** @param {() => void} struck @param {() => void} refused */
  constructor(struck, refused) {
    this.struck = struck;
    this.refused = refused;
    /** @type {MIDIAccess | null} */
    this.access = null;
    this.last = 0;
  }

  /** open asks for the keyboard; it says whether there is one to listen to. */
  async open() {
    try {
      this.access = await navigator.requestMIDIAccess({ sysex: false });
    } catch {
      this.refused();
      return false;
    }
    this.listen();
    this.access.onstatechange = () => this.listen();
    return true;
  }

  listen() {
    for (const input of this.access?.inputs.values() ?? []) {
      input.onmidimessage = (e) => {
        if (e.data && isStruck(e.data) && e.timeStamp - this.last > 300) { // a chord is one
          this.last = e.timeStamp;
          this.struck();
        }
      };
    }
  }

  close() {
    for (const input of this.access?.inputs.values() ?? []) input.onmidimessage = null;
    if (this.access) this.access.onstatechange = null;
    this.access = null;
  }
}

/**
 * isStruck tells whether a message is a note that begins: note on, on any channel,
 * with a velocity (MIDI 1.0: a velocity of 0 is a note that ends).
 * @param {Uint8Array} data
 */
export function isStruck(data) {
  return data.length >= 3 && (data[0] & 0xf0) === 0x90 && data[2] > 0;
}
