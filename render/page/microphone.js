/* A microphone's samples, as they are: no echo cancellation, no noise suppression, no automatic gain (W3C Media Capture
   and Streams). They are counted where they come in, in a worker that the page cannot hold up; a browser without
   MediaStreamTrackProcessor has a ScriptProcessor, on the page's own thread, whose lost blocks are made good by silence. */
"use strict";

const PLAIN = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const BLOCK = 8192; // samples of a ScriptProcessor: a page held up for less than 0.19 s loses none
const LOST_SHARE = 0.75; // of a block: later than that, several times in a row, means that one is lost
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

/** When samples were taken, by their number: blocks arrive late by chance, never early, so the earliest tells. */
class FrameClock {
  constructor(rate) {
    Object.assign(this, { rate, count: 0, earliest: Infinity, lately: [] });
  }

  /** So many samples more have arrived at a moment of the page. */
  arrived(count, milliseconds) {
    this.count += count;
    const base = milliseconds - (this.count * 1000) / this.rate;
    this.earliest = Math.min(this.earliest, base);
    this.lately = [...this.lately.slice(-3), base];
  }

  /** Whether a block was lost: the last ones all came later than chance explains. */
  hasLost(block) {
    return this.lately.length === 4 && Math.min(...this.lately) - this.earliest > (LOST_SHARE * block * 1000) / this.rate;
  }

  /** The moment of the page at which a sample was taken, in milliseconds. */
  at(sample) {
    return this.earliest + (sample * 1000) / this.rate;
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
    this.script.onaudioprocess = ({ inputBuffer }) => {
      this.take(inputBuffer.getChannelData(0).slice(), context.sampleRate, performance.now());
      if (!this.clock.hasLost(BLOCK)) return;
      this.take(new Float32Array(BLOCK), context.sampleRate, performance.now());
      this.clock.lately = [];
    };
    this.source.connect(this.script).connect(context.destination); // silent: it must lead somewhere to run
  }

  /** One block. */
  take(samples, rate, arrived) {
    this.clock ??= new FrameClock(rate);
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
