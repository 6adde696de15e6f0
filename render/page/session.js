/* From start to stop: what was written, which is kept from the strokes that the transport hands over, and what was
   played. Seconds are the player's: 0 is the start of the count-in, as it is heard. */
"use strict";

const TAKE_FORMAT = "fourlimb-take";
const TAKE_VERSION = 1;
const READINGS = 6; // of the two clocks on each side of a moment, of which the median counts

/** The page's clock against the loudspeaker's: they drift, and a single reading is off by milliseconds on a busy machine. */
class HeardClock {
  constructor() {
    Object.assign(this, { times: [], offsets: [] });
  }

  /** Read both clocks. */
  read(context) {
    const now = performance.now();
    const plain = context.currentTime - (context.outputLatency || context.baseLatency || 0) - now / 1000;
    const { contextTime, performanceTime } = context.getOutputTimestamp ? context.getOutputTimestamp() : {};
    const exact = contextTime - performanceTime / 1000;
    this.times.push(now);
    this.offsets.push(performanceTime > 0 && Math.abs(exact - plain) < 0.2 ? exact : plain);
  }

  /** What is heard at a moment of the page in milliseconds, in seconds of the context. */
  at(milliseconds) {
    const place = placeFrom(this.times, milliseconds);
    return milliseconds / 1000 + median(this.offsets.slice(Math.max(place - READINGS, 0), place + READINGS));
  }
}

class Session {
  /** `part` is the one that a microphone stands before, "" where all are listened to. */
  constructor(lesson, settings, transport, part = "") {
    Object.assign(this, { lesson, settings, transport, part, clock: new HeardClock() });
    this.origin = transport.sound.origin;
    this.written = []; // as on a sheet, `bar` an index into `bars`
    this.bars = [];
    this.track = []; // every stroke of the track that is over, for hearing it again
    this.notes = []; // what was played: { timeOf, key, velocity, channel }, the time known better at the end
    this.early = []; // strokes of a pickup whose bar has not begun
    this.known = new Set();
    this.places = new Map(); // the quarter at which a bar begins → its index
    this.fastest = 0;
    this.ended = Infinity;
    this.clock.read(transport.context);
  }

  /** Take what was due since last time; bars that begin are told of. */
  follow(onBar = () => {}) {
    const { context, strokes } = this.transport;
    this.clock.read(context);
    for (const stroke of strokes) {
      const name = `${stroke.id} ${stroke.key}`; // a chord of the band has several keys
      if (stroke.when > context.currentTime || this.known.has(name)) continue;
      this.known.add(name);
      this.track.push(stroke);
      if (stroke.isPickup) this.early.push(stroke);
      if (!stroke.cell.score || stroke.cell.leadIn || stroke.isPickup) continue;
      const bar = this.barOf(stroke.cell, onBar);
      if (stroke.voice.limb) this.write(stroke, bar);
    }
  }

  /** One written stroke; one of a pickup belongs to the bar that it leads to. */
  write({ nominal, voice, onset, heard, dropped, isPickup }, bar) {
    const { divisions, feel, meter } = this.lesson;
    const { limb, part, role } = voice;
    if (this.part && part !== this.part) return;
    const place = Math.round((isPickup ? onset - meter.length : onset) * divisions);
    const seconds = nominal + (feel.placement[limb] || 0);
    this.written.push({ seconds, limb, part, role, bar, place, sounds: heard && !dropped });
  }

  /** The index of a stroke's bar, which may be a new one. */
  barOf(cell, onBar) {
    const begins = cell.beat - cell.from;
    if (this.places.has(begins)) return this.places.get(begins);
    const { meter, numbers, bars, curves } = this.lesson;
    const seconds = cell.seconds - (cell.from * 60) / cell.pace;
    const before = this.bars[this.bars.length - 1];
    if (before && Math.abs(seconds - before.seconds - before.length) > 0.001) before.length = seconds - before.seconds;
    const round = before ? before.round + (cell.turn === before.turn ? 0 : 1) : 0;
    const { card } = cell.score;
    const own = { number: parseInt(numbers[card], 10), card, score: bars.indexOf(cell.score), turn: cell.turn, round, tempo: cell.tempo };
    const lasts = { seconds, length: (meter.length * 60) / cell.pace, beat: (meter.pulse * 60) / cell.pace };
    this.fastest = Math.max(this.fastest, cell.tempo);
    this.places.set(begins, this.bars.length);
    this.bars.push({ ...own, ...lasts, swing: swingRatio(this.settings.swing, curves, cell.pace) });
    const last = this.bars.length - 1;
    this.early.splice(0).forEach((stroke) => this.write(stroke, last));
    onBar(this.bars[last], before);
    return last;
  }

  /** It was stopped just now. */
  end() {
    if (this.ended < Infinity) return;
    this.follow();
    this.ended = this.transport.context.currentTime - this.origin;
  }

  /** Afterwards: a bar that was not heard to its end is left out, with what was played in it. `late` is by how much
      what is played comes behind, in seconds. */
  cut(late) {
    const last = this.bars[this.bars.length - 1];
    if (this.bars.length < 2 || last.seconds + last.length <= this.ended) return;
    this.bars.pop();
    this.written = this.written.filter(({ bar }) => bar < this.bars.length);
    this.notes = this.notes.filter(({ timeOf }) => this.secondsAt(timeOf()) - late < last.seconds - last.beat / 4);
  }

  /** A moment of the page in milliseconds as one of the player. */
  secondsAt(milliseconds) {
    return this.clock.at(milliseconds) - this.origin;
  }

  /** What was played, in seconds of the player, as well as they are known by now. */
  played(notes = this.notes) {
    return drumNotes(notes).map((note) => ({ ...note, seconds: this.secondsAt(note.timeOf()) }));
  }

  /** What was written, as a sheet: all of it, or one round. */
  sheet(round = null) {
    const places = [...this.bars.keys()].filter((at) => round === null || this.bars[at].round === round);
    const bars = places.map((at) => this.bars[at]);
    const index = new Map(places.map((at, place) => [at, place]));
    const own = this.written.filter(({ bar }) => index.has(bar)).map((one) => ({ ...one, bar: index.get(one.bar) }));
    const strokes = own.sort((one, other) => one.seconds - other.seconds || (one.part < other.part ? -1 : 1));
    const { parts, divisions, meter } = this.lesson;
    const ratios = bars.map(({ swing }) => swing).sort((a, b) => a - b);
    const here = new Set(strokes.map(({ part }) => part));
    return { strokes, bars, divisions, meter, parts: parts.filter((part) => here.has(part)), swing: meter.eighths || !bars.length ? null : ratios[ratios.length >> 1] };
  }

  /** What the track itself sounded like. */
  sounding() {
    return this.written.filter(({ sounds }) => sounds);
  }

  /** All of it as it goes into a file; docs/formats.md says what each key is. */
  paper({ kind, step, delay, pads, played }) {
    const { title, hash, divisions } = this.lesson;
    const { strokes, bars, swing } = this.sheet();
    const voices = [...new Set(strokes.map(({ limb, part, role }) => `${limb}/${part}/${role}`))];
    const exact = (value) => Math.round(value * 1e6) / 1e6;
    return {
      format: TAKE_FORMAT,
      version: TAKE_VERSION,
      lesson: { title, hash },
      kind,
      tempo_bpm: this.fastest,
      step,
      delay_ms: delay,
      swing,
      divisions,
      voices: voices.map((voice) => voice.split("/")),
      bars: bars.map((bar) => [bar.number, bar.score, exact(bar.seconds), exact(bar.length), exact(bar.beat)]),
      written: strokes.map((one) => [exact(one.seconds), voices.indexOf(`${one.limb}/${one.part}/${one.role}`), one.bar, one.place, one.sounds ? 1 : 0]),
      ...(pads ? { pads: Object.fromEntries(pads) } : {}),
      ...(played ? { played: this.played().map(({ seconds, key, velocity }) => [exact(seconds), key, velocity]) } : {}),
    };
  }
}
