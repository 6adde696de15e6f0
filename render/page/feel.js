/* Swing, deviations and loudness: the same numbers as grooves/feel.py and render/balance.py, place by place. */
"use strict";

/** Scramble one 32-bit word; the twin of `_mix` in grooves/feel.py. */
function mix(word) {
  word ^= word >>> 16;
  word = Math.imul(word, 0x7feb352d);
  word ^= word >>> 15;
  word = Math.imul(word, 0x846ca68b);
  return (word ^ (word >>> 16)) >>> 0;
}

/** Round to the nearest whole number, a half to the even one, as Python does. */
function roundEven(value) {
  const whole = Math.floor(value);
  const part = value - whole;
  if (part !== 0.5) return Math.round(value);
  return whole % 2 === 0 ? whole : whole + 1;
}

/** A standard normal number for a place in quarters: the same place always gets the same one. */
function white(key, place) {
  const first = mix(roundEven(place * 48) ^ key);
  const second = mix(first ^ 0x9e3779b9);
  const radius = Math.sqrt(-2 * Math.log((first + 1) / 2 ** 32));
  return radius * Math.cos((2 * Math.PI * second) / 2 ** 32);
}

/** Weights that turn white noise into 1/f^exponent noise of variance 1. */
function noiseFilter(exponent, memory) {
  const weights = [1];
  for (let step = 1; step <= memory; step++) {
    weights.push(weights[step - 1] * ((step - 1 + exponent / 2) / step));
  }
  const scale = Math.sqrt(weights.reduce((sum, weight) => sum + weight * weight, 0));
  return Float64Array.from(weights, (weight) => weight / scale);
}

/** One stream of correlated noise by place; what it remembers of a cell is kept, since limbs ask again. */
class Stream {
  constructor(key, weights, exponent, cellsPerQuarter) {
    Object.assign(this, { key, weights, exponent, cellsPerQuarter });
    this.cells = new Map();
    this.remembered = new Map();
  }

  /** The white number of a whole cell. */
  cell(index) {
    let value = this.cells.get(index);
    if (value === undefined) {
      value = white(this.key, index / this.cellsPerQuarter);
      this.cells.set(index, value);
    }
    return value;
  }

  /** What the cells before this one leave behind. */
  memory(index) {
    let sum = this.remembered.get(index);
    if (sum === undefined) {
      sum = 0;
      for (let back = 1; back < this.weights.length; back++) sum += this.weights[back] * this.cell(index - back);
      this.forget(index);
      this.remembered.set(index, sum);
    }
    return sum;
  }

  /** Drop what is older than the filter reaches, so that hours of playing need no more room than a minute. */
  forget(index) {
    if (this.remembered.size < 256) return;
    this.remembered.clear();
    for (const cell of this.cells.keys()) if (cell < index - this.weights.length - 64) this.cells.delete(cell);
  }

  /** The noise at a place in quarters. */
  at(place) {
    const own = this.weights[0] * white(this.key, place);
    return this.exponent === 0 ? own : own + this.memory(Math.floor(place * this.cellsPerQuarter));
  }
}

/** Deviations of every limb in standard deviations, as `deviations` in grooves/feel.py gives them. */
class Deviations {
  constructor(feel) {
    this.feel = feel;
    this.weights = noiseFilter(feel.correlation, feel.memory);
    this.streams = new Map();
  }

  /** The stream of one key, made when first asked for. */
  stream(key) {
    if (!this.streams.has(key)) {
      this.streams.set(key, new Stream(key, this.weights, this.feel.correlation, this.feel.cellsPerQuarter));
    }
    return this.streams.get(key);
  }

  /** One deviation: `at("left hand", "timing", 4.5)`, clipped. */
  at(limb, what, place) {
    const { keys, together, clip } = this.feel;
    const shared = this.stream(keys.body[what]).at(place);
    const own = this.stream(keys[limb][what]).at(place);
    return clamp(Math.sqrt(together) * shared + Math.sqrt(1 - together) * own, -clip, clip);
  }
}

/** Keep a number between two others; the upper one wins, as in numpy. */
function clamp(value, low, high) {
  return Math.min(Math.max(value, low), high);
}

/** Straight lines through a table of [x, y], level beyond its ends. */
function interpolate(table, x) {
  if (x <= table[0][0]) return table[0][1];
  const above = table.findIndex((row) => row[0] >= x);
  if (above < 0) return table[table.length - 1][1];
  const [x0, y0] = table[above - 1];
  const [x1, y1] = table[above];
  return y0 + ((y1 - y0) * (x - x0)) / (x1 - x0);
}

/** Ratio long:short: a number stays what it is, a word is looked up in its table by tempo. */
function swingRatio(swing, curves, quartersPerMinute) {
  return typeof swing === "number" ? swing : interpolate(curves[swing], quartersPerMinute);
}

/** The velocity from 1 to 127 whose loudness is nearest to a level, the softer of two. */
function velocityFor(curve, level) {
  let best = 1;
  for (let velocity = 2; velocity <= 127; velocity++) {
    if (Math.abs(curve[velocity] - level) < Math.abs(curve[best] - level)) best = velocity;
  }
  return best;
}
