/*
 * The player: lays the lesson out quarter by quarter and says which strokes sound before a moment.
 * It knows no sound and no clock. Seconds count from the start of the count-in; the same lesson with the
 * same settings gives the times and levels of `perform` in grooves/performance.py.
 * Tempo and swing take hold at the next quarter, limbs, click, fade and turns at the next stroke, a loop at the next bar.
 */
"use strict";

const TRIPLETS = 2; // an upbeat in a beat of triplets falls on the third of them
const ROOM = 0.45; // of the gap to a limb's neighbouring stroke: more would let one overtake another

class Player {
  constructor(lesson, settings) {
    Object.assign(this, { lesson, settings });
    this.deviations = new Deviations(lesson.feel);
    const furthest = lesson.feel.clip * lesson.feel.timing;
    this.early = furthest - Math.min(0, ...Object.values(lesson.feel.placement));
    this.room = furthest / ROOM;
    this.rewind();
  }

  /** Back to the start, with nothing laid out. */
  rewind() {
    this.time = 0; // seconds laid out so far
    this.since = 0; // quarters since the count-in, to the start of the current bar
    this.position = -1; // of the current bar in the chorus
    this.turn = 0; // times through, finished
    this.played = 0; // bars begun since the count-in, or since the loop or the turns were set
    this.countIn = this.settings.countIn;
    this.counted = 0; // bars of count-in, begun
    this.bar = null;
    this.limbs = new Map(); // limb → its last stroke's nominal time, and the stroke that waits for the next one
    this.ready = [];
    this.cells = []; // every quarter laid out, for the eye
    this.sent = 0; // all strokes before this moment have been given out
  }

  /** Loop over these places of the chorus from the next bar on; none: the whole chorus. */
  loop(places) {
    this.settings.loop = [...places].sort((a, b) => a - b);
    this.turn = this.played = 0;
    if (places.length && !places.includes(this.position)) this.position = -1;
  }

  /** Give out, in order of time, every stroke that sounds before a moment and was not given out yet. */
  pump(until) {
    while (this.time < until + this.early + this.room) this.layQuarter();
    for (const limb of this.limbs.values()) {
      if (limb.waiting && limb.waiting.nominal + this.room <= this.time) this.settle(limb, Infinity);
    }
    this.sent = Math.max(this.sent, until);
    const due = this.ready.filter((stroke) => stroke.seconds < until).sort((a, b) => a.seconds - b.seconds);
    this.ready = this.ready.filter((stroke) => stroke.seconds >= until);
    return due.filter((stroke) => this.isHeard(stroke)).map((stroke) => this.finish(stroke));
  }

  /** Lay out one more quarter, or what is left of the bar. */
  layQuarter() {
    const { meter, beat } = this.lesson;
    if (!this.bar || this.bar.within >= meter.length) this.openBar();
    const pace = this.settings.tempo * beat; // quarters a minute
    const size = Math.min(1, meter.length - this.bar.within);
    const cell = { seconds: this.time, pace, from: this.bar.within, size, ...this.bar };
    this.cells.push(cell);
    this.layHelpers(cell);
    if (cell.score) this.layStrokes(cell);
    this.time += (size * 60) / pace;
    this.bar.within += size;
  }

  /** Begin the next bar: of the count-in, of the loop, or the first one again. */
  openBar() {
    const { meter } = this.lesson;
    if (this.bar && this.bar.score) this.since += meter.length;
    if (this.counted < this.countIn) {
      this.bar = { within: 0, score: null, countIn: this.counted++, turn: 0 };
      return;
    }
    this.step();
    const index = this.position + this.lesson.chorus * (this.turn % this.lesson.readings);
    const number = this.played++;
    this.bar = { within: 0, score: this.lesson.bars[index], position: this.position, turn: this.turn, number };
  }

  /** Go to the next chosen bar of the chorus; past the last one a new time through begins. */
  step() {
    const chosen = this.settings.loop.length ? this.settings.loop : [...Array(this.lesson.chorus).keys()];
    const next = chosen.find((place) => place > this.position);
    if (next === undefined) this.beginTurn();
    this.position = next === undefined ? chosen[0] : next;
  }

  /** Once more through; the tempo may rise. */
  beginTurn() {
    this.turn += 1;
    const { rise, tempo } = this.settings;
    if (rise && this.turn % rise.every === 0 && tempo < rise.to) this.settings.tempo = Math.min(rise.to, tempo + rise.by);
  }

  /** The count-in's sticks and the places of the click: exact, never swung. */
  layHelpers(cell) {
    const { meter, helpers } = this.lesson;
    const beats = cell.score ? [...Array(meter.pulses).keys()] : countInBeats(cell.countIn, this.countIn, meter.pulses);
    for (const beat of beats) {
      const within = beat * meter.pulse - cell.from;
      if (within < 0 || within >= cell.size) continue;
      const helper = cell.score ? helpers.click : helpers.countIn;
      const seconds = cell.seconds + (within * 60) / cell.pace;
      const level = helper.level + (beat === 0 ? helper.downbeat : 0);
      this.ready.push({ seconds, nominal: seconds, level, voice: helper, beat, cell, turn: cell.turn });
    }
  }

  /** The strokes of a quarter at their nominal times; each waits until its limb's next one is known. */
  layStrokes(cell) {
    for (const stroke of this.strokesOf(cell.score)[cell.from]) {
      const within = this.swung(stroke, cell.pace) - cell.from;
      const nominal = cell.seconds + (within * 60) / cell.pace;
      const limb = this.limbOf(stroke.voice.limb);
      if (limb.waiting) this.settle(limb, nominal);
      limb.waiting = { ...stroke, nominal, before: limb.last, place: this.since + stroke.onset, cell, turn: cell.turn };
      limb.last = nominal;
    }
  }

  /** A bar's strokes by quarters: with the line, or the time alone. */
  strokesOf(score) {
    return this.settings.alone ? score.alone : score.strokes;
  }

  /** Where in the bar a stroke falls: written upbeats swing, all else stays. */
  swung(stroke, pace) {
    if (!stroke.moves) return stroke.onset;
    const reads = stroke.moves % 2 === 0;
    const own = reads && this.settings.lineSwing !== null ? this.settings.lineSwing : this.settings.swing;
    const swing = swingRatio(own, this.lesson.curves, pace);
    const ratio = stroke.moves > 2 && swing > 1 ? TRIPLETS : swing;
    return Math.floor(stroke.onset) + ratio / (ratio + 1);
  }

  /** A limb's memory of its neighbouring strokes. */
  limbOf(name) {
    if (!this.limbs.has(name)) this.limbs.set(name, { last: -Infinity, waiting: null });
    return this.limbs.get(name);
  }

  /** Deviate a waiting stroke in time and level, now that the time of the limb's next one is known. */
  settle(limb, next) {
    const stroke = limb.waiting;
    limb.waiting = null;
    const { timing, level, placement } = this.lesson.feel;
    const name = stroke.voice.limb;
    const wish = this.deviations.at(name, "timing", stroke.place) * timing;
    const shift = clamp(wish, -(stroke.nominal - stroke.before) * ROOM, (next - stroke.nominal) * ROOM);
    const seconds = stroke.nominal + shift + (placement[name] || 0);
    const lean = this.deviations.at(name, "level", stroke.place) * level * stroke.spread;
    this.ready.push({ ...stroke, seconds, level: stroke.level + lean });
  }

  /** Whether a stroke sounds, as things stand now. */
  isHeard({ voice, beat, cell }) {
    if (voice.part === "count-in") return true;
    if (voice.part !== "click") return soundsIn(cell.number, voice, this.settings);
    return clicks(this.settings.click, beat) && turnOf(cell.number, this.settings) !== "silent";
  }

  /** A stroke as it is given out, with the velocity that MIDI and sound files carry. */
  finish(stroke) {
    const helper = stroke.beat !== undefined;
    const level = stroke.level + (helper ? 0 : lowered(stroke.voice, this.settings, stroke.turn));
    const velocity = velocityFor(this.lesson.loudness[stroke.voice.key], level);
    return { ...stroke, level, velocity, key: stroke.voice.key };
  }
}
