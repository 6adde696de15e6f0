/* One printed bar on the page: its staff, the grid under it, and the cursor through both. */
"use strict";

/** A place as the staff's notes name it: 1.5 is "3/2". */
function placeName(onset, divisions) {
  let [top, bottom] = [Math.round(onset * divisions), divisions];
  for (let factor = 2; factor <= bottom; factor++) {
    while (top % factor === 0 && bottom % factor === 0) [top, bottom] = [top / factor, bottom / factor];
  }
  return bottom === 1 ? String(top) : `${top}/${bottom}`;
}

/** Whether an anchor comes before another in time and in place; the first comes after nothing. */
function isBelow(before, after) {
  return !before || (before[0] < after[0] && before[1] < after[1]);
}

class Card {
  constructor(element, lesson) {
    Object.assign(this, { element, lesson });
    this.staff = element.querySelector(".staff");
    this.grid = element.querySelector(".grid");
    this.cursor = element.querySelector(".cursor");
    this.picture = element.querySelector(".picture");
    this.box = lesson.picture;
    this.crop = {}; // what is shown: from where across, and whether all rows or the first
    this.pixels = null; // width of the picture, measured once
    this.drawnFor = null;
    this.frame(0, true);
  }

  /** Take the strokes of a bar, with the line or the time alone; what is drawn is drawn anew when it is seen. */
  show(bar, alone) {
    const key = alone ? bar.alone : bar.strokes;
    if (this.key === key) return;
    const strokes = key.flat();
    Object.assign(this, { key, bar, strokes, columns: this.lesson.grids[alone ? bar.gridAlone : bar.grid] });
    if (this.drawnFor) this.draw();
  }

  /** Draw the grid, unless it stands there. */
  draw() {
    if (this.drawnFor === this.key) return;
    this.drawnFor = this.key;
    const { left, width } = this.box;
    const { columns, strokes } = this;
    this.grid.replaceChildren(...drawGrid({ columns, strokes, limbs: this.lesson.rows, left, width }));
    this.found = null;
    this.onDrawn(this);
  }

  /** Told when the heads are new. */
  onDrawn() {}

  /** Crop the picture: from a place across, with every row and the counts or with the first row only. */
  frame(left, whole) {
    this.pixels = null;
    if (this.crop.left === left && this.crop.whole === whole) return;
    this.crop = { left, whole };
    const { right, height } = this.box;
    this.staff.setAttribute("viewBox", `${left} 0 ${right - left} ${height}`);
    const rows = whole ? gridHeight(this.lesson.rows.length) : FIRST_ROW;
    this.grid.setAttribute("viewBox", `${left} 0 ${right - left} ${rows}`);
  }

  /** The heads of one stroke, on the grid and, for the line, on the staff. */
  heads({ voice, column, onset }) {
    this.found ??= new Map();
    const name = `${voice.limb} ${voice.part} ${voice.role} ${onset}`;
    if (!this.found.has(name)) this.found.set(name, this.findHeads(voice, column, onset));
    return this.found.get(name);
  }

  /** The same, looked up. */
  findHeads(voice, column, onset) {
    const own = `[data-column="${column}"][data-part="${voice.part}"][data-limb="${voice.limb}"][data-role="${voice.role}"]`;
    const found = [...this.grid.querySelectorAll(own)];
    if (voice.role !== LINE) return found;
    const note = this.staff.querySelector(`[data-place="${placeName(onset, this.lesson.divisions)}"]`);
    return note ? [...found, note] : found;
  }

  /** Put the cursor at a share of the bar: moved alone, so that nothing is laid out anew. */
  point(across) {
    this.pixels ??= this.picture.clientWidth;
    const { left, width, right } = this.box;
    const place = (left + width * across - this.crop.left) / (right - this.crop.left);
    this.pointed = place * this.pixels;
    this.cursor.style.transform = `translateX(${this.pointed.toFixed(1)}px)`;
  }

  /** When the columns sound, by the player's swing, and where they stand. */
  anchors(player, pace) {
    const struck = this.strokes.filter(({ column }) => column in this.columns);
    const found = struck.map((stroke) => [player.swung(stroke, pace), this.columns[stroke.column][0]]);
    const ends = [[0, 0], [this.lesson.meter.length, 1]];
    const inOrder = [...ends, ...found].sort((one, other) => one[1] - other[1] || one[0] - other[0]);
    return inOrder.reduce((kept, one) => (isBelow(kept[kept.length - 1], one) ? [...kept, one] : kept), []);
  }
}
