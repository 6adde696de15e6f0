/* What the eye follows: the cursor over staff and grid, and the heads that light up as they sound. */
"use strict";

const GLOW = 0.18; // seconds that a head stays lit, at most
const BEGINNING = 0.08; // across the staff, where a bar begins that begins with a rest
const calm = matchMedia("(prefers-reduced-motion: reduce)");

/** A place as the staff's notes name it: 1.5 is "3/2". */
function placeName(onset, divisions) {
  let [top, bottom] = [Math.round(onset * divisions), divisions];
  for (let factor = 2; factor <= bottom; factor++) {
    while (top % factor === 0 && bottom % factor === 0) [top, bottom] = [top / factor, bottom / factor];
  }
  return bottom === 1 ? String(top) : `${top}/${bottom}`;
}

/** Whether a number is whole, but for rounding. */
function isWhole(value) {
  return Math.abs(value - Math.round(value)) < 1e-6;
}

/** Whether an anchor comes before another in time and in place; the first comes after nothing. */
function isBelow(before, after) {
  return !before || (before[0] < after[0] && before[1] < after[1]);
}

/** How a voice's heads on a grid are found. */
function headsOf({ part, limb, role }) {
  return `[data-part="${part}"][data-limb="${limb}"][data-role="${role}"]`;
}

/** One printed bar on the page. */
class Card {
  constructor(element) {
    this.element = element;
    this.staff = element.querySelector(".staff");
    this.cursors = [...element.querySelectorAll(".cursor")]; // over the staff, and over the grids
    this.drawn = [...element.querySelectorAll(".grid")];
    this.grids = this.drawn.filter((grid) => !("alone" in grid.dataset));
    this.alone = this.drawn.filter((grid) => "alone" in grid.dataset); // none where it would show nothing else
    this.reading = 0;
    this.notes = null;
  }

  /** Show the grid of one reading of the line, or of the time alone. */
  show(reading, alone) {
    const grids = alone && this.alone.length ? this.alone : this.grids;
    const shown = grids[reading % grids.length];
    this.drawn.forEach((grid) => grid.toggleAttribute("hidden", grid !== shown));
    Object.assign(this, { reading, shown });
  }

  /** The heads of one stroke, on the grid and, for the line, on the staff. */
  heads({ voice, column, onset }, divisions) {
    const found = [...this.shown.querySelectorAll(`[data-column="${column}"]${headsOf(voice)}`)];
    if (voice.role !== LINE) return found;
    const note = this.staff.querySelector(`[data-place="${placeName(onset, divisions)}"]`);
    return note ? [...found, note] : found;
  }

  /** Where written places lie across the staff, as shares of its width; measured once, and again after resizing. */
  measure(length) {
    const box = this.staff.getBoundingClientRect();
    const across = (sign) => {
      const { left, width } = sign.getBoundingClientRect();
      return (left + width / 2 - box.left) / box.width;
    };
    const notes = [...this.staff.querySelectorAll(".note[data-place]")].map((note) => {
      const [top, bottom = "1"] = note.dataset.place.split("/");
      return [top / bottom, across(note.querySelector(".notehead") || note)];
    });
    const [onset] = notes[0] ?? [Infinity]; // a bar may only rest
    const rest = this.staff.querySelector(".rest");
    const start = onset > 0 ? [[0, rest ? across(rest) : BEGINNING]] : [];
    this.notes = [...start, ...notes, [length, 0.99]];
    this.width = box.width;
    this.gridWidth = this.shown.getBoundingClientRect().width;
  }

  /** Put both cursors at shares of staff and grid: moved alone, so that nothing is laid out anew. */
  point(staff, grid) {
    const places = [staff * this.width, grid * this.gridWidth];
    this.cursors.forEach((cursor, at) => (cursor.style.transform = `translateX(${places[at].toFixed(1)}px)`));
    this.pointed = [staff, grid];
  }
}

class View {
  constructor(lesson, transport) {
    Object.assign(this, { lesson, transport });
    this.cards = [...document.querySelectorAll(".bar")].map((element) => new Card(element));
    this.expected = [];
    this.lit = [];
    this.current = this.last = null; // the bar that sounds, and the one that sounded before
    this.turn = null;
    this.follow = new Follow(() => this.current && this.current.element);
    addEventListener("resize", () => this.cards.forEach((card) => (card.notes = null)));
    this.refresh();
  }

  /** Every grid anew: with the line, or the time alone. */
  refresh() {
    for (const card of this.cards) card.show(card.reading, this.transport.player.settings.alone);
  }

  /** Remember strokes until they sound. Those of one written place light up together. */
  hear(strokes) {
    this.expected.push(...strokes.filter((stroke) => stroke.heard && stroke.cell.score));
  }

  /** What sounds from a moment on is laid out anew. */
  forget(moment) {
    this.expected = this.expected.filter((stroke) => stroke.seconds < moment);
  }

  /** Draw while it plays. */
  start() {
    this.expected = [];
    this.told = null;
    this.follow.start();
    const frame = () => {
      if (!this.transport.playing) return;
      this.draw(this.transport.now());
      requestAnimationFrame(frame);
    };
    requestAnimationFrame(frame);
  }

  /** Nothing lit, no cursor. */
  stop() {
    this.lit.forEach(({ head }) => head.classList.remove("lit"));
    this.lit = [];
    this.leave();
    this.turn = null;
  }

  /** One picture of a moment. */
  draw(now) {
    const { cells, map } = this.transport.player;
    while (cells.length > 1 && cells[1].seconds <= now) cells.shift();
    const cell = cells[0];
    if (!cell || cell.seconds > now) return;
    this.light(now);
    if (this.told !== cell.beat) this.onCell(cell);
    this.told = cell.beat;
    if (!cell.score) return this.leave();
    const within = cell.from + clamp(map.beatAt(now) - cell.beat, 0, cell.size);
    this.enter(cell);
    this.moveCursor(cell, within);
    this.turn = cell.turn;
  }

  /** Called with the quarter that sounds; the controls put in what they want to know of it. */
  onCell() {}

  /** Light the heads that sound now and put out the ones before. */
  light(now) {
    this.lit = this.lit.filter(({ head, until }) => {
      if (until > now) return true;
      head.classList.remove("lit");
      return false;
    });
    const due = this.expected.filter((stroke) => stroke.nominal <= now);
    this.expected = this.expected.filter((stroke) => stroke.nominal > now);
    for (const stroke of due) {
      if (stroke.voice.part === "click" || now - stroke.nominal > GLOW) continue;
      const card = this.cards[stroke.cell.score.card];
      for (const head of card.heads(stroke, this.lesson.divisions)) {
        head.classList.add("lit");
        this.lit = this.lit.filter((other) => other.head !== head);
        this.lit.push({ head, until: stroke.nominal + GLOW });
      }
    }
  }

  /** Mark the bar that sounds, and bring it into sight as long as the view follows. */
  enter(cell) {
    const card = this.cards[cell.score.card];
    if (card === this.current) return;
    this.leave();
    this.current = card;
    card.show(cell.turn % this.lesson.readings, this.transport.player.settings.alone);
    card.element.classList.add("now");
    this.follow.show(card.element);
  }

  /** No bar sounds. */
  leave() {
    if (this.current) this.current.element.classList.remove("now");
    this.last = this.current ?? this.last;
    this.current = null;
  }

  /** Both cursors, each from head to head as they sound. With reduced motion they step from beat to beat. */
  moveCursor(cell, within) {
    const { pulse } = this.lesson.meter;
    const place = calm.matches ? Math.floor(within / pulse + 1e-9) * pulse : within;
    const strokes = this.transport.player.strokesOf(cell.score).flat();
    const [staff, grid] = [this.staffAnchors(cell, strokes), this.gridAnchors(cell, strokes)];
    this.current.point(interpolate(staff, place), interpolate(grid, place));
  }

  /** When the written places of the staff sound, tied ones as if they were struck, and where they stand. */
  staffAnchors(cell, strokes) {
    const { meter } = this.lesson;
    if (!this.current.notes) this.current.measure(meter.length);
    const fine = strokes.filter(({ onset }) => !isWhole(onset * 2) && !isWhole(onset * 3));
    const thirds = strokes.filter(({ onset }) => isWhole(onset * 3) && !isWhole(onset));
    const [straight, triplets] = [fine, thirds].map((found) => new Set(found.map(({ onset }) => Math.floor(onset))));
    return this.current.notes.map(([onset, across]) => {
      const beat = Math.floor(onset);
      const swings = !meter.eighths && onset % 1 === 0.5 && !straight.has(beat);
      const moves = swings ? (triplets.has(beat) ? 4 : 2) : 0;
      return [this.transport.player.swung({ onset, moves }, cell.pace), across];
    });
  }

  /** When the strokes of the grid's columns sound, and where these stand. */
  gridAnchors(cell, strokes) {
    const { length } = this.lesson.meter;
    const { left, width, columns } = this.current.shown.dataset;
    const places = columns.split(" ").map(Number);
    const struck = strokes.filter(({ column }) => column in places);
    const found = struck.map((stroke) => [this.transport.player.swung(stroke, cell.pace), places[stroke.column]]);
    const inOrder = [[0, 0], ...found, [length, length]].sort((one, other) => one[1] - other[1] || one[0] - other[0]);
    const rising = inOrder.reduce((kept, one) => (isBelow(kept[kept.length - 1], one) ? [...kept, one] : kept), []);
    return rising.map(([at, place]) => [at, Number(left) + (Number(width) * place) / length]);
  }
}
