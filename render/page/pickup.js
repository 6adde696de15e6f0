/* The pickup: read at the end of whatever bar comes before bar 1, played and left out as bar 1 is. */
"use strict";

/** Unpack the bars that end with the pickup. */
function readPickup(lesson) {
  const { pickup } = lesson;
  const isRead = ({ onset, voice }) => onset >= pickup.start && voice.role !== TIME;
  const marked = (row) => {
    const stroke = readStroke(row, lesson);
    return { ...stroke, isPickup: isRead(stroke) };
  };
  pickup.bars = pickup.patterns.map((rows) => byQuarter(rows.map(marked), lesson.meter.length));
  return lesson;
}

const readWithoutPickup = readLesson;
readLesson = (data) => readPickup(readWithoutPickup(data)); // eslint-disable-line no-func-assign

/** The bar that comes next: its place in the chorus, and how it is counted. */
Layout.prototype.following = function () {
  const sequence = this.sequence();
  const isLast = this.at + 1 >= sequence.length;
  const turn = this.turn + (isLast ? 1 : 0);
  const number = this.played + turn * furtherBy(this.settings, sequence.length);
  const at = isLast ? 0 : this.at + 1;
  return { ...sequence[at], at, turn, number };
};

/** The strokes of the bar that is laid out with the pickup, or null where none is read in it. */
Layout.prototype.withPickup = function () {
  const { bar, settings, lesson } = this;
  const next = this.following();
  const counts = !bar.score && this.counted < this.countIn; // there is one more bar of count-in
  if (settings.alone || next.place !== 0 || counts) return null;
  const reading = Math.floor(next.turn / (settings.rise?.same || 1)) % lesson.readings;
  const { countIn, leadIn, bars } = lesson.pickup.lines[lesson.line || 0];
  const own = bar.leadIn ? leadIn : bar.score ? bars[lesson.bars.indexOf(bar.score)] : countIn;
  if (own[reading] < 0) return null;
  const led = (stroke) => (stroke.isPickup ? { ...stroke, leads: next } : stroke);
  return lesson.pickup.bars[own[reading]].map((quarter) => quarter.map(led));
};

widen(Layout, "openBar", function (openBar) {
  const first = !this.bar && this.countIn === 0 && !this.settings.alone && this.following().place === 0;
  if (!first) return openBar();
  const { lesson } = this;
  this.since = -lesson.meter.length;
  this.bar = { within: 0, score: lesson.bars[0], position: 0, turn: 0, number: 0, echoed: false, rises: false, leadIn: true };
});

widen(Layout, "strokesOf", function (strokesOf, score) {
  return this.withPickup() || (this.bar.leadIn ? score.alone : strokesOf(score));
});

widen(Layout, "layHelpers", function (layHelpers, cell) {
  layHelpers(cell);
  if (cell.score || !this.withPickup()) return;
  this.since -= this.lesson.meter.length;
  this.layStrokes(cell);
  this.since += this.lesson.meter.length;
});

/** A stroke of the pickup as one of the bar that it leads to. */
function asLedTo(stroke) {
  return stroke.leads ? { ...stroke, turn: stroke.leads.turn, cell: { ...stroke.cell, ...stroke.leads } } : stroke;
}

widen(Player, "isHeard", function (isHeard, stroke) {
  return isHeard(asLedTo(stroke));
});

widen(Player, "finish", function (finish, stroke) {
  const { cell } = stroke;
  return { ...finish(asLedTo(stroke)), cell };
});

// --- for the eye ---

widen(View, "refresh", function (refresh) {
  this.pickup ??= pickupCard(this.lesson);
  refresh();
});

/** The picture of the pickup stands over the music until bar 1 comes. */
widen(View, "draw", function (draw, now) {
  draw(now);
  const { cells, settings } = this.transport.player;
  const [cell] = cells;
  if (!cell) return;
  const next = cells.find((one) => one.seconds > cell.seconds && one.score && !one.leadIn && one.position === 0 && one.from === 0);
  const isNear = !settings.alone && next && next.beat - cell.beat <= this.lesson.meter.length;
  document.body.classList.toggle("pickup-near", Boolean(isNear));
  document.body.classList.toggle("pickup-above", Boolean(cell.score) && !cell.leadIn);
});

widen(View, "stop", function (stop) {
  stop();
  document.body.classList.remove("pickup-near");
});

/** The card of the pickup, drawn. */
function pickupCard(lesson) {
  const card = new Card(document.querySelector(".pickup"), { ...lesson, grids: [lesson.pickup.columns] });
  const [{ countIn: [own] }] = lesson.pickup.lines;
  card.show({ strokes: lesson.pickup.bars[own], alone: lesson.pickup.bars[own], grid: 0, gridAlone: 0 }, false);
  card.draw();
  return card;
}
