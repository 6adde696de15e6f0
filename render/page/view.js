/* What the eye follows: the cursor through staff and grid, and the heads that light up as they sound. */
"use strict";

const GLOW = 0.18; // seconds that a head stays lit, at most
const calm = matchMedia("(prefers-reduced-motion: reduce)");

class View {
  constructor(lesson, transport) {
    Object.assign(this, { lesson, transport });
    this.cards = [...document.querySelectorAll(".bar")].map((element) => new Card(element, lesson));
    this.expected = [];
    this.lit = [];
    this.current = this.last = null; // the bar that sounds, and the one that sounded before
    this.anchors = null;
    this.stand = new Stand(lesson, this.cards, transport.player.settings);
    addEventListener("resize", () => this.cards.forEach((card) => (card.pixels = null)));
    this.seen = new IntersectionObserver((entries) => this.onSight(entries), { rootMargin: "600px" });
    this.cards.forEach((card) => this.seen.observe(card.element));
    addEventListener("beforeprint", () => this.forPaper());
    addEventListener("afterprint", () => this.refresh());
    this.refresh();
  }

  /** Bars come near the window: their grids are drawn. */
  onSight(entries) {
    for (const { isIntersecting, target } of entries) {
      if (isIntersecting) this.cards.find((card) => card.element === target).draw();
    }
  }

  /** Every bar anew: with the line, or the time alone. */
  refresh() {
    const { alone } = this.transport.player.settings;
    this.cards.forEach((card, at) => card.show(this.lesson.bars[this.lesson.places[at][0]], alone));
    this.anchors = null;
  }

  /** On paper it is the whole score, whatever is set. */
  forPaper() {
    this.cards.forEach((card, at) => {
      card.show(this.lesson.bars[this.lesson.places[at][0]], false);
      card.draw();
    });
  }

  /** Remember strokes until they sound. Those of one written place light up together. */
  hear(strokes) {
    this.expected.push(...strokes.filter((stroke) => stroke.heard && stroke.cell.score && stroke.voice.part !== "click"));
  }

  /** What sounds from a moment on is laid out anew. */
  forget(moment) {
    this.expected = this.expected.filter((stroke) => stroke.seconds < moment);
    this.anchors = null;
  }

  /** Draw while it plays. */
  start() {
    this.told = null;
    this.stand.open();
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
    this.expected = [];
    this.leave();
    this.stand.close(this.last);
  }

  /** One picture of a moment. */
  draw(now) {
    const { cells, map } = this.transport.player;
    while (cells.length > 1 && cells[1].seconds <= now) cells.shift();
    const cell = cells[0];
    if (!cell || cell.seconds > now) return;
    this.light(now);
    if (this.told !== cell.beat) this.tell(cell);
    this.told = cell.beat;
    if (!cell.score) return this.leave();
    this.enter(cell);
    this.moveCursor(cell, cell.from + clamp(map.beatAt(now) - cell.beat, 0, cell.size));
  }

  /** Another quarter sounds. */
  tell(cell) {
    this.onCell(cell);
    if (cell.score) this.stand.follow(cell);
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
    if (!due.length) return;
    this.expected = this.expected.filter((stroke) => stroke.nominal > now);
    for (const stroke of due) {
      if (now - stroke.nominal <= GLOW) this.lightHeads(stroke);
    }
  }

  /** The heads of one stroke, lit for a moment. */
  lightHeads(stroke) {
    for (const head of this.cards[stroke.cell.score.card].heads(stroke)) {
      head.classList.add("lit");
      this.lit = this.lit.filter((other) => other.head !== head);
      this.lit.push({ head, until: stroke.nominal + GLOW });
    }
  }

  /** Mark the bar that sounds. */
  enter(cell) {
    const card = this.cards[cell.score.card];
    const isNew = card !== this.current || card.bar !== cell.score;
    if (!isNew) return;
    this.leave();
    this.current = card;
    this.anchors = null;
    card.show(cell.score, this.transport.player.settings.alone);
    card.element.classList.add("now");
  }

  /** No bar sounds. */
  leave() {
    if (this.current) this.current.element.classList.remove("now");
    this.last = this.current ?? this.last;
    this.current = null;
  }

  /** The cursor goes from head to head as they sound. With reduced motion it steps from beat to beat. */
  moveCursor(cell, within) {
    const { pulse } = this.lesson.meter;
    const place = calm.matches ? Math.floor(within / pulse + 1e-9) * pulse : within;
    if (!this.anchors || this.pace !== cell.pace) this.anchors = this.current.anchors(this.transport.player, cell.pace);
    this.pace = cell.pace;
    this.current.point(interpolate(this.anchors, place));
  }
}
