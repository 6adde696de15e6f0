/*
 * The band plays along: bass, piano, horns, over the chords of each bar, note for note as MIDI and sound files have it.
 * A part is laid out like a limb, but its strikes are chords, and each ends where it is told or where the part's next
 * one begins; so a strike is given out once its end is known. The twin of grooves/accompany.py.
 */
"use strict";

/** Unpack the band's bars, and make its parts known beside the limbs. */
function readBand(lesson) {
  const { band } = lesson;
  band.voices = band.parts.map((part) => ({ part, limb: "", role: TIME, key: part, band: true }));
  band.bars = band.patterns.map((rows) => readBar(rows.map((row) => readStrike(row, band)), lesson.meter.length));
  lesson.voices.push(...band.voices);
  Object.assign(lesson.feel.keys, band.keys);
  return lesson;
}

/** One strike from its row: who, where it begins and ends and what moves both, loudness, keys. */
function readStrike([part, onset, moves, end, endMoves, level, keys], { voices, divisions }) {
  return { voice: voices[part], onset: onset / divisions, moves, end: end / divisions, endMoves, level, keys };
}

/** A bar's strikes, and those of the pickup to it at the end of the bar before, by quarters. */
function readBar(strikes, length) {
  const later = (strike) => ({ ...strike, onset: strike.onset + length, end: strike.end + length });
  const early = strikes.filter(({ onset }) => onset < 0).map(later);
  return { own: byQuarter(strikes.filter(({ onset }) => onset >= 0), length), early: byQuarter(early, length) };
}

const readWithoutBand = readLesson;
readLesson = (data) => readBand(readWithoutBand(data)); // eslint-disable-line no-func-assign

// --- laying out ---

widen(Player, "rewind", function (rewind) {
  const { feel, band, slowest, beat } = this.lesson;
  const quarter = 60 / (slowest * beat);
  const furthest = feel.clip * feel.timing;
  const lags = band.parts.map((part) => (band.behind[part] || 0) * quarter + band.placement[part]);
  const places = Object.values(feel.placement);
  this.early = Math.max(this.early, furthest - Math.min(0, ...lags), furthest + band.together - Math.min(0, ...places));
  this.late = Math.max(this.late, furthest + Math.max(...lags), furthest + band.together + Math.max(0, ...places));
  rewind();
});

widen(Layout, "openBar", function (openBar) {
  openBar();
  if (this.bar.score) this.bar.band = this.bandBar(this.bar.position, this.turn, this.at).own;
});

/** What the band plays in a bar: as it goes on in the track, else a chorus with this bar's chords. */
Layout.prototype.bandBar = function (place, time, at) {
  const { sheets, bars } = this.lesson.band;
  const { turn, bars: own } = sheets[this.settings.sheet || 0];
  const { length } = this.sequence();
  const next = turn === length ? own[(time * length + at) % own.length] : [];
  if (next[0] === place) return bars[next[2]];
  const home = sheets[0].bars.filter(([one, isHome]) => one === place && isHome);
  return bars[home[time % home.length][2]];
};

/** What the band plays in the bar of the groove before bar 1. */
Layout.prototype.bandLeadIn = function () {
  const { leadIn } = this.lesson.band.sheets[this.settings.sheet || 0];
  return leadIn === null ? null : this.lesson.band.bars[leadIn].own;
};

/** Its strikes of the pickup, where one is read in the bar that is laid out. */
Layout.prototype.bandPickup = function (from) {
  if (!this.lesson.pickup || !this.withPickup()) return [];
  const leads = this.following();
  return this.bandBar(leads.place, leads.turn, leads.at).early[from].map((strike) => ({ ...strike, leads }));
};

widen(Layout, "layStrokes", function (layStrokes, cell) {
  layStrokes(cell);
  const { readers } = this.lesson.band;
  const own = cell.leadIn ? this.bandLeadIn() : cell.band;
  for (const strike of [...(own ? own[cell.from] : []), ...this.bandPickup(cell.from)]) {
    if (!this.settings.alone || !readers.includes(strike.voice.part)) this.layStrike(strike, cell);
  }
});

/** A strike at its nominal time; it waits until its part's next one is known. */
Layout.prototype.layStrike = function (strike, cell) {
  const { part: name } = strike.voice;
  const start = cell.beat - cell.from;
  const nominal = this.map.secondsAt(start + this.swung(strike, cell.pace));
  const part = this.limbOf(name);
  if (part.waiting) this.settle(part, nominal);
  const where = { id: `${start + strike.onset} ${name}`, start, place: this.since + strike.onset };
  part.waiting = { ...strike, ...where, nominal, before: part.last, cell, turn: cell.turn };
  part.last = nominal;
};

widen(Layout, "settle", function (settle, limb, next) {
  if (!limb.waiting.keys) return settle(limb, next);
  const strike = limb.waiting;
  const { timing, level } = this.lesson.feel;
  const { part } = strike.voice;
  const lag = this.lagOf(part, strike.cell.pace);
  const wish = this.deviations.at(part, "timing", strike.place) * timing;
  const near = part === "bass" && part in this.lesson.band.behind ? this.nearTheFoot(wish + lag, strike.place) - lag : wish;
  const shift = clamp(near, -(strike.nominal - strike.before) * ROOM, (next - strike.nominal) * ROOM) + lag;
  const lean = this.deviations.at(part, "level", strike.place) * level;
  const settled = { ...strike, shift, seconds: strike.nominal + shift, level: strike.level + lean };
  limb.waiting = null;
  if (limb.held) this.end(limb.held, settled);
  limb.held = settled;
});

/** How far a part lies behind the beat: a share of the quarter, or what the lesson says. */
Layout.prototype.lagOf = function (part, pace) {
  const { behind, placement } = this.lesson.band;
  return part in behind ? (behind[part] * 60) / pace : placement[part];
};

/** Keep the bass within reach of the foot that closes the hi-hat, whether or not that is heard. */
Layout.prototype.nearTheFoot = function (shift, place) {
  const { band, feel, voices } = this.lesson;
  if (band.foot === null) return shift;
  const { limb } = voices[band.foot];
  const there = this.deviations.at(limb, "timing", place) * feel.timing + (feel.placement[limb] || 0);
  return clamp(shift, there - band.together, there + band.together);
};

/** When a strike's end comes, as written and swung; null while that is not laid out. */
Layout.prototype.writtenEnd = function ({ start, end, endMoves }) {
  if (start + end >= this.beat) return null;
  const pace = this.map.spanOf((span) => span.beat <= start + Math.floor(end)).pace;
  return this.map.secondsAt(start + this.swung({ onset: end, moves: endMoves }, pace));
};

/** Give a strike its end: its own, or where the part goes on before that or at it. */
Layout.prototype.end = function (strike, next) {
  const own = this.writtenEnd(strike);
  const until = next && (own === null || own >= next.nominal) ? next.seconds : own + strike.shift;
  for (const key of strike.keys) this.admit({ ...strike, id: `${strike.id} ${key}`, until, pitch: key });
};

/** End what can be ended now. */
Layout.prototype.close = function (part) {
  const own = part.held ? this.writtenEnd(part.held) : null;
  if (own === null || (part.waiting && own >= part.waiting.nominal)) return;
  this.end(part.held, null);
  part.held = null;
};

/** Whether a part has a strike before a moment whose end is not known yet. */
Layout.prototype.isOpen = function (part, until) {
  if (part.waiting && part.waiting.nominal + this.room <= this.time) this.settle(part, Infinity);
  this.close(part);
  return Boolean((part.waiting && part.waiting.nominal - this.early < until) || (part.held && part.held.seconds < until));
};

widen(Player, "due", function (due, until) {
  this.sent = Math.max(this.sent, until);
  const parts = () => this.lesson.band.parts.filter((name) => this.limbs.has(name)).map((name) => this.limbs.get(name));
  while (this.time < until + this.early + this.room || parts().some((part) => this.isOpen(part, until))) this.layQuarter();
  return due(until);
});

widen(Player, "finish", function (finish, stroke) {
  const given = finish(stroke);
  return stroke.voice.band ? { ...given, key: stroke.pitch } : given;
});

widen(Player, "isHeard", function (isHeard, stroke) {
  const { part, band } = stroke.voice;
  return isHeard(stroke) && !(band && isAbsent(part, this.settings));
});

/** Whether a step leaves a part of the band at home, and no hand has switched it on. */
function isAbsent(part, { absent = [], limbs }) {
  return absent.includes(part) && !limbs[part];
}

// --- the sound ---

const HELD_FRAMES = 64; // a key goes up at one of these, as in the sound files

widen(Sound, "strike", function (strike, stroke) {
  if (!stroke.voice.band) return strike(stroke);
  const { part } = stroke.voice;
  const [recorded, playbackRate, louder, slope] = this.lesson.notes[part][stroke.key];
  const [layer] = this.hits.get(`${part} ${recorded}`);
  const loudness = this.lesson.loudness[part];
  const decibels = loudness[stroke.velocity] - loudness[layer.at] + louder + (stroke.volume || 0);
  const level = new GainNode(this.context, { gain: layer.scale * 10 ** (decibels / 20) });
  const [loopStart, loopEnd] = layer.loop || [0, 0];
  const round = { loop: Boolean(layer.loop), loopStart, loopEnd };
  const source = new AudioBufferSourceNode(this.context, { buffer: layer.buffer, playbackRate, ...round });
  source.connect(level).connect(this.out);
  const when = this.when(stroke.seconds);
  source.start(when);
  const blocks = Math.max(roundEven(((stroke.until - stroke.seconds) * RATE) / HELD_FRAMES), 1);
  const ends = when + (blocks * HELD_FRAMES) / RATE;
  const constant = 20 / Math.LN10 / slope;
  level.gain.setTargetAtTime(0, ends, constant);
  source.stop(ends + 10 * constant);
  const voice = { source, level, when, seconds: stroke.seconds, released: null };
  this.voices.add(voice);
  source.onended = () => this.drop(voice);
});
