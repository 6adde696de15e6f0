/* Findings in a teacher's sentences, the weightiest first; the twin of grooves/takes/says.py, which names the sources. */
"use strict";

const NOTICED_MS = 19;
const SWING_NOTICED_MS = 24;
const GOOD_SPREAD_MS = 10;
const DRIFT_NOTICED_MS = 20;
const MOST_PLACES = 3;
const OFTEN = 0.5; // share of the rounds in which a place is missing

/** What to tell a student. `againstTrack` where the device's delay is known. */
function sentencesOf(found, sheet, unclear = [], againstTrack = false) {
  const heard = found.limbs.filter((one) => one.heard);
  const said = [
    ...sayLost(found, sheet),
    ...sayLate(heard, found, againstTrack),
    ...sayTogether(found),
    ...sayMissing(found, sheet),
    ...saySwing(found, sheet),
    ...saySpread(heard),
    ...sayExtra(heard, found),
    ...sayDrift(found),
    ...sayUnheard(found, unclear),
  ];
  if (againstTrack || heard.length < 2) return said;
  return [...said, "How late all limbs are together is not told, since it looks the same as the device's own delay."];
}

/** A number with its noun. */
function counted(number, what) {
  return `${number} ${what}${number === 1 ? "" : "s"}`;
}

/** Words in a row: "3, 6 and 7". */
function listed(words) {
  const first = words.slice(0, -1);
  return first.length ? `${first.join(", ")} and ${words[words.length - 1]}` : String(words[0]);
}

// --- time -----------------------------------------------------------------------------------------

/** Limbs that lie off by more than is noticed, the worst first. */
function sayLate(heard, found, againstTrack) {
  const than = againstTrack ? "the track" : "the other limbs";
  const late = heard.filter(({ lateness_ms: lateness }) => lateness !== undefined && Math.abs(lateness) >= NOTICED_MS);
  late.sort((one, other) => Math.abs(other.lateness_ms) - Math.abs(one.lateness_ms));
  return late.map((one) => {
    const where = one.lateness_ms > 0 ? "after" : "before";
    return `Your ${limbName(one, heard)} came ${shown(Math.abs(one.lateness_ms))} ms ${where} ${than}${mostIn(one.limb, found)}.`;
  });
}

/** A limb, with its part where it plays more than one. */
function limbName({ limb, part }, heard) {
  return heard.filter((other) => other.limb === limb).length > 1 ? `${limb} on the ${part}` : `${limb} (${part})`;
}

/** Where a limb was off most: bars in which it was by a quarter more than elsewhere. */
function mostIn(limb, { bars }) {
  const off = bars.filter((bar) => (bar.limbs[limb]?.lateness_ms ?? null) !== null).map((bar) => [bar.bar, Math.abs(bar.limbs[limb].lateness_ms)]);
  if (off.length < 3) return "";
  const usual = off.map(([, late]) => late).sort((a, b) => a - b)[Math.floor(off.length / 2)];
  const worst = [...off].sort((one, other) => other[1] - one[1]).slice(0, 2).filter(([, late]) => late > 1.25 * usual + 3);
  if (!worst.length) return "";
  const numbers = worst.map(([bar]) => bar).sort((a, b) => a - b);
  return `, most in ${numbers.length > 1 ? "bars" : "bar"} ${listed(numbers)}`;
}

/** How far apart limbs fell that are written together. */
function sayTogether({ together }) {
  const many = together.filter(({ places }) => places >= 4);
  if (!many.length) return [];
  const { limbs, places, apart_ms: apart } = most(many, (pair) => pair.apart_ms);
  if (apart < NOTICED_MS) return [`Limbs that are written together fell together: ${shown(apart)} ms apart as a rule, or nearer.`];
  const [first, second] = limbs;
  const name = first[0].toUpperCase() + first.slice(1);
  return [`${name} and ${second} are written together in ${places} places and fell ${shown(apart)} ms apart as a rule.`];
}

/** Whose time is least steady, or that all is. */
function saySpread(heard) {
  const measured = heard.filter(({ spread_ms: spread, hit }) => spread !== undefined && hit >= 8);
  if (!measured.length) return [];
  const worst = most(measured, (one) => one.spread_ms);
  const spread = shown(worst.spread_ms);
  if (worst.spread_ms > 2 * GOOD_SPREAD_MS) return [`Your ${limbName(worst, heard)} is the least steady: it spreads by ${spread} ms around its place.`];
  return worst.spread_ms <= GOOD_SPREAD_MS ? [`Your time is steady: no limb spreads by more than ${spread} ms.`] : [];
}

/** Another swing than the asked one. */
function saySwing({ swing_asked: asked, swing_played: played }, { bars, meter }) {
  if (asked === null || played === null) return [];
  const beats = bars.map(({ beat }) => beat).sort((a, b) => a - b);
  const quarter = (1000 * beats[Math.floor(beats.length / 2)]) / meter.pulse;
  const moved = quarter * (played / (played + 1) - asked / (asked + 1));
  if (Math.abs(moved) < SWING_NOTICED_MS) return [];
  const way = moved > 0 ? "late" : "early";
  return [`You swung ${shown(played, 1)} : 1; ${shown(asked, 1)} : 1 is asked, so your upbeats came ${shown(Math.abs(moved))} ms ${way}.`];
}

/** Moving against the track from beginning to end. */
function sayDrift({ drift_ms_per_minute: drift }) {
  if (Math.abs(drift) < DRIFT_NOTICED_MS) return [];
  return [`From beginning to end you moved ${shown(Math.abs(drift))} ms a minute ${drift > 0 ? "behind" : "ahead of"} the track.`];
}

// --- strokes missing, too many, out of place --------------------------------------------------------

/** A place as beat and syllable: "2&"; the twin of `place_name` in grooves/rhythm.py. */
function spokenPlace(place, { meter, divisions }) {
  const [top, bottom] = [2 * place * meter.count, 2 * divisions * meter.length]; // in counted numbers
  const number = Math.floor(top / bottom) + 1;
  const within = placeName((top % bottom) / bottom, bottom);
  const said = { 0: "", "1/4": "e", "1/2": "&", "3/4": "a", "1/3": "trip", "2/3": "let" }[within];
  return `${number}${said ?? `+${within}`}`;
}

/** Where a stroke is written: "bar 3", or the pickup, which has no number. */
function spokenBar({ bar, place }, { bars }) {
  return place < 0 ? "the pickup" : `bar ${bars[bar].number}`;
}

/** The places that were missed most often, and how many there were in all. */
function sayMissing({ judged }, sheet) {
  const beatOf = ({ place }) => spokenPlace(remainder(place, sheet.meter.length * sheet.divisions), sheet);
  const groups = byKey(judged, ({ stroke }) => `${spokenBar(stroke, sheet)} ${stroke.part} ${beatOf(stroke)}`);
  const places = [...groups.values()].map((own) => ({ stroke: own[0].stroke, of: own.length, gone: own.length - hitOf(own).length }));
  const often = places.filter(({ gone, of }) => gone && gone >= OFTEN * of).sort((one, other) => other.gone - one.gone);
  const said = often.slice(0, MOST_PLACES).map(({ stroke, gone, of }) => {
    const rounds = of > 1 ? ` in ${gone} of ${of} rounds` : "";
    return `In ${spokenBar(stroke, sheet)} the ${stroke.part} was missing on ${beatOf(stroke)}${rounds}.`;
  });
  const total = sumOf(places.map(({ gone }) => gone));
  const told = sumOf(often.map(({ gone }) => gone));
  if (total && (!often.length || often.length > MOST_PLACES || total > told)) {
    said.push(`In all ${total} of ${judged.length} written strokes were missing.`);
  }
  return !total && judged.length ? [...said, "Nothing that is written was missing."] : said;
}

/** Strokes that are not written. */
function sayExtra(heard, { bars }) {
  const total = sumOf(heard.map(({ extra }) => extra));
  return total ? [`${counted(total, "stroke")} too many, most of them in bar ${most(bars, ({ extra }) => extra).bar}.`] : [];
}

/** Rows of bars that were played beats off, in the order they were played. */
function sayLost({ bars, judged }, sheet) {
  const turns = new Map();
  const played = [...new Set(judged.map(({ stroke }) => stroke.bar))].sort((a, b) => a - b).map((place) => {
    const bar = bars.find(({ bar: number }) => number === sheet.bars[place].number);
    const turn = turns.get(bar) || 0;
    turns.set(bar, turn + 1);
    return { bar, turn: turn + 1, lag: bar.lost_beats[turn] };
  });
  const runs = [];
  for (const one of played) {
    const run = runs[runs.length - 1];
    if (run && run[0].lag === one.lag) run.push(one);
    else runs.push([one]);
  }
  return runs.filter(([{ lag }]) => lag).map((run) => {
    const [{ bar, turn, lag }] = run;
    const which = bar.times > 1 ? ` (round ${turn})` : "";
    return `From bar ${bar.bar}${which} you were ${counted(Math.abs(lag), "beat")} ${lag > 0 ? "late" : "early"} for ${counted(run.length, "bar")}.`;
  });
}

/** What was not played, or not clearly. */
function sayUnheard({ limbs }, unclear) {
  const here = new Set(limbs.filter((one) => one.heard).map(({ part }) => part));
  const silent = limbs.filter((one) => !one.heard && !unclear.includes(one.part) && !here.has(one.part));
  const said = silent.length ? [`Not played, or not heard: ${listed(silent.map(({ limb, part }) => `${limb} (${part})`))}.`] : [];
  return [...said, ...unclear.map((part) => `The ${part} is not heard clearly enough to be judged.`)];
}
