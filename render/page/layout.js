/* Laying the lesson out, quarter by quarter: which bar comes next, at which tempo, and when each stroke of it falls.
   The player (player.js) keeps what is laid out here, gives it out and takes it back. */
"use strict";

const TRIPLETS = 2; // an upbeat in a beat of triplets falls on the third of them
const ROOM = 0.45; // of the gap to a limb's neighbouring stroke: more would let one overtake another

class Layout {
  /** Lay out one more quarter, or what is left of the bar. */
  layQuarter() {
    const { meter, beat } = this.lesson;
    this.mark();
    if (this.isAtBarline()) this.openBar();
    const size = Math.min(1, meter.length - this.bar.within);
    this.map = this.map.paced(this.beat, this.tempo * beat);
    const cell = { beat: this.beat, seconds: this.time, from: this.bar.within, size, tempo: this.tempo, ...this.bar };
    cell.pace = this.tempo * beat; // quarters a minute
    this.takeTempos(cell);
    this.cells.push(cell);
    this.layHelpers(cell);
    if (cell.score) this.layStrokes(cell);
    this.beat += size;
    this.bar.within += size;
  }

  /** The tempos that were set within a quarter take hold where they were set. */
  takeTempos(cell) {
    for (const { beat, tempo } of this.tempos) {
      if (beat < cell.beat || beat >= cell.beat + cell.size) continue;
      this.tempo = tempo;
      this.map = this.map.paced(beat, tempo * this.lesson.beat);
    }
  }

  /** Whether what is laid out ends with a bar. */
  isAtBarline() {
    return !this.bar || this.bar.within >= this.lesson.meter.length;
  }

  /** Begin the next bar: of the count-in, of the loop, or the first one again. */
  openBar() {
    const { meter } = this.lesson;
    if (this.bar && this.bar.score) this.since += meter.length;
    if (this.counted < this.countIn) {
      this.bar = { within: 0, score: null, countIn: this.counted++, turn: 0 };
      return;
    }
    const { turn, tempo } = this;
    const { place: position, echoed, bars } = this.step();
    const { chorus, readings } = this.lesson;
    const reading = Math.floor(this.turn / (this.settings.rise?.same || 1)) % readings;
    const score = this.lesson.bars[position + chorus * reading];
    const rises = this.turn !== turn && this.tempo !== tempo;
    const number = this.played++ + this.turn * furtherBy(this.settings, bars);
    this.bar = { within: 0, score, position, turn: this.turn, number, echoed, rises };
  }

  /** Go to the next bar of those that are played, and return its place in the chorus; past the last one a new time begins. */
  step() {
    const sequence = this.sequence();
    if (this.at + 1 >= sequence.length) {
      this.beginTurn();
      this.at = -1;
    }
    return { ...sequence[++this.at], bars: sequence.length };
  }

  /** Once more through; the tempo may rise. */
  beginTurn() {
    this.turn += 1;
    const { rise } = this.settings;
    if (!rise || this.tempo >= rise.to || !this.mayRise(rise)) return;
    const next = this.tempo + rise.by;
    this.tempo = next < rise.to - 1e-9 ? next : rise.to;
    Object.assign(this, { roseTurn: this.turn, roseBeat: this.beat });
  }

  /** Whether as many times through are played as asked, and it came clean where that is waited for. */
  mayRise({ every, waits }) {
    if (!waits) return this.turn % every === 0;
    return this.turn - this.roseTurn >= every && this.clean.some((beat) => beat > this.roseBeat && beat <= this.beat);
  }

  /** The count-in's sticks and the places of the click: exact, never swung. */
  layHelpers(cell) {
    const { meter, helpers } = this.lesson;
    const beats = cell.score ? [...Array(meter.pulses).keys()] : countInBeats(cell.countIn, this.countIn, meter.pulses);
    for (const beat of beats) {
      const within = beat * meter.pulse - cell.from;
      if (within < 0 || within >= cell.size) continue;
      const helper = cell.score ? helpers.click : helpers.countIn;
      const seconds = this.map.secondsAt(cell.beat + within);
      const level = helper.level + (beat === 0 ? helper.downbeat : 0);
      const id = `${cell.beat + within} ${helper.part}`;
      this.admit({ id, seconds, nominal: seconds, level, voice: helper, beat, cell, turn: cell.turn });
    }
  }

  /** The strokes of a quarter at their nominal times; each waits until its limb's next one is known. */
  layStrokes(cell) {
    for (const stroke of this.strokesOf(cell.score)[cell.from]) {
      const within = this.swung(stroke, cell.pace) - cell.from;
      const nominal = this.map.secondsAt(cell.beat + within);
      const name = stroke.voice.limb;
      const limb = this.limbOf(name);
      if (limb.waiting) this.settle(limb, nominal);
      const id = `${cell.beat - cell.from + stroke.onset} ${name}`; // a limb strikes once at a place
      const place = this.since + stroke.onset;
      limb.waiting = { ...stroke, id, nominal, before: limb.last, place, cell, turn: cell.turn };
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
    this.admit({ ...stroke, seconds, level: stroke.level + lean });
  }
}
