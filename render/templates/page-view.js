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

/** One printed bar on the page. */
class Card {
  constructor(element) {
    this.element = element;
    this.staff = element.querySelector(".staff");
    this.grids = [...element.querySelectorAll(".grid")];
    this.anchors = null;
  }

  /** Show the grid of one reading of the line. */
  show(reading) {
    this.grids.forEach((grid, number) => grid.toggleAttribute("hidden", number !== reading % this.grids.length));
    return this.grids[reading % this.grids.length];
  }

  /** The heads of one stroke, on the grid and, for the line, on the staff. */
  heads(stroke, reading, divisions) {
    const grid = this.grids[reading % this.grids.length];
    const found = [...grid.querySelectorAll(`[data-column="${stroke.column}"][data-part="${stroke.voice.part}"]`)];
    if (stroke.voice.role !== LINE) return found;
    const note = this.staff.querySelector(`[data-place="${placeName(stroke.onset, divisions)}"]`);
    return note ? [...found, note] : found;
  }

  /** Where written places lie across the staff, as shares of its width; measured once, and again after resizing. */
  measure(length) {
    const box = this.staff.getBoundingClientRect();
    const notes = [...this.staff.querySelectorAll(".note[data-place]")].map((note) => {
      const [top, bottom = "1"] = note.dataset.place.split("/");
      const head = (note.querySelector(".notehead") || note).getBoundingClientRect();
      return [top / bottom, (head.left + head.width / 2 - box.left) / box.width];
    });
    const [onset, across] = notes[0] ?? [Infinity, BEGINNING]; // a bar may only rest
    const rest = onset > 0 ? [[0, Math.min(BEGINNING, across)]] : [];
    this.anchors = [...rest, ...notes, [length, 0.99]];
  }
}

class View {
  constructor(lesson, transport) {
    Object.assign(this, { lesson, transport });
    this.cards = [...document.querySelectorAll(".bar")].map((element) => new Card(element));
    this.expected = [];
    this.lit = [];
    this.current = null;
    this.turn = null;
    this.follow = new Follow(() => this.current && this.current.element);
    addEventListener("resize", () => this.cards.forEach((card) => (card.anchors = null)));
  }

  /** Remember strokes until they sound. Those of one written place light up together. */
  hear(strokes) {
    this.expected.push(...strokes.filter((stroke) => stroke.cell.score));
  }

  /** Draw while it plays. */
  start() {
    this.expected = [];
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
    const { cells } = this.transport.player;
    while (cells.length > 1 && cells[1].seconds <= now) cells.shift();
    const cell = cells[0];
    if (!cell || cell.seconds > now) return;
    this.light(now);
    this.onCell(cell);
    if (!cell.score) return this.leave();
    const within = cell.from + Math.min(((now - cell.seconds) * cell.pace) / 60, cell.size);
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
      for (const head of card.heads(stroke, stroke.turn % this.lesson.readings, this.lesson.divisions)) {
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
    this.grid = card.show(cell.turn % this.lesson.readings);
    card.element.classList.add("now");
    this.follow.show(card.element);
  }

  /** No bar sounds. */
  leave() {
    if (this.current) this.current.element.classList.remove("now");
    this.current = null;
  }

  /** Both cursors: the grid's in time, the staff's from note to note. With reduced motion they step from beat to beat. */
  moveCursor(cell, within) {
    const { meter } = this.lesson;
    const place = calm.matches ? cell.from : within;
    if (!this.current.anchors) this.current.measure(meter.length);
    const across = interpolate(this.current.anchors, this.written(place, cell));
    const style = this.current.element.style;
    style.setProperty("--staff-cursor", `${(across * 100).toFixed(2)}%`);
    const [left, width] = [Number(this.grid.dataset.left), Number(this.grid.dataset.width)];
    style.setProperty("--grid-cursor", `${((left + (width * place) / meter.length) * 100).toFixed(2)}%`);
  }

  /** The written place that sounds at a moment of a swung bar. */
  written(within, cell) {
    const { swing } = this.transport.player.settings;
    if (this.lesson.meter.eighths) return within;
    const ratio = swingRatio(swing, this.lesson.curves, cell.pace);
    const [beat, part, long] = [Math.floor(within), within % 1, ratio / (ratio + 1)];
    return beat + (part < long ? (part * 0.5) / long : 0.5 + ((part - long) * 0.5) / (1 - long));
  }
}
