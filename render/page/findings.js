/* What a match says in numbers: for each limb, each bar, each pair of limbs; the twin of grooves/takes/findings.py.
   Names of findings are those of docs/formats.md. A microphone's loudness is not compared here. */
"use strict";

const LIMBS = ["right hand", "left hand", "right foot", "left foot"];
const WITHIN_MS = [20, 30, 50];
const FEWEST_HEARD = 0.1; // share of a part's strokes under which it was not played at all
const ECHOES_HEARD = 0.8; // the same where they look like echoes of other pads, as feathered strokes do

/** Count and measure. `bars` are the sheet's bars that count, `delay` is the device's in ms where it is known. */
function findIn(take, sheet, alignment, match, bars = [], delay = null) {
  const kept = new Set(bars.length ? bars : sheet.bars.keys());
  const heard = heardParts(take, sheet, match, kept);
  const judged = judgedStrokes(take, sheet, match, kept, heard);
  const extras = match.extras.filter((at) => kept.has(barOfStroke(take, sheet, alignment, at)));
  const middles = limbMiddles(judged);
  const zero = median([...middles.values()]);
  const against = delay === null ? zero : delay - alignment.offset * 1000;
  const all = { judged, take, sheet, alignment, match, extras, kept, against, middles };
  return {
    offset_ms: alignment.offset * 1000 + zero,
    drift_ms_per_minute: alignment.drift * 60000,
    swing_asked: sheet.swing,
    swing_played: swingPlayed(judged, sheet),
    limbs: limbParts(sheet).map(([limb, part]) => limbFinding(limb, part, heard.has(part), all)),
    bars: barFindings(all),
    together: togetherFindings(judged),
    judged,
    zero_ms: against,
  };
}

/** Each limb with each part that it plays, hands first. */
function limbParts({ strokes, parts }) {
  const here = new Set(strokes.map(({ limb, part }) => `${limb} ${part}`));
  return LIMBS.flatMap((limb) => parts.filter((part) => here.has(`${limb} ${part}`)).map((part) => [limb, part]));
}

/** The parts that were played at all, and clearly enough. */
function heardParts(take, sheet, match, kept) {
  return new Set(sheet.parts.filter((part) => {
    const own = [...sheet.strokes.keys()].filter((at) => sheet.strokes[at].part === part && kept.has(sheet.strokes[at].bar));
    const hits = own.filter((at) => match.of[at] >= 0).map((at) => take.strokes[match.of[at]]);
    const plain = hits.filter(({ mark }) => !mark).length;
    const enough = plain >= FEWEST_HEARD * own.length || hits.length >= ECHOES_HEARD * own.length;
    return hits.length && enough && !(take.unclear || []).includes(part);
  }));
}

/** Every written stroke of the judged bars: whether it was played, and how late against the track. */
function judgedStrokes(take, sheet, match, kept, heard) {
  return [...sheet.strokes.keys()].filter((at) => kept.has(sheet.strokes[at].bar) && heard.has(sheet.strokes[at].part)).map((at) => {
    const stroke = sheet.strokes[at];
    return match.of[at] < 0 ? { stroke, state: "missed", late: 0 } : { stroke, state: "hit", late: match.late[at] * 1000 };
  });
}

/** Those that were hit. */
function hitOf(judged) {
  return judged.filter(({ state }) => state === "hit");
}

/** The middle lateness of each limb. */
function limbMiddles(judged) {
  const groups = byKey(hitOf(judged), ({ stroke }) => stroke.limb);
  return new Map([...groups].map(([limb, own]) => [limb, median(own.map(({ late }) => late))]));
}

/** How many are written, hit and missed. */
function countsOf(judged) {
  const hit = hitOf(judged).length;
  return { written: judged.length, hit, missed: judged.length - hit, unsure: 0 };
}

/** One limb on one part. */
function limbFinding(limb, part, heard, { judged, take, extras, against }) {
  if (!heard) return { limb, part, heard };
  const own = judged.filter(({ stroke }) => stroke.limb === limb && stroke.part === part);
  const found = { limb, part, heard, ...countsOf(own), extra: extras.filter((at) => take.strokes[at].part === part).length };
  const late = hitOf(own).map((one) => one.late);
  if (!late.length) return found;
  const middle = median(late);
  const within = (limit) => late.filter((one) => Math.abs(one - middle) <= limit).length / late.length;
  const shares = Object.fromEntries(WITHIN_MS.map((limit) => [`within_${limit}`, within(limit)]));
  return { ...found, lateness_ms: middle - against, spread_ms: robustSpread(late), ...shares };
}

// --- bars -----------------------------------------------------------------------------------------

/** The bar of the sheet that a played stroke falls in. */
function barOfStroke(take, sheet, alignment, at) {
  const moment = onTrack(take.strokes[at].seconds, alignment);
  const starts = sheet.bars.map(({ seconds, beat }) => seconds - beat / 4);
  return clamp(placeAfter(starts, moment) - 1, 0, sheet.bars.length - 1);
}

/** Every bar of the line over all its turns, each limb's own lateness taken off its spread. */
function barFindings({ judged, take, sheet, alignment, match, extras, kept, against, middles }) {
  const places = [...kept].sort((a, b) => a - b);
  const extraIn = extras.map((at) => sheet.bars[barOfStroke(take, sheet, alignment, at)].number);
  const numbers = new Set(places.map((place) => sheet.bars[place].number));
  return [...numbers].map((number) => {
    const turns = places.filter((place) => sheet.bars[place].number === number);
    const own = judged.filter(({ stroke }) => turns.includes(stroke.bar));
    const hits = hitOf(own);
    const bar = {
      bar: number,
      times: turns.length,
      ...countsOf(own),
      extra: extraIn.filter((other) => other === number).length,
      lateness_ms: hits.length ? median(hits.map(({ late }) => late - against)) : null,
      spread_ms: hits.length ? robustSpread(hits.map(({ late, stroke }) => late - middles.get(stroke.limb))) : null,
      lost_beats: turns.map((place) => match.lost[place]),
      limbs: Object.fromEntries([...middles.keys()].map((limb) => [limb, barLimb(own, limb, against)])),
    };
    return { ...bar, trouble: troubleOf(bar) };
  });
}

/** One limb in one bar. */
function barLimb(judged, limb, against) {
  const own = judged.filter(({ stroke }) => stroke.limb === limb);
  const late = hitOf(own).map((one) => one.late - against);
  return { ...countsOf(own), lateness_ms: late.length ? median(late) : null };
}

/** How badly a bar went: the share missed, half of what is extra, the spread in tenths of a second. */
function troubleOf({ written, missed, extra, lost_beats: lost, spread_ms: spread }) {
  const gone = missed + 0.5 * extra + 2 * sumOf(lost.map(Math.abs));
  return gone / Math.max(written, 1) + (spread || 0) / 100;
}

/** The sheet's bars that lie within a take: it may begin late and end early. */
function usableBars(take, sheet, alignment) {
  const last = new Map(sheet.strokes.map(({ bar, seconds }) => [bar, seconds]));
  const [begins, ends] = [0, take.seconds].map((moment) => onTrack(moment, alignment));
  return [...sheet.bars.keys()].filter((place) => {
    const { seconds, beat } = sheet.bars[place];
    return seconds > begins - beat / 4 && (last.get(place) ?? seconds) - beat / 4 < ends;
  });
}

// --- limbs together, swing ------------------------------------------------------------------------

/** Every pair of limbs over the places where both are written and both were played. */
function togetherFindings(judged) {
  const limbs = LIMBS.filter((limb) => judged.some(({ stroke }) => stroke.limb === limb));
  const places = byKey(hitOf(judged), ({ stroke }) => `${stroke.bar} ${stroke.place}`);
  const latest = [...places.values()].map((own) => new Map(own.map(({ stroke, late }) => [stroke.limb, late])));
  const pairs = limbs.flatMap((first, at) => limbs.slice(at + 1).map((second) => [first, second]));
  return pairs.flatMap(([first, second]) => {
    const gaps = latest.filter((late) => late.has(first) && late.has(second)).map((late) => late.get(second) - late.get(first));
    if (!gaps.length) return [];
    return [{ limbs: [first, second], places: gaps.length, apart_ms: median(gaps.map(Math.abs)), second_late_ms: median(gaps) }];
  });
}

/** Long to short of the eighths as one limb played them, by the ride where it was heard; null where there are none. */
function swingPlayed(judged, sheet) {
  if (sheet.swing === null || !sheet.parts.length) return null;
  const ratios = new Map(sheet.parts.map((part) => [part, swingRatios(judged, sheet, part)]));
  const ride = (ratios.get("ride") || []).length >= 4;
  const part = ride ? "ride" : most(sheet.parts, (one) => ratios.get(one).length);
  return ratios.get(part).length ? median(ratios.get(part)) : null;
}

/** (upbeat - beat) / (next beat - upbeat) wherever a part has struck all three. */
function swingRatios(judged, { meter, divisions }, part) {
  const moments = new Map();
  for (const { stroke, late } of hitOf(judged)) {
    if (stroke.part === part) moments.set(2 * (stroke.bar * meter.length * divisions + stroke.place), stroke.seconds + late / 1000);
  }
  const found = [];
  for (const [place, upbeat] of moments) {
    const [before, after] = [moments.get(place - divisions), moments.get(place + divisions)];
    if (remainder(place, 2 * divisions) === divisions && before !== undefined && after > upbeat) found.push((upbeat - before) / (after - upbeat));
  }
  return found;
}
