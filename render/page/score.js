/* The lesson as it stands in the page: bars of strokes, each at its written place in quarters. */
"use strict";

const TIME = "time";
const LINE = "line";

/** Unpack the score: every pattern of strokes becomes a list for each quarter of its bar. */
function readLesson(data) {
  const patterns = data.patterns.map((rows) => byQuarter(rows.map((row) => readStroke(row, data)), data.meter.length));
  const unpacked = (bar) => ({ ...bar, strokes: patterns[bar.strokes], alone: patterns[bar.alone] });
  const lines = data.lines.map((line) => ({ ...line, bars: line.bars.map(unpacked) }));
  const [{ bars, readings }] = lines;
  return { ...data, lines, bars, readings, chorus: bars.length / readings };
}

/** One stroke from its row: place, voice, loudness, share of the level's deviation, which swing moves it, column. */
function readStroke([tick, voice, level, spread, moves, column], data) {
  return { onset: tick / data.divisions, voice: data.voices[voice], level, spread, moves, column };
}

/** Strokes sorted into the quarters of a bar. */
function byQuarter(strokes, length) {
  const quarters = Array.from({ length: Math.ceil(length) }, () => []);
  for (const stroke of strokes) quarters[Math.floor(stroke.onset)].push(stroke);
  return quarters;
}

/** Put the same line on another drum: the bars of one of the lesson's lines. */
function moveLine(lesson, number) {
  const { bars, readings } = lesson.lines[number];
  Object.assign(lesson, { bars, readings, line: number });
}

/** The other side of a limb's name. */
function mirrored(limb) {
  return limb.startsWith("right") ? limb.replace("right", "left") : limb.replace("left", "right");
}

/** Swap right and left of everyone who plays, and of where each stands against the beat. */
function mirrorLesson(lesson) {
  for (const voice of lesson.voices) voice.limb = mirrored(voice.limb);
  const { placement } = lesson.feel;
  lesson.feel.placement = Object.fromEntries(Object.entries(placement).map(([limb, at]) => [mirrored(limb), at]));
  lesson.rows = lesson.rows.map(mirrored);
}

/** How the page plays when it is opened. */
function firstSettings(lesson) {
  return {
    tempo: lesson.tempo,
    swing: lesson.feel.swing,
    lineSwing: lesson.feel.lineSwing,
    limbs: {}, // limb, part or "line" → "softer" or "off"
    only: [], // names that sound; none: everyone
    lowered: {}, // limb, part or "line" → by how much, as a track of the lesson asks
    softer: lesson.softer,
    volumes: {}, // limb, "click" or "count-in" → decibels
    alone: false, // the time by itself, as if there were no line
    click: "off",
    countIn: lesson.countIn,
    from: 0, // the place in the chorus at which playing begins
    loop: [], // places in the chorus; none: all of it
    rise: null, // { by, every, to, waits, same }
    fade: null, // { times, to, names }
    trade: null, // { first, second, swap, echo }: bars with what is off, then bars in which it is the student's
    silence: null, // { first, second, swap }: bars of sound, then bars of silence
  };
}

/** The names by which a stroke's voice can be left out or lowered. */
function namesOf(voice) {
  return voice.role === TIME ? [voice.part, voice.limb] : [voice.part, voice.limb, LINE];
}

/** Whether a voice sounds at all with these settings. */
function sounds(voice, { limbs, only }) {
  const names = namesOf(voice);
  return !names.some((name) => limbs[name] === "off") && (!only.length || names.some((name) => only.includes(name)));
}

/** Whose bar it is: "ours" or "yours" in a trade, "silent" where all rest, else "". */
function turnOf({ number, echoed }, { trade, silence }) {
  const isFirst = ({ first, second }) => number % (first + second) < first;
  if (silence) return isFirst(silence) ? "" : "silent";
  if (trade && trade.echo) return echoed ? "yours" : "ours";
  if (trade) return isFirst(trade) ? "ours" : "yours";
  return "";
}

/** Whether a voice sounds in a bar: in a trade who is off comes in by turns, or the line where nobody is off. */
function soundsIn(cell, voice, settings) {
  const whose = turnOf(cell, settings);
  if (whose === "silent" || whose === "ours") return whose === "ours";
  const nobody = !Object.values(settings.limbs).includes("off");
  return whose === "yours" && nobody ? voice.role === TIME : sounds(voice, settings);
}

/** The bars of one time through, each with whether it is the echo of bars just played. */
function withEchoes(places, { trade }) {
  if (!trade || !trade.echo) return places.map((place) => ({ place, echoed: false }));
  const turns = [];
  for (let at = 0; at < places.length; at += trade.first) {
    const some = places.slice(at, at + trade.first);
    turns.push(...some.map((place) => ({ place, echoed: false })), ...some.map((place) => ({ place, echoed: true })));
  }
  return turns;
}

/** How much further on the turns begin in each time through, where it holds whole turns. */
function furtherBy({ trade, silence }, bars) {
  const how = trade || silence;
  return how && how.swap && !how.echo && bars % (how.first + how.second) === 0 ? how.second : 0;
}

/** How much lower a voice sounds: softer limbs, what a track asks, and what fades as far as it has by this time. */
function lowered(voice, settings, round) {
  const names = namesOf(voice);
  const sum = (of) => names.reduce((total, name) => total + of(name), 0);
  const softer = sum((name) => (settings.limbs[name] === "softer" ? settings.softer : 0) + (settings.lowered[name] || 0));
  if (!settings.fade) return softer;
  const { times, to, names: fading } = settings.fade;
  const steps = Math.min(round, times - 1) / Math.max(times - 1, 1);
  return softer + sum((name) => (fading.includes(name) ? to * steps : 0));
}

/** The felt beats struck in one bar of the count-in; the twin of `count_in_beats` in grooves/passages.py. */
function countInBeats(bar, bars, pulses) {
  const step = bar === bars - 1 ? 1 : pulses % 2 ? pulses : 2;
  return Array.from({ length: Math.ceil(pulses / step) }, (_, beat) => beat * step);
}

/** Whether the click is on at a felt beat. */
function clicks(click, beat) {
  return click === "every beat" || (click === "2 and 4" && beat % 2 === 1);
}
