/* What a microphone heard, kept as 16-bit samples while it plays, and written as a WAV file that carries its own paper:
   a RIFF chunk named "take" with the JSON of docs/formats.md, which readers that do not know it pass over. */
"use strict";

const LONGEST_MINUTES = 20; // of a recording: 106 MB
const PAPER_CHUNK = "take";

class Recorder {
  constructor(rate, first) {
    Object.assign(this, { rate, first, count: 0, blocks: [] });
  }

  /** More samples. */
  hear(samples) {
    if (this.count > LONGEST_MINUTES * 60 * this.rate) return;
    this.blocks.push(Int16Array.from(samples, (sample) => Math.round(clamp(sample, -1, 1) * 32767)));
    this.count += samples.length;
  }

  /** All of it from a sample on, counted from the first of the microphone; before the first there is silence. */
  from(start) {
    const all = new Int16Array(Math.max(this.first + this.count - start, 0));
    let at = this.first - start;
    for (const block of this.blocks) {
      if (at >= 0) all.set(block, at);
      else if (at + block.length > 0) all.set(block.subarray(-at), 0);
      at += block.length;
    }
    return all;
  }
}

/** A WAV file, mono, 16 bits, with its paper (RIFF; IBM & Microsoft 1991). */
function wavFile(samples, rate, paper) {
  const text = new TextEncoder().encode(JSON.stringify(paper));
  const padded = text.length + (text.length % 2);
  const bytes = new Uint8Array(44 + 2 * samples.length + 8 + padded);
  const view = new DataView(bytes.buffer);
  const name = (at, letters) => [...letters].forEach((letter, place) => view.setUint8(at + place, letter.charCodeAt(0)));
  name(0, "RIFF");
  view.setUint32(4, bytes.length - 8, true);
  name(8, "WAVEfmt ");
  view.setUint32(16, 16, true);
  view.setUint16(20, 1, true); // plain samples
  view.setUint16(22, 1, true); // one channel
  view.setUint32(24, rate, true);
  view.setUint32(28, 2 * rate, true);
  view.setUint16(32, 2, true);
  view.setUint16(34, 16, true);
  name(36, "data");
  view.setUint32(40, 2 * samples.length, true);
  bytes.set(new Uint8Array(samples.buffer, samples.byteOffset, 2 * samples.length), 44);
  const at = 44 + 2 * samples.length;
  name(at, PAPER_CHUNK);
  view.setUint32(at + 4, text.length, true);
  bytes.set(text, at + 8);
  return new Blob([bytes], { type: "audio/wav" });
}
