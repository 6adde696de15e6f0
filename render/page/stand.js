/* The music stand: while it plays, the bars that sound and the ones that follow fill the screen and nothing scrolls.
   Where they are more than fit, half a page is turned while the other half sounds, a beat into a bar. */
"use strict";

const PHRASE = 4; // bars that belong together
const LARGEST = 16; // bars on one screen; 8 where it is narrow
const NARROW_SCREEN = 600; // CSS pixels
const READABLE = 3.3; // pixels to a millimetre of the drawing: a staff of 20 pixels; below that fewer bars are shown
const COUNTABLE = 5.6; // and from here on the counts are 14 pixels high
const SMALLER = 0.9; // the staff may become that much smaller for every row to be seen
const BETWEEN = 12; // pixels between two rows of bars, and between two phrases
const BETWEEN_PHRASES = 12;

class Stand {
  constructor(lesson, cards, settings) {
    Object.assign(this, { lesson, cards, settings });
    this.stage = document.querySelector(".stage");
    this.music = document.querySelector(".music");
    this.around = [...document.querySelectorAll(".around")];
    this.opened = this.everyRow = false;
    new ResizeObserver(() => this.opened && this.arrange()).observe(this.stage);
  }

  /** Fill the screen with what is going to sound. */
  open() {
    this.opened = true;
    document.body.classList.add("standing");
    this.around.forEach((element) => (element.inert = true));
    this.halves = null;
    this.arrange();
  }

  /** Back to the sheet, with a bar in sight. */
  close(card) {
    if (!this.opened) return;
    this.opened = false;
    document.body.classList.remove("standing");
    this.around.forEach((element) => (element.inert = false));
    this.music.removeAttribute("style");
    for (const one of this.cards) {
      one.element.removeAttribute("style");
      one.element.classList.remove("away");
      one.frame(0, true);
    }
    if (card) card.element.scrollIntoView({ block: "center", behavior: "instant" });
  }

  /** Lay out anew, since other bars are going to sound. */
  rearrange() {
    if (this.opened) this.arrange();
  }

  /** The printed bars that are going to sound, in the order of the page. */
  inPlay() {
    const { loop } = this.settings;
    const places = loop.length ? loop : [...Array(this.lesson.chorus).keys()];
    return [...new Set(places.map((place) => this.lesson.bars[place].card))];
  }

  /** Lay the bars out for the screen as it is. */
  arrange() {
    const bars = this.inPlay();
    const room = this.room();
    const most = Math.min(room.width < NARROW_SCREEN ? LARGEST / 2 : LARGEST, bars.length);
    const { shown, plan } = this.plan(most, room);
    const half = bars.length > shown ? shown / 2 : shown;
    this.parts = [];
    for (let at = 0; at < bars.length; at += half) this.parts.push(bars.slice(at, at + half));
    Object.assign(this, { bars, half, columns: plan.columns });
    this.setOut(plan, shown);
    const at = this.halves ? this.partOf(this.card) : this.partOf(this.lesson.bars[this.settings.from || 0].card);
    this.halves = this.parts.length > 1 ? [at, this.after(at)] : [0];
    this.place();
  }

  /** What the stage has room for, in pixels: the large beat number keeps its own. */
  room() {
    const { paddingLeft, paddingRight, paddingTop, paddingBottom } = getComputedStyle(this.stage);
    const inside = (all, ...edges) => edges.reduce((left, edge) => left - parseFloat(edge), all) - 1;
    const { clientWidth, clientHeight } = this.stage;
    return { width: inside(clientWidth, paddingLeft, paddingRight), height: inside(clientHeight, paddingTop, paddingBottom) };
  }

  /** How many bars are shown, in how many columns and how large: as large as they can be, fewer where they get small. */
  plan(most, room) {
    for (let shown = most; ; shown = Math.max(2, Math.floor(shown / 2))) {
      const plans = [1, 2, 4].filter((columns) => columns <= Math.max(shown, 1)).map((columns) => this.fit(shown, columns, room));
      const plan = plans.reduce((best, one) => (one.scale > best.scale ? one : best));
      if (plan.scale >= READABLE || shown <= 2) return { shown, plan };
    }
  }

  /** The scale at which some bars fit: with every row and the counts where these can be read, else with the first row. */
  fit(shown, columns, { width, height }) {
    const { left, right, ahead, height: staff } = this.lesson.picture;
    const rows = Math.ceil(shown / columns);
    const gaps = rows * BETWEEN + Math.floor((rows * columns - 1) / PHRASE) * BETWEEN_PHRASES;
    const across = right - left + ahead;
    const scaleOf = (tall) => Math.min(width / columns / across, (height - gaps) / rows / tall);
    const [whole, tall] = [staff + gridHeight(this.lesson.rows.length), staff + FIRST_ROW];
    const shows = this.everyRow || (scaleOf(whole) >= COUNTABLE && scaleOf(whole) >= scaleOf(tall) * SMALLER);
    if (shows) return { columns, whole: true, across, tall: whole, scale: scaleOf(whole) };
    return { columns, whole: false, across, tall, scale: scaleOf(tall) };
  }

  /** The size of rows and columns, and what of each bar is seen. */
  setOut({ columns, whole, across, tall, scale }, shown) {
    const rows = Math.ceil(shown / columns);
    const phrase = (row) => (columns < PHRASE && (row * columns) % PHRASE === 0 && row < rows ? BETWEEN_PHRASES : 0);
    const heights = Array.from({ length: rows }, (_, row) => `${(tall * scale + BETWEEN + phrase(row + 1)).toFixed(1)}px`);
    this.music.style.gridTemplateColumns = `repeat(${columns}, ${(across * scale).toFixed(2)}px)`;
    this.music.style.gridTemplateRows = heights.join(" ");
    const { left, ahead } = this.lesson.picture;
    for (const card of this.cards) card.frame(left - ahead, whole);
  }

  /** Which part of the music a bar belongs to. */
  partOf(card) {
    return Math.max(0, this.parts.findIndex((part) => part.includes(card)));
  }

  /** The part that follows. */
  after(part) {
    return (part + 1) % this.parts.length;
  }

  /** Every bar of the two halves to its place, all others away. */
  place() {
    const rows = Math.ceil(this.half / this.columns);
    const places = new Map();
    this.halves.forEach((part, half) => this.parts[part].forEach((card, at) => {
      places.set(card, `${half * rows + Math.floor(at / this.columns) + 1} / ${(at % this.columns) + 1}`);
    }));
    this.cards.forEach((card, at) => {
      const place = places.get(at);
      card.element.classList.toggle("away", !place);
      if (!place) return;
      card.draw();
      if (card.element.style.gridArea !== place) card.element.style.gridArea = place;
    });
  }

  /** A quarter sounds: a beat into a bar of a new part, the other half of the page is turned. */
  follow(cell) {
    if (!this.opened) return;
    this.card = cell.score.card;
    const part = this.partOf(this.card);
    const at = this.halves.indexOf(part);
    if (at < 0) this.halves = [part, this.after(part)];
    else if (this.halves.length === 1 || cell.from === 0 || this.halves[1 - at] === this.after(part)) return;
    else this.halves[1 - at] = this.after(part);
    this.place();
  }
}
