/* Recorded hits to sound: each at its nearest sample, a hat choked by the next hat, on a live or an offline context. */
"use strict";

const RATE = 44100; // that of the recorded hits; a browser whose sound card runs at another resamples the sum

const HEADROOM = 4; // how far past full scale the sum may go before it is bent, which no choice of volumes reaches
const STRAIGHT = 0.88; // of full scale: up to here the sum is left as it is, as sound files are; above it is bent
const CEILING = 0.93; // which it never reaches: between two samples a peak may be 0.6 dB higher
const KNEE = Float32Array.from({ length: 2 ** 14 + 1 }, (_, at) => bent((at / 2 ** 13 - 1) * HEADROOM));

/** A sample past the straight part, bent so that it never reaches full scale. */
function bent(value) {
  const [over, rest] = [Math.abs(value) - STRAIGHT, CEILING - STRAIGHT];
  return over <= 0 ? value : Math.sign(value) * (STRAIGHT + rest * Math.tanh(over / rest));
}

/** Bytes from base64 text. */
function bytesOf(text) {
  return Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
}

/** Decode every recorded hit of the page: key → its layers from soft to loud. */
async function decodeHits(context, lesson) {
  const layers = await Promise.all(lesson.hits.map(async (hit) => {
    return { ...hit, buffer: await context.decodeAudioData(bytesOf(hit.flac).buffer) };
  }));
  return Map.groupBy ? Map.groupBy(layers, (layer) => layer.key) : grouped(layers);
}

/** `Map.groupBy` for older browsers. */
function grouped(layers) {
  const byKey = new Map();
  for (const layer of layers) byKey.set(layer.key, [...(byKey.get(layer.key) || []), layer]);
  return byKey;
}

class Sound {
  /** Strike into a context; second 0 of the player is second `origin` of the context, from the first to the last. */
  constructor(context, lesson, hits, origin = 0) {
    Object.assign(this, { context, lesson, hits, origin });
    this.out = new GainNode(context, { gain: lesson.gain / HEADROOM });
    this.out.connect(new WaveShaperNode(context, { curve: KNEE })).connect(context.destination);
    this.voices = new Set();
  }

  /** When in the context a moment of the player comes: its nearest sample. */
  when(seconds) {
    return Math.round((seconds + this.origin) * RATE) / RATE;
  }

  /** Let one stroke sound. */
  strike(stroke) {
    const layer = this.layer(stroke);
    const loudness = this.lesson.loudness[stroke.key];
    const gain = layer.scale * 10 ** ((loudness[stroke.velocity] - loudness[layer.at] + (stroke.volume || 0)) / 20);
    const level = new GainNode(this.context, { gain });
    const source = new AudioBufferSourceNode(this.context, { buffer: layer.buffer });
    source.connect(level).connect(this.out);
    const when = this.when(stroke.seconds);
    source.start(when);
    const voice = { source, level, when, seconds: stroke.seconds, group: this.lesson.chokes[stroke.key], released: null };
    this.choke(voice);
    this.voices.add(voice);
    source.onended = () => this.drop(voice);
  }

  /** The recording nearest in colour to a velocity. */
  layer({ key, velocity }) {
    const layers = this.hits.get(key);
    return layers.find((layer) => velocity <= layer.high) || layers[layers.length - 1];
  }

  /** Release earlier hits of the same choke group at the slope that the sound files have. */
  choke({ group, when, seconds }) {
    if (!group) return;
    for (const earlier of this.voices) {
      if (earlier.group !== group || earlier.when >= when || earlier.released !== null) continue;
      earlier.released = seconds;
      this.release(earlier, when);
    }
  }

  /** Let a voice die away from a moment on. */
  release(voice, when) {
    const constant = 20 / Math.LN10 / this.lesson.chokeSlope;
    voice.level.gain.setTargetAtTime(0, when, constant);
    voice.source.stop(when + 10 * constant);
  }

  /** Let a voice ring after all: what was to cut it off was taken back. */
  ring(voice) {
    voice.level.gain.cancelScheduledValues(this.when(voice.released));
    voice.source.stop(voice.when + voice.source.buffer.duration + 1);
    voice.released = null;
  }

  /** Take back every hit that begins at a moment of the player or later. */
  takeBack(seconds) {
    for (const voice of this.voices) {
      if (voice.seconds >= seconds) this.drop(voice);
      else if (voice.released !== null && voice.released >= seconds) this.ring(voice);
    }
  }

  /** Forget a voice that has ended or shall not begin. */
  drop(voice) {
    this.voices.delete(voice);
    voice.source.onended = null;
    voice.source.stop();
    voice.level.disconnect();
  }

  /** Silence, also of what is already scheduled: a fade too short to hear, so that nothing clicks. */
  silence() {
    const now = this.context.currentTime;
    this.out.gain.setTargetAtTime(0, now, 0.004);
    for (const { source } of this.voices) source.stop(now + 0.04);
    this.voices.clear();
    setTimeout(() => this.out.disconnect(), 100);
  }
}

/** Render a lesson without a sound card: the samples of some seconds. */
async function renderOffline(lesson, settings, seconds) {
  const context = new OfflineAudioContext(2, Math.ceil(seconds * RATE), RATE);
  const sound = new Sound(context, lesson, await decodeHits(context, lesson));
  for (const stroke of new Player(lesson, settings).pump(seconds)) sound.strike(stroke);
  return context.startRendering();
}
