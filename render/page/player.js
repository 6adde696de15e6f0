/*
 * The player: lays the lesson out quarter by quarter and says which strokes sound before a moment.
 * It knows no sound and no clock. Seconds count from the start of the count-in and are never moved; the same lesson
 * with the same settings gives the times and levels of `perform` in grooves/performance.py.
 * `change` takes back what was laid out from a moment on and lays it out anew: a tempo takes hold at that moment,
 * limbs, click, fade and turns at the next stroke, swing at the next upbeat, a loop at the next bar.
 */
"use strict";

const REMEMBERED = 10; // seconds that strokes and marks are kept: longer than any quarter and its deviations

class Player extends Layout {
  constructor(lesson, settings) {
    super();
    Object.assign(this, { lesson, settings });
    this.deviations = new Deviations(lesson.feel);
    const furthest = lesson.feel.clip * lesson.feel.timing;
    const placed = Object.values(lesson.feel.placement);
    this.early = furthest - Math.min(0, ...placed);
    this.late = furthest + Math.max(0, ...placed);
    this.room = furthest / ROOM;
    this.rewind();
  }

  /** Back to the start, with nothing laid out. */
  rewind() {
    this.map = new TempoMap();
    this.beat = 0; // quarters laid out so far, those of the count-in among them
    this.tempo = this.settings.tempo; // at the last quarter laid out: it may have risen since it was set
    this.tempos = []; // set while it plays: { beat, tempo }
    this.since = 0; // quarters since the count-in, to the start of the current bar
    this.at = this.placeBefore(this.settings.from); // of the current bar among those that are played
    this.turn = 0; // times through, finished
    this.roseTurn = 0; // when the tempo rose last, in times through
    this.roseBeat = 0; // and in quarters
    this.clean = []; // the quarters at which it was said that it came clean
    this.played = 0; // bars begun since the count-in, or since the loop or the turns were set
    this.countIn = this.settings.countIn;
    this.counted = 0; // bars of count-in, begun
    this.bar = null;
    this.limbs = new Map(); // limb → its last stroke's nominal time, and the stroke that waits for the next one
    this.ready = [];
    this.cells = []; // every quarter laid out, for the eye
    this.marks = []; // how everything stood before each of the last quarters
    this.given = []; // strokes given out lately
    this.stays = new Set(); // which of them a change did not take back
    this.taken = new Set(); // and which it did
    this.changed = -Infinity; // nothing new sounds before the last change
    this.sent = 0; // all strokes before this moment have been given out
  }

  /** When the next quarter to be laid out begins. */
  get time() {
    return this.map.spans.length ? this.map.secondsAt(this.beat) : 0;
  }

  // --- changes while it plays ---

  /** Lay out anew what begins at a moment or later, after `act` has changed what it should. */
  change(moment, act = () => {}) {
    if (!this.marks.length) return act();
    const beat = this.map.beatAt(moment);
    const tempo = this.settings.tempo;
    const [stays, taken] = [(one) => one.seconds < moment, (one) => one.seconds >= moment];
    this.stays = new Set(this.given.filter(stays).map((one) => one.id));
    this.taken = new Set(this.given.filter(taken).map((one) => one.id));
    this.given = this.given.filter(stays);
    this.changed = this.sent = moment;
    this.goBack(moment - this.late);
    if (this.isAtBarline() && this.time < moment) this.openBar(); // it has begun: a new loop waits for the next one
    act();
    if (this.settings.tempo !== tempo) this.tempos.push({ beat, tempo: this.settings.tempo });
  }

  /** Everything as it stood before the quarter in which a moment lies. */
  goBack(moment) {
    const later = this.marks.findIndex((mark) => mark.seconds > moment);
    const at = Math.max(0, (later < 0 ? this.marks.length : later) - 1);
    const { ready, limbs, bar, ...mark } = this.marks[at];
    this.marks.length = at;
    delete mark.seconds;
    Object.assign(this, mark, { bar: bar && { ...bar }, limbs: copied(limbs), ready: [] });
    this.cells = this.cells.filter((cell) => cell.beat < this.beat);
    ready.forEach((stroke) => this.admit(stroke));
  }

  /** Note how everything stands, before a quarter is laid out. */
  mark() {
    const { map, beat, tempo, since, at, turn, roseTurn, roseBeat, played, counted, bar, limbs, ready } = this;
    const seconds = this.time;
    this.marks = this.marks.filter((mark) => mark.seconds > this.sent - REMEMBERED);
    const [oldest] = this.marks;
    if (oldest) this.map = map.since(oldest.beat);
    if (oldest) this.tempos = this.tempos.filter((one) => one.beat >= oldest.beat);
    const kept = { bar: bar && { ...bar }, limbs: copied(limbs), ready: [...ready] };
    this.marks.push({ seconds, map: this.map, beat, tempo, since, at, turn, roseTurn, roseBeat, played, counted, ...kept });
  }

  /** Loop over these places of the chorus from the next bar on; none: the whole chorus. */
  loop(places) {
    const at = this.bar && this.bar.score ? this.bar.position : -1;
    this.settings.loop = [...places];
    this.turn = this.played = this.roseTurn = 0;
    this.at = this.sequence().findIndex(({ place }) => place === at);
  }

  /** Go on from a place of the chorus with the next bar. */
  goTo(place) {
    this.at = this.placeBefore(place);
  }

  /** Where in what is played a place's forerunner stands; before the first where the place is not among them. */
  placeBefore(place) {
    return Math.max(this.sequence().findIndex((one) => one.place === place) - 1, -1);
  }

  /** The places of the chorus in the order in which they are played, some of them twice where they are echoed. */
  sequence() {
    const { loop } = this.settings;
    return withEchoes(loop.length ? loop : [...Array(this.lesson.chorus).keys()], this.settings);
  }

  /** It came clean: a tempo that waits for that may rise at the end of this time through. */
  passed(moment) {
    if (this.map.spans.length) this.clean.push(this.map.beatAt(moment));
  }

  // --- giving out ---

  /** Give out, in order of time, every stroke that sounds before a moment and was not given out yet. */
  pump(until) {
    return this.due(until).filter((stroke) => stroke.heard);
  }

  /** The same with those that are written and silent, as `heard` tells. */
  due(until) {
    this.sent = Math.max(this.sent, until);
    while (this.time < until + this.early + this.room) this.layQuarter();
    for (const limb of this.limbs.values()) {
      if (limb.waiting && limb.waiting.nominal + this.room <= this.time) this.settle(limb, Infinity);
    }
    const due = this.ready.filter((stroke) => stroke.seconds < until).sort((a, b) => a.seconds - b.seconds);
    this.ready = this.ready.filter((stroke) => stroke.seconds >= until);
    const recent = this.given.filter((one) => one.seconds > this.sent - REMEMBERED);
    this.given = [...recent, ...due.map(({ id, seconds }) => ({ id, seconds }))];
    return due.map((stroke) => this.finish(stroke));
  }

  /** Let a stroke be given out once its time comes, unless it was already, or comes too late for a change. */
  admit(stroke) {
    if (this.stays.has(stroke.id)) return;
    if (stroke.seconds >= this.changed) this.ready.push(stroke);
    else if (this.taken.has(stroke.id)) this.ready.push({ ...stroke, seconds: this.changed });
  }

  /** Whether a stroke sounds, as things stand now. */
  isHeard({ voice, beat, cell }) {
    if (voice.part === "count-in") return true;
    if (voice.part !== "click") return soundsIn(cell, voice, this.settings);
    return clicks(this.settings.click, beat) && turnOf(cell, this.settings) !== "silent";
  }

  /** A stroke as it is given out, with the velocity that MIDI and sound files carry. */
  finish(stroke) {
    const helper = stroke.beat !== undefined;
    const round = Math.floor(stroke.turn / this.lesson.readings);
    const level = stroke.level + (helper ? 0 : lowered(stroke.voice, this.settings, round));
    const velocity = velocityFor(this.lesson.loudness[stroke.voice.key], level);
    const volume = this.settings.volumes[stroke.voice.limb || stroke.voice.part] || 0;
    return { ...stroke, level, velocity, volume, key: stroke.voice.key, heard: this.isHeard(stroke) };
  }
}

/** Each limb's memory, copied. */
function copied(limbs) {
  return new Map([...limbs].map(([name, limb]) => [name, { ...limb }]));
}
