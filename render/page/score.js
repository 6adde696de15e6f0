/* The lesson as it stands in the page: bars of strokes, each at its written place in quarters. */
"use strict";

const TIME = "time";
const LINE = "line";

/** Unpack the score: every pattern of strokes becomes a list for each quarter of its bar. */
function readLesson(data) {
  const patterns = data.patterns.map((rows) => byQuarter(rows.map((row) => readStroke(row, data)), data.meter.length));
  const bars = data.bars.map((bar) => ({ ...bar, strokes: patterns[bar.strokes], alone: patterns[bar.alone] }));
  return { ...data, bars, chorus: bars.length / data.readings };
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

/** How the page plays when it is opened. */
function firstSettings(lesson) {
  return {
    tempo: lesson.tempo,
    swing: lesson.feel.swing,
    lineSwing: lesson.feel.lineSwing,
    limbs: {}, // limb, part or "line" → "softer" or "off"
    softer: lesson.softer,
    alone: false, // the time by itself, as if there were no line
    click: "off",
    countIn: lesson.countIn,
    loop: [], // places in the chorus; none: all of it
    rise: null, // { by, every, to }
    fade: null, // { times, to }
    trade: null, // { first, second }: bars with what is off, then bars in which it is the student's
    silence: null, // { first, second }: bars of sound, then bars of silence
  };
}

/** The names by which a stroke's voice can be left out or lowered. */
function namesOf(voice) {
  return voice.role === TIME ? [voice.part, voice.limb] : [voice.part, voice.limb, LINE];
}

/** Whether a voice sounds at all with these settings. */
function sounds(voice, settings) {
  return !namesOf(voice).some((name) => settings.limbs[name] === "off");
}

/** Whose bar it is, counted from the count-in: "ours" or "yours" in a trade, "silent" where all rest, else "". */
function turnOf(number, { trade, silence }) {
  const isFirst = ({ first, second }) => number % (first + second) < first;
  if (silence) return isFirst(silence) ? "" : "silent";
  if (trade) return isFirst(trade) ? "ours" : "yours";
  return "";
}

/** Whether a voice sounds in a bar: in a trade who is off comes in by turns, or the line where nobody is off. */
function soundsIn(number, voice, settings) {
  const whose = turnOf(number, settings);
  if (whose === "silent" || whose === "ours") return whose === "ours";
  const nobody = !Object.values(settings.limbs).includes("off");
  return whose === "yours" && nobody ? voice.role === TIME : sounds(voice, settings);
}

/** How much lower a voice sounds: softer limbs, and the line as far as it has faded by this time through. */
function lowered(voice, settings, turn) {
  const softer = namesOf(voice).filter((name) => settings.limbs[name] === "softer").length * settings.softer;
  if (!settings.fade || voice.role === TIME) return softer;
  const { times, to } = settings.fade;
  return softer + (to * Math.min(turn, times - 1)) / Math.max(times - 1, 1);
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
