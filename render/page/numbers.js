/* Rows of numbers as numpy counts them, so that what the page says of a take is what `fourlimb check` says. */
"use strict";

/** The middle value, 0 of none. */
function median(values) {
  if (!values.length) return 0;
  const row = Float64Array.from(values);
  const half = row.length >> 1;
  const upper = nth(row, half);
  if (row.length % 2) return upper;
  return (row.subarray(0, half).reduce((best, value) => Math.max(best, value), -Infinity) + upper) / 2;
}

/** The value that would stand at a place if the row were sorted; what is smaller is moved before it (Hoare's find). */
function nth(row, place) {
  let [low, high] = [0, row.length - 1];
  while (low < high) {
    const pivot = row[(low + high) >> 1];
    let [left, right] = [low, high];
    while (left <= right) {
      while (row[left] < pivot) left++;
      while (row[right] > pivot) right--;
      if (left > right) break;
      [row[left], row[right]] = [row[right], row[left]];
      left++;
      right--;
    }
    if (place <= right) high = right;
    else if (place >= left) low = left;
    else break;
  }
  return row[place];
}

/** 1.48 times the median distance from the median; the twin of `robust_spread` in grooves/takes/take.py. */
function robustSpread(values) {
  const middle = median(values);
  return 1.4826 * median(values.map((value) => Math.abs(value - middle)));
}

/** The first place at which a rising row is not below a value. */
function placeFrom(row, value) {
  let [low, high] = [0, row.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (row[middle] < value) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** The first place at which a rising row is above a value. */
function placeAfter(row, value) {
  let [low, high] = [0, row.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (row[middle] <= value) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** What is left of a division, never below 0: a pickup's places are below 0. */
function remainder(value, by) {
  return ((value % by) + by) % by;
}

/** The sum. */
function sumOf(values) {
  return values.reduce((sum, value) => sum + value, 0);
}

/** The place of the largest, the first of equals. */
function largest(values) {
  let best = 0;
  for (let at = 1; at < values.length; at++) if (values[at] > values[best]) best = at;
  return best;
}

/** The entry with the largest value of something, the first of equals. */
function most(entries, of) {
  return entries.reduce((best, one) => (of(one) > of(best) ? one : best));
}

/** Straight lines through points whose x never falls, level beyond the ends; no points: 0. */
function between(x, xs, ys) {
  if (!xs.length) return 0;
  const at = placeAfter(xs, x) - 1;
  if (at < 0) return ys[0];
  if (at >= xs.length - 1) return ys[ys.length - 1];
  return ((ys[at + 1] - ys[at]) / (xs[at + 1] - xs[at])) * (x - xs[at]) + ys[at];
}

/** A row blurred by a window of odd length, as long as before; most rows are mostly 0. */
function blurred(row, window) {
  const half = (window.length - 1) / 2;
  const found = new Float64Array(row.length);
  row.forEach((value, at) => {
    if (!value) return;
    const end = Math.min(at + half, row.length - 1);
    for (let to = Math.max(at - half, 0); to <= end; to++) found[to] += value * window[to - at + half];
  });
  return found;
}

/** A raised cosine of some length. */
function hann(length) {
  return Float64Array.from({ length }, (_, at) => 0.5 - 0.5 * Math.cos((2 * Math.PI * at) / (length - 1)));
}

/** A number as it is shown, a half to the even one. */
function shown(value, places = 0) {
  const scaled = value * 10 ** places;
  return Math.abs(scaled % 1) === 0.5 ? (roundEven(scaled) / 10 ** places).toFixed(places) : value.toFixed(places);
}

/** Entries by a key, in the order in which the keys come first. */
function byKey(entries, keyOf) {
  const groups = new Map();
  for (const entry of entries) {
    const key = keyOf(entry);
    if (!groups.has(key)) groups.set(key, []);
    groups.get(key).push(entry);
  }
  return groups;
}
