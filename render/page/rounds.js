/* After each round: one sentence and the bar to look at, and whether it came clean. */
"use strict";

const AFTER_ROUND = 500; // milliseconds from a round's end until its last strokes have arrived
const CLEAN_ROUNDS = 3; // in a row
const BAD_ROUNDS = 2;
const BAD_SHARE = 0.5; // of a round's bars clean: fewer make it a bad one

/** Judge one round of a session: { findings, sheet, clean }, `clean` the printed bars that came clean; null where nobody
    played. `middle` is where all limbs lie together, `width` how many ms off a stroke may be. */
function judgeRound(session, take, round, { delay, middle, width }) {
  const sheet = session.sheet(round);
  if (!sheet.bars.length || !sheet.strokes.length) return null;
  const [first, last] = [sheet.bars[0], sheet.bars[sheet.bars.length - 1]];
  const shift = delay === null ? middle : delay / 1000;
  const inside = ({ seconds }) => seconds - shift >= first.seconds - first.beat / 4 && seconds - shift < last.seconds + last.length - last.beat / 4;
  const own = { ...take, strokes: take.strokes.filter(inside) };
  if (!own.strokes.some(({ part, mark }) => part && !mark)) return null;
  const laid = { offset: shift, drift: 0, share: 0 };
  const alignment = delay === null ? refined(combs(own, sheet), laid) : laid;
  const found = matchTake(own, sheet, alignment, lostBeats(own, sheet, alignment));
  const findings = findIn(own, sheet, alignment, found, [], delay);
  return findings.judged.length ? { findings, sheet, ...cleanBars(findings, sheet, width) } : null;
}

/** The printed bars of a round, and those of them in which nothing was missed and nothing lay farther off than a width. */
function cleanBars({ judged, zero_ms: zero }, { bars }, width) {
  const heard = new Set(judged.map(({ stroke }) => stroke.bar));
  const wrong = new Set(judged.filter(({ state, late }) => state !== "hit" || Math.abs(late - zero) > width).map(({ stroke }) => stroke.bar));
  const cards = [...new Set([...heard].map((at) => bars[at].card))];
  const clean = cards.filter((card) => [...heard].every((at) => bars[at].card !== card || !wrong.has(at)));
  return { cards, clean };
}

/** A round in one sentence, with the printed bar to look at, null where there is none. */
function roundWords({ findings, sheet, cards, clean }) {
  const { bars, limbs } = findings;
  const worst = most(bars, ({ trouble }) => trouble);
  const look = sheet.bars.find(({ number }) => number === worst.bar).card;
  const lost = bars.find(({ lost_beats: beats }) => beats.some(Boolean));
  if (lost) return [`You were off by a beat in bar ${lost.bar}.`, sheet.bars.find(({ number }) => number === lost.bar).card];
  const missed = sumOf(bars.map((bar) => bar.missed));
  if (missed) return [`Missing: ${counted(missed, "stroke")}; look at bar ${worst.bar}.`, look];
  const late = limbs.filter((one) => one.heard && Math.abs(one.lateness_ms ?? 0) >= NOTICED_MS);
  if (late.length) {
    const { limb, lateness_ms: off } = most(late, (one) => Math.abs(one.lateness_ms));
    const name = limb[0].toUpperCase() + limb.slice(1);
    return [`${name} ${shown(Math.abs(off))} ms ${off > 0 ? "late" : "early"}; look at bar ${worst.bar}.`, look];
  }
  if (clean.length === cards.length) return ["A clean round.", null];
  return [`Nothing missing; bar ${worst.bar} is the loosest.`, look];
}

/** Ticks by itself: a bar that was clean three rounds in a row; the speed rises after three clean rounds, falls after
    two bad ones. */
class ByItself {
  constructor(tick) {
    this.tick = tick;
    this.forget();
  }

  /** Begin to count anew. */
  forget() {
    this.streaks = new Map(); // printed bar → { rounds, tempo }
    this.good = this.bad = 0;
  }

  /** Another round. Returns "rise", "fall" or "". */
  count({ cards, clean }, tempo) {
    for (const card of cards) {
      const before = this.streaks.get(card) || { rounds: 0, tempo: Infinity };
      const now = clean.includes(card) ? { rounds: before.rounds + 1, tempo: Math.min(before.tempo, tempo) } : { rounds: 0, tempo: Infinity };
      this.streaks.set(card, now);
      if (now.rounds >= CLEAN_ROUNDS) this.tick(card, now.tempo);
    }
    const all = clean.length === cards.length;
    const poor = clean.length < BAD_SHARE * cards.length;
    this.good = all ? this.good + 1 : 0;
    this.bad = poor ? this.bad + 1 : 0;
    if (this.good >= CLEAN_ROUNDS) return this.turn("rise");
    return this.bad >= BAD_ROUNDS ? this.turn("fall") : "";
  }

  /** Another tempo comes: rounds are counted from there. */
  turn(way) {
    this.forget();
    return way;
  }
}
