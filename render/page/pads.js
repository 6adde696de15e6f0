/* Which pad is which part, and which notes are echoes; the twin of grooves/takes/pads.py, which names the sources.
   A note is { seconds, key, velocity, channel }. */
"use strict";

const PAD_KEYS = {
  // the nearest first: a part takes a key before another one's neighbour does
  ride: [51, 59, 53],
  "ride bell": [53],
  "closed hi-hat": [42],
  "open hi-hat": [46],
  snare: [38, 40, 37],
  "cross-stick": [37],
  "bass drum": [36, 35],
  "hi-hat": [44],
};
const DRUM_CHANNEL = 9; // channel 10, counted from 0
const DOUBLE_SECONDS = 0.035;
const DOUBLE_SHARE = 0.65;
const CROSSTALK_SECONDS = 0.006;
const CROSSTALK_SHARE = 0.3;
const GOOD_AGREEMENT = 0.6; // F of a pad's strokes with a part
const CLEAR_LEAD = 0.1; // before the next best part
const MOST_AROUND = 16; // notes that are looked at for an echo: a kit has no more pads
const FEWEST_GUESSED = 4; // strokes that let a pad be guessed

/** The keys of a lesson's parts: key → part. */
function usualPads(parts) {
  const found = new Map(parts.map((part) => [PAD_KEYS[part][0], part]));
  for (const part of parts) {
    for (const key of PAD_KEYS[part]) if (!found.has(key)) found.set(key, part);
  }
  return found;
}

/** Those of the drums' channel where there are any, else all. */
function drumNotes(notes) {
  const drums = notes.filter(({ channel }) => channel === DRUM_CHANNEL);
  return drums.length ? drums : notes;
}

/** What a note probably is instead of a stroke: the soft echo of its own pad, or of a neighbour's. */
function echoMark(notes, at) {
  const { seconds, key, velocity } = notes[at];
  const near = notesAround(notes, at);
  const beside = near.filter((other) => other.key !== key && Math.abs(other.seconds - seconds) <= CROSSTALK_SECONDS);
  if (beside.some((other) => velocity <= CROSSTALK_SHARE * other.velocity)) return "crosstalk";
  const before = near.filter((other) => other.key === key && other.seconds <= seconds);
  return before.some((other) => velocity <= DOUBLE_SHARE * other.velocity) ? "double" : "";
}

/** The notes so near to one in time that it could be their echo. */
function notesAround(notes, at) {
  const now = notes[at].seconds;
  let [first, last] = [at, at];
  while (first && at - first < MOST_AROUND && now - notes[first - 1].seconds <= DOUBLE_SECONDS) first--;
  while (last + 1 < notes.length && last - at < MOST_AROUND && notes[last + 1].seconds - now <= CROSSTALK_SECONDS) last++;
  return [...notes.slice(first, at), ...notes.slice(at + 1, last + 1)];
}

/** Notes as a take, every pad with its part: { take, guessed, unknown }. `told` is what the student struck to say so. */
function takeOfPads(notes, sheet, told = null) {
  const struck = [...notes].sort((one, other) => one.seconds - other.seconds || one.key - other.key);
  const known = told ?? usualPads(sheet.parts);
  const strokes = struck.map(({ seconds, key, velocity }, at) => {
    return { seconds, key, velocity, part: known.get(key) || "", mark: echoMark(struck, at) };
  });
  const take = { strokes, seconds: strokes.length ? strokes[strokes.length - 1].seconds : 0, unclear: [] };
  if (told) return { take, guessed: new Map(), unknown: [] };
  const { guessed, unknown } = guessPads(take, sheet);
  const named = strokes.map((one) => ({ ...one, part: one.part || guessed.get(one.key) || "" }));
  return { take: { ...take, strokes: named }, guessed, unknown };
}

/** Strange keys by how well their strokes agree with a part that no key of the take plays. */
function guessPads(take, sheet) {
  const strange = take.strokes.filter(({ part, mark }) => !part && mark !== "double");
  const here = new Set(take.strokes.map(({ part }) => part));
  const open = sheet.parts.filter((part) => !here.has(part));
  const keys = [...byKey(strange, ({ key }) => key)].filter(([, own]) => own.length >= FEWEST_GUESSED).sort((a, b) => a[0] - b[0]);
  if (!keys.length || !open.length) return { guessed: new Map(), unknown: [] };
  const shift = coarseOffset(take, sheet);
  const scores = keys.map(([key, own]) => ({ key, ...bestPart(momentsOf(own).map((moment) => moment - shift), sheet, open) }));
  const guessed = new Map();
  for (const { key, part, score, lead } of [...scores].sort((one, other) => other.score - one.score)) {
    const taken = [...guessed.values()].includes(part);
    if (score >= GOOD_AGREEMENT && lead >= CLEAR_LEAD && !taken) guessed.set(key, part);
  }
  return { guessed, unknown: keys.map(([key]) => key).filter((key) => !guessed.has(key)) };
}

/** The part with which moments agree best, and how far it is before the next. */
function bestPart(moments, sheet, parts) {
  const scores = parts.map((part) => ({ part, score: agreement(momentsOf(sheet.strokes.filter((one) => one.part === part)), moments) }));
  const [best, next] = scores.sort((one, other) => other.score - one.score);
  return { ...best, lead: best.score - (next ? next.score : 0) };
}

/** What was guessed about pads, and what to do about those that nobody could guess. */
function padNotes({ take, guessed, unknown }, sheet) {
  const said = [...guessed].map(([key, part]) => `Key ${key} was taken for the ${part}.`);
  const played = new Set(take.strokes.map(({ part }) => part));
  if (unknown.length && sheet.parts.some((part) => !played.has(part))) {
    said.push(`What is played on ${listed(unknown.map((key) => `key ${key}`))} is not clear: strike each pad once, so that it is known.`);
  }
  return said;
}
