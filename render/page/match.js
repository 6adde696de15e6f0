/* Played strokes put to written ones: part by part, in order of time, none twice; the twin of grooves/takes/match.py. */
"use strict";

const MATCH_ROUNDS = 4;
const MISS_PRICE = 3.2; // of a written stroke that nobody played, in half squares of spreads
const EXTRA_PRICE = 3.2; // of a played one that is not written
const ECHO_PRICE = 0.3; // of a marked one
const TAKEN_ECHO_PRICE = 1.5; // of a marked one that is taken for a stroke after all
const FIRST_SPREAD_SECONDS = 0.03;
const SPREADS_SECONDS = [0.008, 0.04]; // the narrowest and the widest that are believed
const MATCH_REACH_SECONDS = 0.15;
const WANDER_STROKES = 25; // over so many strokes of all limbs the slow wandering is the median

/** Which played stroke is which written one: `of` has an index or -1, `late` seconds against the track, for each
    written stroke; `extras` are played strokes of a written part that belong nowhere; `lost` beats late of each bar. */
function matchTake(take, sheet, alignment, lost = sheet.bars.map(() => 0)) {
  const meant = sheet.strokes.map(({ seconds, bar }) => seconds + lost[bar] * sheet.bars[bar].beat);
  const played = straightened(take, sheet, alignment);
  const rows = sheet.parts.map((part) => matchRow(part, take, sheet, meant, played)).filter((row) => row.played.length);
  let found = rows.map(firstMatch);
  for (let round = 0; round < MATCH_ROUNDS; round++) {
    const wander = wanderOf(rows, found);
    found = rows.map((row, number) => matchAgain(row, found[number], wander));
  }
  return gathered(take, sheet, rows, found, lost, alignment);
}

/** One part: its written and played moments in order of time, where each comes from, what it costs left over. */
function matchRow(part, take, sheet, meant, played) {
  const places = (all) => all.map((one, at) => (one.part === part ? at : -1)).filter((at) => at >= 0);
  const strokes = places(sheet.strokes).sort((one, other) => meant[one] - meant[other]);
  const hits = places(take.strokes);
  return {
    strokes,
    hits,
    written: strokes.map((at) => meant[at]),
    played: hits.map((at) => played[at]),
    prices: hits.map((at) => (take.strokes[at].mark ? ECHO_PRICE : EXTRA_PRICE)),
  };
}

/** With a wide spread, off by the middle of what lies near. */
function firstMatch({ written, played, prices }) {
  const near = nearestGaps(written, played).filter((gap) => Math.abs(gap) <= 2 * FIRST_SPREAD_SECONDS);
  const middle = median(near);
  return cheapest(written.map((moment) => moment + middle), played, FIRST_SPREAD_SECONDS, prices);
}

/** Once more, with the part's own lateness and spread as found. */
function matchAgain({ written, played, prices }, found, [times, wander]) {
  if (!found.length) return found;
  const drawn = written.map((moment) => between(moment, times, wander));
  const late = found.map(([first, second]) => played[second] - written[first] - drawn[first]);
  const spread = clamp(robustSpread(late), ...SPREADS_SECONDS);
  const middle = median(late);
  return cheapest(written.map((moment, at) => moment + drawn[at] + middle), played, spread, prices);
}

/** How far all parts together lie off along the track: moments and running medians, each part's own taken off. */
function wanderOf(rows, found) {
  const points = [];
  rows.forEach(({ written, played }, number) => {
    if (found[number].length < 2) return;
    const gaps = found[number].map(([first, second]) => played[second] - written[first]);
    const middle = median(gaps);
    found[number].forEach(([first], at) => points.push([written[first], gaps[at] - middle]));
  });
  if (points.length < 2 * WANDER_STROKES) return [[], []];
  points.sort((one, other) => one[0] - other[0]);
  const off = points.map(([, late]) => late);
  const half = Math.floor(WANDER_STROKES / 2);
  const padded = [...off.slice(1, half + 1).reverse(), ...off, ...off.slice(-half - 1, -1).reverse()];
  return [points.map(([moment]) => moment), off.map((_, at) => median(padded.slice(at, at + WANDER_STROKES)))];
}

/** The cheapest monotone matching as pairs of indexes; only pairs within reach are looked at. */
function cheapest(written, played, spread, prices) {
  const reach = Math.min(MATCH_REACH_SECONDS, spread * (2 * (MISS_PRICE + EXTRA_PRICE)) ** 0.5);
  const scale = 0.5 / spread ** 2;
  const paid = [0];
  for (const price of prices) paid.push(paid[paid.length - 1] + price);
  let table = { first: 0, costs: [0] }; // costs[k]: the first k + first played strokes are done with
  const steps = [];
  for (const target of written) {
    const first = placeFrom(played, target - reach);
    const end = Math.max(placeFrom(played, target + reach), first);
    const [costs, choices] = [[], []];
    for (let done = first; done <= end; done++) {
      let [cost, choice] = [costBefore(table, paid, done) + MISS_PRICE, 0];
      if (done > first) {
        const echo = prices[done - 1] > ECHO_PRICE ? 0 : TAKEN_ECHO_PRICE;
        const hit = costBefore(table, paid, done - 1) + (played[done - 1] - target) ** 2 * scale + echo;
        if (hit < cost) [cost, choice] = [hit, 1];
        const over = costs[costs.length - 1] + prices[done - 1];
        if (over < cost) [cost, choice] = [over, 2];
      }
      costs.push(cost);
      choices.push(choice);
    }
    steps.push({ first, choices });
    table = { first, costs };
  }
  return traced(steps);
}

/** The cost before a written stroke with so many played ones done with, those past its table left over. */
function costBefore({ first, costs }, paid, done) {
  const place = done - first;
  if (place < 0) return Infinity;
  if (place < costs.length) return costs[place];
  return costs[costs.length - 1] + paid[done] - paid[first + costs.length - 1];
}

/** Back through the choices. */
function traced(steps) {
  const found = [];
  if (!steps.length) return found;
  const last = steps[steps.length - 1];
  let done = last.first + last.choices.length - 1;
  for (let stroke = steps.length - 1; stroke >= 0; stroke--) {
    const { first, choices } = steps[stroke];
    done = Math.min(done, first + choices.length - 1);
    while (choices[done - first] === 2) done--;
    if (choices[done - first] === 1) found.push([stroke, --done]);
  }
  return found.reverse();
}

/** All parts together, by the indexes of sheet and take. */
function gathered(take, sheet, rows, found, lost, alignment) {
  const of = sheet.strokes.map(() => -1);
  const late = sheet.strokes.map(() => 0);
  const used = new Set();
  rows.forEach((row, number) => {
    for (const [written, played] of found[number]) {
      const [stroke, hit] = [row.strokes[written], row.hits[played]];
      of[stroke] = hit;
      late[stroke] = onTrack(take.strokes[hit].seconds, alignment) - row.written[written];
      used.add(hit);
    }
  });
  const begins = sheet.bars[0].seconds - sheet.bars[0].beat / 4; // what is struck in the count-in is not one too many
  const counts = ({ seconds }) => onTrack(seconds, alignment) >= begins;
  const isExtra = (one, at) => sheet.parts.includes(one.part) && !one.mark && !used.has(at) && counts(one);
  const extras = take.strokes.map((one, at) => (isExtra(one, at) ? at : -1)).filter((at) => at >= 0);
  return { of, late, extras, lost: [...lost] };
}
