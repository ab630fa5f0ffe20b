// A MIDI keyboard, where the browser lends one: a struck key goes on, or answers.

export class Keyboard {
  /**
   * @param {() => void} struck a key goes on
   * @param {() => void} refused
   * @param {(change: Change | {gone: true}) => void} heard keys and the pedal, and that no keyboard is left
   */
  constructor(struck, refused, heard) {
    this.struck = struck;
    this.refused = refused;
    this.heard = heard;
    /** @type {MIDIAccess | null} */
    this.access = null;
    this.last = 0;
    this.goesOn = false;
  }

  /** there tells whether a keyboard is connected, and may be heard. */
  get there() {
    return [...(this.access?.inputs.values() ?? [])].some((input) => input.state !== "disconnected");
  }

  /** open asks for the keyboard; it says whether there is one to listen to. @param {boolean} [goesOn] a struck key goes on */
  async open(goesOn = true) {
    this.goesOn ||= goesOn;
    if (this.access) return true;
    try {
      this.access = await navigator.requestMIDIAccess({ sysex: false });
    } catch {
      this.refused();
      return false;
    }
    this.listen();
    this.access.onstatechange = () => {
      this.listen();
      if (!this.there) this.heard({ gone: true });
    };
    return true;
  }

  listen() {
    for (const input of this.access?.inputs.values() ?? []) {
      input.onmidimessage = (e) => {
        const change = e.data && changeOf(e.data);
        if (!change) return;
        this.heard(change);
        if (this.goesOn && change.down && !change.pedal && e.timeStamp - this.last > 300) { // a chord is one
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
    this.goesOn = false;
  }
}

/** @typedef {{key: number, down: boolean, pedal: boolean}} Change */

/**
 * changeOf reads a message, on any channel: a key that goes down or up, or the sustain
 * pedal; null of all others (MIDI 1.0: a note on with a velocity of 0 is a note off; the
 * pedal is controller 64, down from 64 on). A browser hands on whole messages.
 * @param {Uint8Array} data
 * @returns {Change | null}
 */
export function changeOf(data) {
  const kind = data[0] & 0xf0;
  if (data.length < 3 || data[0] >= 0xf0) return null;
  if (kind === 0x90 || kind === 0x80) return { key: data[1], down: kind === 0x90 && data[2] > 0, pedal: false };
  if (kind === 0xb0 && data[1] === 64) return { key: 0, down: data[2] >= 64, pedal: true };
  return null;
}

/**
 * isPlayed tells whether an address is answered on an instrument, wholly or after singing.
 * @param {string} address
 */
export function isPlayed(address) {
  return /[?&](then|answer)=play(&|$)/.test(address) && !/[?&]input=(simulated|mic)(&|$)/.test(address);
}
