/* Strokes of one drum in a row of samples: where the spectrum grows (spectral flux; S. Dixon 2006, Onset Detection
   Revisited), then where exactly the sound rises. Times are counted in samples, never taken from when they arrive. */
"use strict";

const FLUX_WINDOW = 512; // samples: 12 ms at 44.1 kHz
const FLUX_HOP = 128;
const FLUX_LAG = 3; // hops over which the spectrum must grow
const FLUX_BINS = [1, 160]; // 86 Hz to 14 kHz
const FLOOR = 0.02; // of the loudest lately: 34 dB below it nothing is heard
const FORGET = 0.9993; // of the loudest from hop to hop: half of it is forgotten in 3 s
const AROUND = 10; // hops on both sides of which a peak is the highest
const PAST = 100; // hops that tell how much the spectrum usually grows
const OVER_USUAL = 2.2; // times
const OVER_LOUDEST = 0.2; // share of the largest growth lately
const LEAST_GROWTH = 0.05; // in decades a bin: less is noise
const APART_SECONDS = 0.05; // two strokes of a limb are never nearer
const BEFORE = 3; // hops before its window in which it may begin, and that tell how loud it was
const OVER_BEFORE = 1.5; // times that a stroke rises over it
const OVER_PEAK = 0.04; // share of the strongest stroke lately
const PEAK_FORGET = 0.95; // of that from stroke to stroke
const RISE_STEP = 16; // samples in which the rise is looked for
const RISE_SHARE = 0.25; // of the stroke's peak

class Onsets {
  /** `onset` is told the sample at which a stroke begins, and its peak. */
  constructor(rate, onset) {
    Object.assign(this, { rate, onset, first: 0, hop: 0, loudest: 1e-4, largest: 0, peak: 0, last: -Infinity });
    this.samples = new Float32Array(0); // from sample `first` on
    this.spectra = [];
    this.growth = []; // of the last hops
    this.window = hann(FLUX_WINDOW);
    this.fourier = new Fourier(FLUX_WINDOW);
  }

  /** More samples, in order. */
  hear(samples) {
    const all = new Float32Array(this.samples.length + samples.length);
    all.set(this.samples);
    all.set(samples, this.samples.length);
    this.samples = all;
    for (; this.hop * FLUX_HOP + FLUX_WINDOW <= this.first + all.length; this.hop++) this.step();
    const keep = Math.max(this.first, (this.hop - 3 * AROUND) * FLUX_HOP);
    this.samples = this.samples.slice(keep - this.first);
    this.first = keep;
  }

  /** One hop: how much the spectrum has grown, and whether a stroke lies some hops back. */
  step() {
    const start = this.hop * FLUX_HOP - this.first;
    const sizes = this.fourier.sizes(this.samples.subarray(start, start + FLUX_WINDOW), this.window);
    const own = sizes.slice(...FLUX_BINS);
    this.loudest = Math.max(this.loudest * FORGET, ...own);
    const floor = this.loudest * FLOOR; // the same for both, or a louder stroke would look like growth everywhere
    this.spectra.push(own);
    const before = this.spectra.length > FLUX_LAG ? this.spectra.shift() : own;
    let sum = 0;
    for (let bin = 0; bin < own.length; bin++) sum += Math.max(Math.log10((own[bin] + floor) / (before[bin] + floor)), 0);
    this.growth.push(sum / own.length);
    if (this.growth.length > PAST) this.growth.shift();
    this.largest = Math.max(this.largest * FORGET, sum / own.length);
    if (this.growth.length > 2 * AROUND) this.look();
  }

  /** Whether the hop in the middle of the last ones is a stroke. */
  look() {
    const { growth } = this;
    const middle = growth.length - 1 - AROUND;
    const peak = growth[middle];
    if (peak < LEAST_GROWTH || peak < OVER_LOUDEST * this.largest) return;
    for (let at = middle - AROUND; at < growth.length; at++) {
      if (growth[at] > peak || (growth[at] === peak && at < middle)) return;
    }
    if (peak < OVER_USUAL * median(growth)) return;
    const { sample, size, before } = this.rise((this.hop - AROUND) * FLUX_HOP);
    if (size < OVER_BEFORE * before || size < OVER_PEAK * this.peak || sample - this.last < APART_SECONDS * this.rate) return;
    this.peak = Math.max(size, this.peak * PEAK_FORGET);
    this.last = sample;
    this.onset(sample, size);
  }

  /** Where the sound rises about a window: back from its peak to where it was still quiet. */
  rise(start) {
    const from = Math.max(start - BEFORE * FLUX_HOP, this.first);
    const end = Math.min(start + FLUX_WINDOW, this.first + this.samples.length) - RISE_STEP;
    const sizes = [];
    for (let at = from + 1; at <= end; at += RISE_STEP) {
      let size = 0;
      for (let sample = at; sample < at + RISE_STEP; sample++) {
        size = Math.max(size, Math.abs(this.samples[sample - this.first] - this.samples[sample - this.first - 1]));
      }
      sizes.push(size);
    }
    const peak = largest(sizes);
    let step = peak;
    while (step > 0 && sizes[step - 1] > RISE_SHARE * sizes[peak]) step--;
    return { sample: from + 1 + step * RISE_STEP, size: sizes[peak], before: median(sizes.slice(0, step)) };
  }
}

/** A fast Fourier transform of a power of two (J. W. Cooley & J. W. Tukey 1965). */
class Fourier {
  constructor(size) {
    this.size = size;
    const bits = Math.log2(size);
    this.order = Uint16Array.from({ length: size }, (_, at) => parseInt(at.toString(2).padStart(bits, "0").split("").reverse().join(""), 2));
    this.cos = Float64Array.from({ length: size / 2 }, (_, at) => Math.cos((2 * Math.PI * at) / size));
    this.sin = Float64Array.from({ length: size / 2 }, (_, at) => -Math.sin((2 * Math.PI * at) / size));
    this.real = new Float64Array(size);
    this.imaginary = new Float64Array(size);
  }

  /** How large each frequency is under a window, from 0 up to half the rate. */
  sizes(samples, window) {
    const { size, order, real, imaginary } = this;
    for (let at = 0; at < size; at++) {
      real[at] = samples[order[at]] * window[order[at]];
      imaginary[at] = 0;
    }
    for (let half = 1; half < size; half *= 2) this.merge(half);
    return Array.from({ length: size / 2 }, (_, at) => Math.sqrt(real[at] ** 2 + imaginary[at] ** 2));
  }

  /** Transforms of some length to those of twice that length. */
  merge(half) {
    const { size, real, imaginary, cos, sin } = this;
    const turn = size / (2 * half);
    for (let start = 0; start < size; start += 2 * half) {
      for (let at = 0; at < half; at++) {
        const [left, right] = [start + at, start + at + half];
        const [c, s] = [cos[at * turn], sin[at * turn]];
        const re = real[right] * c - imaginary[right] * s;
        const im = real[right] * s + imaginary[right] * c;
        [real[right], imaginary[right]] = [real[left] - re, imaginary[left] - im];
        real[left] += re;
        imaginary[left] += im;
      }
    }
  }
}
