// The sound of the page: the microphone as it is, without what browsers do to a voice,
// and the loudspeaker. It knows nothing of music; the engine hears and plays through
// the two ports that it hands over.

/**
 * @typedef {{code: string, detail?: any}} Trouble
 * @typedef {{mic: boolean, rate: number, micPort: MessagePort | ReadableStream | null, speakerPort: MessagePort, said: string[]}} Started
 */

/** What a browser must not do to a voice. */
const asItIs = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };

/** After so many milliseconds of exact silence a microphone is called silent. */
const silentAfter = 3000;

/** How many pieces of sound, of some 10 ms, wait for a busy engine. */
const queued = 2000;

/** How often the stream is looked after, in milliseconds. */
const lookEvery = 250;

export class Sound {
  /** @param {(trouble: Trouble) => void} on */
  constructor(on) {
    this.on = on;
    /** @type {AudioContext | null} */
    this.context = null;
    /** @type {MediaStream | null} */
    this.stream = null;
    /** @type {Promise<Started> | null} */
    this.starting = null;
    this.timer = 0;
    this.lost = 0; // samples that the browser says it has dropped
    /** @type {AnalyserNode | null} */
    this.level = null;
    this.silentSince = 0;
    /** @type {MessagePort | null} */
    this.mouthPort = null;
    this.lateBy = 0; // what the engine was told of the latency
    /** @type {Set<string>} */
    this.told = new Set();
  }

  /** running tells that the microphone and the loudspeaker are open. */
  get running() {
    return this.context !== null && this.context.state === "running" && this.starting !== null;
  }

  /** latency is how long, in seconds, sound takes from the worklet to the air. */
  get latency() {
    return this.context ? (this.context.outputLatency || 0) + (this.context.baseLatency || 0) : 0;
  }

  /**
   * start opens them, within a gesture; called again it gives what there is, and wakes
   * a context that the browser held back. With mic false nobody is to be heard, and the
   * browser asks for no microphone.
   * @param {{mic?: boolean}} [wanted]
   * @returns {Promise<Started>}
   */
  start(wanted = {}) {
    if (this.context && this.context.state !== "running" && this.context.state !== "closed") {
      this.context.resume().catch(() => {});
    }
    this.starting ??= this.open(wanted.mic !== false);
    return this.starting;
  }

  /** @param {boolean} hear @returns {Promise<Started>} */
  async open(hear) {
    // Nothing here answers within a blink: rather late by a little than with gaps.
    const context = new AudioContext({ latencyHint: "playback" });
    this.context = context;
    context.onstatechange = () => this.changed();
    const waking = context.resume().catch(() => {});
    if (!context.audioWorklet) {
      this.on({ code: "not-https" });
      throw new Error("no AudioWorklet");
    }
    const [stream] = await Promise.all([hear ? this.lend() : null, context.audioWorklet.addModule("worklet.js")]);
    const speakerPort = this.mouth(context);
    const micPort = stream ? this.ear(context, stream) : null;
    await Promise.race([waking, new Promise((done) => setTimeout(done, 1000))]);
    if (context.state !== "running") this.on({ code: "suspended" });
    this.late();
    this.timer = setInterval(() => this.look(), lookEvery);
    return { mic: stream !== null, rate: context.sampleRate, micPort, speakerPort, said: [] };
  }

  /** lend asks for the microphone. @returns {Promise<MediaStream | null>} */
  async lend() {
    if (!navigator.mediaDevices) {
      this.on({ code: "not-https" });
      return null;
    }
    try {
      const stream = await navigator.mediaDevices.getUserMedia({ audio: { ...asItIs, channelCount: { ideal: 1 } } });
      this.stream = stream;
      this.watch(stream.getAudioTracks()[0]);
      return stream;
    } catch (e) {
      this.on({ code: codeOf(e) });
      return null;
    }
  }

  /** watch tells what the browser does to a track. @param {MediaStreamTrack} track */
  watch(track) {
    /** @type {any} */
    const settings = track.getSettings();
    if (Object.keys(asItIs).some((name) => settings[name] === true)) this.on({ code: "processing" });
    track.onended = () => this.on({ code: "interrupted" });
    track.onmute = () => this.on({ code: "silent-input" });
  }

  /** @param {AudioContext} context @returns {MessagePort} */
  mouth(context) {
    const node = new AudioWorkletNode(context, "singback-mouth", { numberOfInputs: 0, outputChannelCount: [2] });
    const { port1, port2 } = new MessageChannel();
    node.port.postMessage({ port: port1 }, [port1]);
    this.mouthPort = node.port;
    node.connect(context.destination);
    node.onprocessorerror = () => this.on({ code: "interrupted" });
    return port2;
  }

  /**
   * ear hands out what the microphone gives: as a stream that comes straight from it,
   * with times, where the browser has that. Elsewhere it comes through the clock of the
   * loudspeaker, and a busy browser can lose some of it without a word.
   * @param {AudioContext} context @param {MediaStream} stream
   * @returns {MessagePort | ReadableStream}
   */
  ear(context, stream) {
    const source = new MediaStreamAudioSourceNode(context, { mediaStream: stream });
    this.level = new AnalyserNode(context, { fftSize: 2048 });
    source.connect(this.level);
    try {
      const Processor = /** @type {any} */ (globalThis).MediaStreamTrackProcessor;
      return new Processor({ track: stream.getAudioTracks()[0], maxBufferSize: queued }).readable;
    } catch {
      // not in this browser, or not for sound
    }
    const node = new AudioWorkletNode(context, "singback-ear", {
      numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit", channelInterpretation: "speakers",
    });
    const { port1, port2 } = new MessageChannel();
    node.port.postMessage({ port: port1 }, [port1]);
    source.connect(node);
    node.onprocessorerror = () => this.on({ code: "interrupted" });
    return port2;
  }

  /** late tells the engine, by way of the worklet, how late its sound is heard. */
  late() {
    if (Math.abs(this.latency - this.lateBy) < 0.005) return;
    this.lateBy = this.latency;
    this.mouthPort?.postMessage({ latency: this.lateBy });
  }

  /** look looks after the stream: samples that were dropped, and exact silence. */
  look() {
    this.late();
    const track = this.stream?.getAudioTracks()[0];
    if (!track || this.context?.state !== "running") return;
    /** @type {any} */
    const stats = /** @type {any} */ (track).stats;
    if (stats && stats.totalFrames !== undefined) {
      const lost = Math.max(0, stats.totalFrames - stats.deliveredFrames);
      if (lost > this.lost) {
        const samples = Math.round((lost - this.lost) * this.context.sampleRate / (track.getSettings().sampleRate ?? this.context.sampleRate));
        this.on({ code: "lost", detail: { samples } });
      }
      this.lost = lost;
    }
    const x = new Float32Array(2048);
    this.level?.getFloatTimeDomainData(x);
    const now = performance.now();
    if (x.some((v) => v !== 0)) {
      this.silentSince = 0;
      if (this.told.delete("silent-input")) this.on({ code: "sounding" });
    }
    else this.silentSince ||= now;
    if (this.silentSince && now - this.silentSince > silentAfter && !this.told.has("silent-input")) {
      this.told.add("silent-input");
      this.on({ code: "silent-input" });
    }
  }

  /** changed tells that the browser or the system took the sound away. */
  changed() {
    const state = /** @type {string} */ (this.context?.state);
    if (this.timer && (state === "suspended" || state === "interrupted")) this.on({ code: "suspended" });
  }

  /** close lets microphone and loudspeaker go. */
  close() {
    clearInterval(this.timer);
    this.timer = 0;
    for (const track of this.stream?.getTracks() ?? []) {
      track.onended = track.onmute = null;
      track.stop();
    }
    if (this.context) {
      this.context.onstatechange = null;
      this.context.close().catch(() => {});
    }
    this.context = this.stream = this.starting = this.level = this.mouthPort = null;
    this.lost = this.silentSince = this.lateBy = 0;
    this.told.clear();
  }
}

/** codeOf is the word for why there is no microphone. @param {any} e */
function codeOf(e) {
  switch (e?.name) {
    case "NotAllowedError":
    case "SecurityError":
      return "no-permission";
    case "NotReadableError":
    case "AbortError":
      return "microphone-in-use";
  }
  return "no-microphone";
}
