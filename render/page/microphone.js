/* A microphone's samples, as they are: no echo cancellation, no noise suppression, no automatic gain (W3C Media Capture
   and Streams). They are counted where they come in, in a worker that the page cannot hold up; a browser without
   MediaStreamTrackProcessor has a ScriptProcessor, on the page's own thread, which loses some where that is held up. */
"use strict";

const PLAIN = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const BLOCK = 8192; // samples of a ScriptProcessor: a page held up for less than 0.19 s loses none
const IN_WORKER = { window: 50, step: 5 }; // blocks of 10 ms, and ms: so much later all of them mean a loss
const ON_PAGE = { window: 4, step: 40 };
const READ_SAMPLES = `onmessage = async ({ data }) => {
  const reader = data.getReader();
  for (;;) {
    const { value, done } = await reader.read();
    if (done) return;
    const samples = new Float32Array(value.numberOfFrames);
    value.copyTo(samples, { planeIndex: 0, format: "f32-planar" });
    const rate = value.sampleRate;
    value.close();
    postMessage({ samples, rate, arrived: performance.timeOrigin + performance.now() }, [samples.buffer]);
  }
};`;

/** When samples were taken, by their number. Blocks arrive late by chance, never early, so the earliest of them tells;
    only where all that follow come later by a step were samples lost on the way, and those after are counted from there. */
class FrameClock {
  constructor(rate, { window, step }) {
    Object.assign(this, { rate, window, step, count: 0, lately: [], pieces: [{ sample: 0, base: Infinity }] });
  }

  /** So many samples more have arrived at a moment of the page. */
  arrived(count, milliseconds) {
    const sample = this.count;
    this.count += count;
    const base = milliseconds - (this.count * 1000) / this.rate;
    this.lately = [...this.lately.slice(1 - this.window), { sample, base }];
    const piece = this.pieces[this.pieces.length - 1];
    const least = Math.min(...this.lately.map((one) => one.base));
    if (this.lately.length < this.window || least <= piece.base + this.step) piece.base = Math.min(piece.base, base);
    else this.pieces.push({ sample: this.lately[0].sample, base: least });
  }

  /** The moment of the page at which a sample was taken, in milliseconds. */
  at(sample) {
    const piece = this.pieces.filter((one, at) => !at || one.sample <= sample).pop();
    return piece.base + (sample * 1000) / this.rate;
  }

  /** The number of the sample that was taken at a moment of the page. */
  sampleAt(milliseconds) {
    const piece = this.pieces.filter((one, at) => !at || this.at(one.sample) <= milliseconds).pop();
    return Math.round(((milliseconds - piece.base) * this.rate) / 1000);
  }
}

class Microphone {
  /** `hear` is given the samples, in order; `say` what is the matter. */
  constructor(hear, say) {
    Object.assign(this, { hear, say, kind: "microphone", stream: null, clock: null });
  }

  /** Ask for the microphone; call it from a press. Whether it may be used. */
  async open(context) {
    if (!navigator.mediaDevices || !navigator.mediaDevices.getUserMedia) {
      this.say("This browser gives a page no microphone. Open the page in another one.");
      return false;
    }
    if (navigator.audioSession) navigator.audioSession.type = "play-and-record";
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({ audio: PLAIN });
      const [track] = this.stream.getAudioTracks();
      track.onended = () => this.say("The microphone was pulled out or switched off. Plug it in, and press again.");
      if (globalThis.MediaStreamTrackProcessor) this.readInWorker(track);
      else this.readHere(context);
    } catch (error) {
      this.close();
      this.say(microphoneTrouble(error));
      return false;
    }
    return true;
  }

  /** Samples counted in a worker. */
  readInWorker(track) {
    const address = URL.createObjectURL(new Blob([READ_SAMPLES], { type: "text/javascript" }));
    this.worker = new Worker(address);
    URL.revokeObjectURL(address);
    this.worker.onmessage = ({ data }) => this.take(data.samples, data.rate, data.arrived - performance.timeOrigin);
    const { readable } = new MediaStreamTrackProcessor({ track, maxBufferSize: 500 });
    this.worker.postMessage(readable, [readable]);
  }

  /** Samples counted on the page's own thread. */
  readHere(context) {
    this.source = context.createMediaStreamSource(this.stream);
    this.script = context.createScriptProcessor(BLOCK, 1, 1);
    this.script.onaudioprocess = ({ inputBuffer }) => this.take(inputBuffer.getChannelData(0).slice(), context.sampleRate, performance.now());
    this.source.connect(this.script).connect(context.destination); // silent: it must lead somewhere to run
  }

  /** One block. */
  take(samples, rate, arrived) {
    this.clock ??= new FrameClock(rate, this.worker ? IN_WORKER : ON_PAGE);
    const first = this.clock.count;
    this.clock.arrived(samples.length, arrived);
    this.hear(samples, first, rate);
  }

  /** Let go of it. */
  close() {
    if (this.stream) this.stream.getTracks().forEach((track) => track.stop());
    if (this.worker) this.worker.terminate();
    if (this.script) this.script.disconnect();
    if (this.source) this.source.disconnect();
    if (navigator.audioSession) navigator.audioSession.type = "playback";
    this.stream = null;
  }
}

/** Why there is no microphone. */
function microphoneTrouble({ name }) {
  if (name === "NotAllowedError" || name === "SecurityError") {
    return "The microphone was not allowed. Allow it for this page, by the sign beside the address, and press again.";
  }
  if (name === "NotFoundError" || name === "OverconstrainedError") return "No microphone is found. Plug one in, and press again.";
  return "The microphone cannot be used now: another program may hold it. Close that, and press again.";
}
