// Stands in for the sound in tests of the screens. The address of the page may name
// what goes wrong: sound=no-permission.

export class Sound {
  constructor(on) {
    this.on = on;
    this.running = false;
  }

  async start() {
    const wrong = /sound=([a-z-]+)/.exec(location.hash)?.[1];
    if (wrong) this.on({ code: wrong, detail: null });
    this.running = true;
    const { port1, port2 } = new MessageChannel();
    return { mic: !wrong, rate: 48000, micPort: wrong ? null : port1, speakerPort: port2, said: [] };
  }

  close() {
    this.running = false;
  }
}
