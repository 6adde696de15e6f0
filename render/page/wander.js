/* How a player leaves the track: wandering off it slowly, beats lost, another swing. The twins of wander.py, lost.py and
   swing.py in grooves/takes. */
"use strict";

const STRETCH_SECONDS = 5;
const HOP_SECONDS = 1.5;
const WANDER_REACH_SECONDS = 0.16; // farther off is not wandering
const WANDER_STEP_SECONDS = 0.008;
const FARTHEST_STEPS = 3; // from one stretch to the next
const STEP_PRICE = 0.05; // in shares of the written strokes
const WANDER_BLUR = [0.25, 0.75, 1, 0.75, 0.25];

/** The take's moments on the track, its slow wandering taken off. */
function straightened(take, sheet, alignment) {
  const [times, late] = wanderCourse(take, sheet, alignment);
  return take.strokes.map(({ seconds }) => {
    const moment = onTrack(seconds, alignment);
    return moment - between(moment, times, late);
  });
}

/** Moments along the track, and how many seconds late the whole take is there as against its middle. */
function wanderCourse(take, sheet, alignment) {
  const parts = combs(take, sheet).map(([written, played]) => [written, played.map((one) => onTrack(one, alignment))]);
  if (!parts.length) return [[], []];
  const count = Math.ceil((Math.max(endOf(sheet) - STRETCH_SECONDS, 0) + HOP_SECONDS) / HOP_SECONDS);
  const starts = Array.from({ length: count }, (_, at) => at * HOP_SECONDS);
  const steps = Math.trunc((2 * WANDER_REACH_SECONDS) / WANDER_STEP_SECONDS) + 1;
  const shares = starts.map(() => new Float64Array(steps));
  for (const [written, played] of parts) {
    stepCounts(written, played, count, steps).forEach((row, at) => row.forEach((value, step) => (shares[at][step] += value)));
  }
  const reach = Math.ceil(STRETCH_SECONDS / HOP_SECONDS) * HOP_SECONDS;
  const due = starts.map((start) => sumOf(parts.map(([written]) => placeFrom(written, start + reach) - placeFrom(written, start))));
  const path = smoothest(shares.map((row, at) => row.map((value) => value / Math.max(due[at], 1))));
  const late = path.map((step) => step * WANDER_STEP_SECONDS - WANDER_REACH_SECONDS);
  const middle = median(late);
  return [starts.map((start) => start + STRETCH_SECONDS / 2), late.map((one) => one - middle)];
}

/** Of one part: how many strokes of each stretch lie at each step off. */
function stepCounts(written, played, stretches, steps) {
  const reach = Math.ceil(STRETCH_SECONDS / HOP_SECONDS);
  const counts = Array.from({ length: stretches + reach }, () => new Float64Array(steps));
  for (const [first, second] of nearPairs(written, played, WANDER_REACH_SECONDS)) {
    const off = roundEven((played[second] - written[first] + WANDER_REACH_SECONDS) / WANDER_STEP_SECONDS);
    const hop = Math.max(Math.trunc(written[first] / HOP_SECONDS), 0);
    counts[Math.min(hop, counts.length - 1)][clamp(off, 0, steps - 1)] += 1;
  }
  return Array.from({ length: stretches }, (_, at) => {
    const row = new Float64Array(steps);
    for (const one of counts.slice(at, at + reach)) one.forEach((value, step) => (row[step] += value));
    return blurred(row, WANDER_BLUR);
  });
}

/** The row of steps, one for each stretch, with the greatest shares less the price of its changes (Viterbi). */
function smoothest(shares) {
  const price = (change) => (change > FARTHEST_STEPS ? Infinity : STEP_PRICE * change);
  return likeliest(shares, shares[0], (from, to) => price(Math.abs(from - to)));
}

/** The likeliest row of states: what each fits at each time, less the price from one state to the next. */
function likeliest(fits, first, price) {
  let total = [...first];
  const came = [];
  for (const fit of fits.slice(1)) {
    const before = [...fit].map((_, to) => largest(total.map((sum, from) => sum - price(from, to))));
    came.push(before);
    total = before.map((from, to) => total[from] - price(from, to) + fit[to]);
  }
  const row = [largest(total)];
  for (const before of came.reverse()) row.push(before[row[row.length - 1]]);
  return row.reverse();
}

// --- beats lost -----------------------------------------------------------------------------------

const LAGS = [0, -1, 1, -2, 2]; // beats late; the first is in place
const LOST_WITHIN_SECONDS = 0.045;
const LAG_CHANGE = 7; // price of another lag, in strokes that fit
const LAG_STRAY = 0.5; // of a played stroke that fits nowhere

/** For each bar how many beats late it was played. */
function lostBeats(take, sheet, alignment) {
  const fits = lagFits(take, sheet, alignment);
  const first = fits[0].map((fit, column) => fit - (column ? LAG_CHANGE : 0));
  return likeliest(fits, first, (from, to) => (from === to ? 0 : LAG_CHANGE)).map((column) => LAGS[column]);
}

/** Seconds by which most bars are off, so that the take was laid wrong and not played wrong; 0 where they are not. */
function offThroughout(lost, { bars }) {
  const lag = most(LAGS, (one) => lost.filter((other) => other === one).length);
  return lag * bars.map(({ beat }) => beat).sort((a, b) => a - b)[Math.floor(bars.length / 2)];
}

/** How many strokes of each bar fit the take at each lag, less those played there that do not. */
function lagFits(take, sheet, alignment) {
  const straight = straightened(take, sheet, alignment);
  const fits = sheet.bars.map(() => LAGS.map(() => 0));
  for (const part of sheet.parts) {
    const struck = straight.filter((_, at) => take.strokes[at].part === part && take.strokes[at].mark !== "double");
    const own = sheet.strokes.filter((one) => one.part === part);
    if (!struck.length || !own.length) continue;
    const near = nearestGaps(momentsOf(own), struck).filter((gap) => Math.abs(gap) <= 2 * LOST_WITHIN_SECONDS);
    const late = median(near);
    const played = struck.map((moment) => moment - late);
    LAGS.forEach((lag, column) => addFit(fits, column, own, played, sheet, lag));
  }
  return fits;
}

/** Of one part at one lag: hits less misses, and less strokes in the bar that meet nothing. */
function addFit(fits, column, own, played, sheet, lag) {
  const meant = own.map(({ seconds, bar }) => seconds + lag * sheet.bars[bar].beat);
  nearestGaps(meant, played).forEach((gap, at) => {
    fits[own[at].bar][column] += Math.abs(gap) <= LOST_WITHIN_SECONDS ? 1 : -1;
  });
  const starts = sheet.bars.map(({ seconds, beat }) => seconds + lag * beat);
  const inOrder = [...meant].sort((a, b) => a - b);
  nearestGaps(played, inOrder).forEach((gap, at) => {
    if (Math.abs(gap) <= LOST_WITHIN_SECONDS) return;
    fits[clamp(placeFrom(starts, played[at] + LOST_WITHIN_SECONDS) - 1, 0, starts.length - 1)][column] -= LAG_STRAY;
  });
}

// --- another swing --------------------------------------------------------------------------------

const STRAIGHTEST = 1 / 2; // where in the beat an upbeat lies at 1 : 1
const WIDEST = 7 / 9; // and at 3.5 : 1
const SWING_STEP = 0.01; // beats
const CLEARLY = 1.4; // how many times more strokes must fall at another swing than at the asked one
const FEWEST_UPBEATS = 8;
const NEAR_BEATS = 0.06;

/** The sheet with its upbeats where this take has them; as it is where the asked swing fits, or eighths do not swing. */
function swungAsPlayed(take, sheet, alignment) {
  if (sheet.swing === null) return sheet;
  const upbeats = upbeatsOf(sheet);
  const gaps = upbeatGaps(take, upbeats, sheet, alignment);
  const asked = sheet.swing / (sheet.swing + 1);
  const shift = gaps.length >= FEWEST_UPBEATS ? swingShift(gaps, asked) : 0;
  if (!shift) return sheet;
  const moved = new Set(upbeats);
  const strokes = sheet.strokes.map((one) => (moved.has(one) ? { ...one, seconds: one.seconds + shift * quarterOf(one, sheet) } : one));
  return { ...sheet, strokes };
}

/** The strokes halfway between beats, but in beats where sixteenths or triplets are written. */
function upbeatsOf({ strokes, divisions }) {
  const beatOf = ({ bar, place }) => `${bar} ${Math.floor(place / divisions)}`;
  const fixed = new Set(strokes.filter(({ place }) => (2 * place) % divisions).map(beatOf));
  return strokes.filter((one) => remainder(2 * one.place, 2 * divisions) === divisions && !fixed.has(beatOf(one)));
}

/** Seconds of a quarter where a stroke stands. */
function quarterOf({ bar }, { bars, meter }) {
  return bars[bar].beat / meter.pulse;
}

/** From written upbeats to all strokes of their part around them, in quarters. */
function upbeatGaps(take, upbeats, sheet, alignment) {
  return sheet.parts.flatMap((part) => {
    const own = upbeats.filter((one) => one.part === part);
    const real = take.strokes.filter((one) => one.part === part && one.mark !== "double");
    const played = real.map(({ seconds }) => onTrack(seconds, alignment));
    const quarters = own.map((one) => quarterOf(one, sheet));
    const pairs = nearPairs(momentsOf(own), played, Math.max(0, ...quarters));
    return pairs.map(([first, second]) => (played[second] - own[first].seconds) / quarters[first]);
  });
}

/** How many quarters later than asked most upbeats fall, 0 where the asked place is as good. */
function swingShift(gaps, asked) {
  const start = STRAIGHTEST - asked - 2 * SWING_STEP;
  const step = start + SWING_STEP - start;
  const count = Math.ceil((WIDEST - asked + 2 * SWING_STEP - start) / SWING_STEP);
  const steps = Array.from({ length: count }, (_, at) => start + at * step);
  const near = (place) => gaps.filter((gap) => Math.abs(gap - place) <= NEAR_BEATS / 2).length;
  const counts = steps.map(near);
  const best = steps[largest(counts)];
  if (Math.max(...counts) < Math.max(CLEARLY * near(0), FEWEST_UPBEATS)) return 0;
  return median(gaps.filter((gap) => Math.abs(gap - best) <= NEAR_BEATS));
}
