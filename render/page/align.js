/* Where a take lies on what is written, and how its clock drifts; the twin of grooves/takes/align.py.
   A take is { strokes, seconds, unclear }, each stroke { seconds, part, key, velocity, mark }; a sheet is
   { strokes, bars, parts, meter, divisions, swing }, each stroke { seconds, limb, part, role, bar, place }. */
"use strict";

const NEAR_SECONDS = 0.45; // where a take's beginning is looked for, one after the other
const FAR_SECONDS = 1.5;
const BIN_SECONDS = 0.004;
const BLUR_SECONDS = 0.028;
const GOOD_SHARE = 0.8; // share of what is written that falls in place, from which on nothing farther is tried
const SHORTEST_SHARE = 0.25; // share of the track that a part is taken to cover at least
const FARTHER_LEAD = 0.06; // how much better a farther place must be
const CLOSE_SECONDS = 0.06;
const SLOPE_POINTS = 400;

/** A moment of a take as a moment of the track. */
function onTrack(seconds, { offset, drift }) {
  return (seconds - offset) / (1 + drift);
}

/** The moments of strokes. */
function momentsOf(strokes) {
  return strokes.map(({ seconds }) => seconds);
}

/** Written and played moments of every part that was played; `together` mixes all parts. */
function combs(take, sheet, together = false) {
  const real = take.strokes.filter(({ mark }) => mark !== "double");
  if (together) return [[momentsOf(sheet.strokes), momentsOf(real)]];
  return sheet.parts
    .map((part) => [sheet.strokes, real].map((all) => momentsOf(all.filter((one) => one.part === part))))
    .filter(([, played]) => played.length);
}

/** Lay a take on its track. */
function alignTake(take, sheet) {
  const parts = combs(take, sheet);
  let best = { offset: 0, drift: 0, share: 0 };
  if (!parts.length) return best;
  best = searchPlace(parts, take, sheet);
  for (let round = 0; round < 3; round++) best = refined(parts, best);
  return best;
}

/** The offset by known parts alone, or where none is known by all strokes together. */
function coarseOffset(take, sheet) {
  const own = combs(take, sheet);
  const parts = own.length ? own : combs(take, sheet, true);
  return parts.length ? refined(parts, searchPlace(parts, take, sheet)).offset : 0;
}

/** Near the beginning first, then farther, then anywhere; a farther place must be clearly better. */
function searchPlace(parts, take, sheet) {
  let best = { offset: 0, drift: 0, share: 0 };
  for (const reach of [NEAR_SECONDS, FAR_SECONDS, Math.max(endOf(sheet), take.seconds)]) {
    const { offset, share } = combPeak(parts, reach);
    if (!best.share || share > best.share + FARTHER_LEAD) best = { offset, drift: 0, share };
    if (best.share >= GOOD_SHARE) break;
  }
  return best;
}

/** The last barline. */
function endOf({ bars }) {
  const last = bars[bars.length - 1];
  return last.seconds + last.length;
}

/** The offset within reach at which most falls in place, and the share of the written strokes that does. */
function combPeak(parts, reach) {
  const bins = Math.trunc((2 * reach) / BIN_SECONDS) + 1;
  const total = new Float64Array(bins);
  const weights = partWeights(parts);
  parts.forEach(([written, played], number) => {
    const due = dueIn(written, played);
    const counts = gapCounts(written, played, reach, bins);
    for (let at = 0; at < bins; at++) total[at] += (weights[number] * counts[at]) / due;
  });
  const width = Math.trunc(BLUR_SECONDS / BIN_SECONDS) * 2 + 1;
  const smooth = blurred(total, hann(width + 4).slice(1, -1));
  const centre = (at) => (at + 0.5) * BIN_SECONDS - reach;
  const peak = largest(smooth.map((value, at) => value - 1e-4 * Math.abs(centre(at)))); // of equals the nearest to 0
  return { offset: centre(peak), share: Math.min(smooth[peak], 1) };
}

/** How often each gap between a written and a played moment occurs: exact where near, by bins of moments where far. */
function gapCounts(written, played, reach, bins) {
  const counts = new Float64Array(bins);
  if (reach <= 2 * FAR_SECONDS) {
    for (const [first, second] of nearPairs(written, played, reach)) {
      counts[clamp(Math.trunc((played[second] - written[first] + reach) / BIN_SECONDS), 0, bins - 1)] += 1;
    }
    return counts;
  }
  const start = Math.min(written[0], played[0]);
  const [from, to] = [written, played].map((row) => Int32Array.from(row, (one) => Math.trunc((one - start) / BIN_SECONDS)));
  const middle = Math.trunc(reach / BIN_SECONDS);
  for (const first of from) {
    for (const second of to) {
      const at = second - first + middle;
      if (at >= 0 && at < bins) counts[at] += 1;
    }
  }
  return counts;
}

/** How many strokes are written in a stretch as long as the played one. */
function dueIn(written, played) {
  const lasts = (row) => (row.length > 1 ? row[row.length - 1] - row[0] : 0);
  const share = lasts(written) && played.length > 1 ? lasts(played) / lasts(written) : 1;
  return Math.min(Math.max(share, SHORTEST_SHARE), 1) * written.length;
}

/** What each part counts, 1 in all: a part that was struck four times as often counts twice as much. */
function partWeights(parts) {
  const roots = parts.map(([written, played]) => Math.sqrt(Math.min(written.length, played.length)));
  const sum = sumOf(roots);
  return roots.map((root) => root / sum);
}

/** Indexes of all written and played moments that are within reach of each other. */
function nearPairs(written, played, reach) {
  const found = [];
  written.forEach((moment, first) => {
    const end = placeFrom(played, moment + reach);
    for (let second = placeFrom(played, moment - reach); second < end; second++) found.push([first, second]);
  });
  return found;
}

/** From each written moment to the played one nearest to it; infinite where nothing was played. */
function nearestGaps(written, played) {
  const last = played.length - 1;
  return written.map((moment) => {
    if (last < 0) return Infinity;
    const after = placeFrom(played, moment);
    const [left, right] = [after - 1, after].map((at) => played[clamp(at, 0, last)] - moment);
    return Math.abs(left) < Math.abs(right) ? left : right;
  });
}

/** The same alignment more exactly, from what lies near: offset by the median of parts, drift by the slopes. */
function refined(parts, found) {
  const [times, gaps, middles] = [[], [], []];
  for (const [written, played] of parts) {
    const gap = nearestGaps(written, played.map((moment) => onTrack(moment, found)));
    const close = written.map((_, at) => at).filter((at) => Math.abs(gap[at]) <= CLOSE_SECONDS);
    if (!close.length) continue;
    const middle = median(close.map((at) => gap[at]));
    times.push(...close.map((at) => written[at]));
    gaps.push(...close.map((at) => gap[at] - middle));
    middles.push(middle);
  }
  if (!times.length) return found;
  const slope = slopeOf(times, gaps);
  const offset = found.offset + median(middles) - slope * median(times);
  return { offset, drift: found.drift + slope, share: times.length / sumOf(parts.map(([written]) => written.length)) };
}

/** The median of the slopes between any two moments: seconds a second; 0 where too little is there. */
function slopeOf(times, gaps) {
  const order = times.map((_, at) => at).sort((one, other) => times[one] - times[other]);
  const lasts = times.length ? times[order[order.length - 1]] - times[order[0]] : 0;
  if (times.length < 16 || lasts < 8) return 0;
  const step = Math.max(Math.floor(times.length / SLOPE_POINTS), 1);
  const some = order.filter((_, at) => at % step === 0);
  const [x, y] = [times, gaps].map((row) => some.map((at) => row[at]));
  const far = (x[x.length - 1] - x[0]) / 4;
  const slopes = [];
  for (let first = 0; first < x.length; first++) {
    for (let second = first + 1; second < x.length; second++) {
      const apart = x[second] - x[first];
      if (apart > far) slopes.push((y[second] - y[first]) / apart);
    }
  }
  return median(slopes);
}

// --- how well moments agree -----------------------------------------------------------------------

/** F of played moments with written ones, 0 to 1. */
function agreement(written, played, within = 0.05) {
  if (!written.length || !played.length) return 0;
  const near = (from, to) => nearestGaps(from, to).filter((gap) => Math.abs(gap) <= within).length / from.length;
  const [recall, precision] = [near(written, played), near(played, written)];
  return recall + precision ? (2 * recall * precision) / (recall + precision) : 0;
}

const SPEED_FITS = 0.7; // F from which on a speed is believed
const RATES = [[0.5, "half"], [2, "twice"], [2 / 3, "two thirds of"], [1.5, "one and a half times"]];

/** At what other speed a take fits its track, in words, "" where at none. */
function otherSpeed(take, sheet, betterThan = 0) {
  const found = [];
  for (const [rate, words] of RATES) {
    const parts = combs(take, sheet).map(([written, played]) => [written, played.map((moment) => moment * rate)]);
    if (!parts.length) continue;
    const { offset } = combPeak(parts, Math.max(endOf(sheet), take.seconds * rate));
    const fit = median(parts.map(([written, played]) => agreementInside(written, played.map((moment) => moment - offset))));
    found.push({ fit, words });
  }
  const best = found.sort((one, other) => other.fit - one.fit || (other.words > one.words ? 1 : -1))[0];
  return best && best.fit >= Math.max(SPEED_FITS, betterThan + FARTHER_LEAD) ? best.words : "";
}

/** F of one part over the stretch that was played. */
function agreementInside(written, played) {
  const [first, last] = [played[0], played[played.length - 1]];
  return agreement(written.filter((moment) => moment > first - 0.1 && moment < last + 0.1), played);
}
