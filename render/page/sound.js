/* Recorded hits to sound: each at its nearest sample, a hat choked by the next hat, on a live or an offline context. */
"use strict";

const RATE = 44100; // that of the recorded hits, so that none is resampled here

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
  /** Strike into a context; second 0 of the player is second `origin` of the context. */
  constructor(context, lesson, hits, origin = 0) {
    Object.assign(this, { context, lesson, hits, origin });
    this.out = new GainNode(context, { gain: lesson.gain });
    this.out.connect(context.destination);
    this.voices = new Set();
    this.ringing = new Map(); // choke group → the hits that the next one cuts off
  }

  /** Let one stroke sound. */
  strike(stroke) {
    const layer = this.layer(stroke);
    const when = Math.round((stroke.seconds + this.origin) * RATE) / RATE;
    const loudness = this.lesson.loudness[stroke.key];
    const gain = layer.scale * 10 ** ((loudness[stroke.velocity] - loudness[layer.at]) / 20);
    const level = new GainNode(this.context, { gain });
    const source = new AudioBufferSourceNode(this.context, { buffer: layer.buffer });
    source.connect(level).connect(this.out);
    source.start(when);
    const voice = { source, level, when };
    this.voices.add(voice);
    source.onended = () => this.drop(voice);
    this.choke(stroke, voice);
  }

  /** The recording nearest in colour to a velocity. */
  layer({ key, velocity }) {
    const layers = this.hits.get(key);
    return layers.find((layer) => velocity <= layer.high) || layers[layers.length - 1];
  }

  /** Release earlier hits of the same choke group at the slope that the sound files have. */
  choke(stroke, voice) {
    const group = this.lesson.chokes[stroke.key];
    if (!group) return;
    const together = [];
    for (const earlier of this.ringing.get(group) || []) {
      if (earlier.when === voice.when) together.push(earlier);
      else this.release(earlier, voice.when);
    }
    this.ringing.set(group, [...together, voice]);
  }

  /** Let a voice die away from a moment on. */
  release(voice, when) {
    const constant = 20 / Math.LN10 / this.lesson.chokeSlope;
    voice.level.gain.setTargetAtTime(0, when, constant);
    voice.source.stop(when + 10 * constant);
  }

  /** Forget a voice that has ended. */
  drop(voice) {
    this.voices.delete(voice);
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
