/* Hands on the page: everything that is pressed, put together, and what the page says back. */
"use strict";

const WHOSE = { yours: " · yours", silent: " · silence" };

class Controls {
  constructor(lesson, settings, transport, view, log) {
    Object.assign(this, { lesson, settings, transport, view, log, mirrored: false });
    this.memory = new Memory(this);
    const changed = () => this.changedSettings();
    this.sheet = new Sheet();
    this.tempo = new Tempo(lesson, settings, transport, changed);
    this.practice = new Practice(lesson, settings, transport, changed);
    this.limbs = new Limbs(lesson, settings, transport, () => this.whoChanged());
    this.bars = new Bars(lesson, transport, view, changed);
    this.steps = new Steps(lesson, settings, transport, this);
    this.diary = new Diary(lesson, settings, transport, log, this.bars);
    this.keys = new Keys(this);
    this.listen = new Listen(this);
    this.bind();
    this.memory.recall();
  }

  /** What has no home of its own. */
  bind() {
    this.limbs.onHand = () => this.steps.say(-1);
    this.practice.onPassed = () => this.diary.tick(this.diary.inPlay(), true);
    this.practice.onTempo = (tempo) => this.tempo.set(tempo);
    this.view.onCell = (cell) => this.tell(cell);
    this.view.cards.forEach((card) => (card.onDrawn = () => this.limbs.mark(card)));
    ui.play.addEventListener("click", () => this.toggle());
    ui.play.disabled = false;
    ui["beat-large"].addEventListener("change", () => this.changedSettings());
    if (ui.line) ui.line.addEventListener("change", () => this.moveLine(Number(ui.line.value)));
    ui.mirror.addEventListener("change", () => this.mirror(ui.mirror.checked));
  }

  /** Everything as it is set. */
  showAll() {
    this.practice.show();
    this.tempo.show();
    this.bars.show();
    this.limbs.show();
    this.diary.show();
    this.sheet.showBeat();
    ui.reads.textContent = readingWords(this.lesson.bars);
    if (ui.line) ui.line.value = this.lesson.line || 0;
    ui.mirror.checked = this.mirrored;
    if (this.steps.taken >= 0) this.steps.say(this.steps.taken);
  }

  /** Something was set: it is kept, and ticks hold or do not. */
  changedSettings() {
    this.diary.show();
    this.memory.note();
  }

  /** Somebody came in or went out. */
  whoChanged() {
    this.view.refresh();
    this.view.cards.forEach((card) => card.drawnFor && this.limbs.mark(card));
    this.memory.note();
  }

  // --- the line and the sides ---

  /** Put the line on another drum. */
  moveLine(number) {
    this.transport.change(() => moveLine(this.lesson, number));
    const drum = this.lesson.lines[number];
    document.querySelectorAll(".signs").forEach((signs) => signs.setAttribute("transform", `translate(0 ${drum.down})`));
    this.takeSides();
  }

  /** Right for left, hands and feet. */
  mirror(mirrored) {
    if (mirrored === this.mirrored) return;
    this.mirrored = mirrored;
    this.transport.change(() => mirrorLesson(this.lesson));
    const { settings } = this;
    for (const key of ["limbs", "only", "lowered", "volumes", "fade"]) settings[key] = otherSides(settings[key]);
    const own = ({ off, only = [], lowered = {}, track }) => otherSides({ off, only, lowered, track });
    this.lesson.steps = this.lesson.steps.map((step) => ({ ...step, ...own(step) }));
    this.view.cards.forEach((card) => (card.key = null));
    this.takeSides();
  }

  /** Names and heads anew, after somebody else plays. */
  takeSides() {
    this.limbs.name();
    this.view.cards.forEach((card) => (card.found = null));
    this.showAll();
    this.memory.note();
  }

  // --- play and stop ---

  /** Play, or stop. */
  toggle() {
    if (this.transport.playing) this.transport.stop();
    else this.transport.start();
  }

  /** Once more from where it begins. */
  restart() {
    this.transport.stop();
    this.transport.start();
  }

  /** The sheet away, or else the whole line again. */
  escape() {
    if (!ui.sheet.hidden) this.sheet.close();
    else this.bars.choose({ from: null, to: null, loop: false });
  }

  /** After every start and stop. */
  changed() {
    const { playing } = this.transport;
    document.body.classList.toggle("playing", playing);
    ui["play-word"].textContent = playing ? "Stop" : "Play";
    ui.said.textContent = "";
    if (playing) {
      this.sheet.close();
      this.view.start();
    } else this.view.stop();
    this.diary.changed(playing);
    this.listen.changed(playing);
  }

  /** Where the music is; the tempo too, since it may have risen by itself. */
  tell(cell) {
    const whose = WHOSE[cell.score ? turnOf(cell, this.settings) : ""] ?? "";
    const words = cell.score ? `Bar ${this.lesson.numbers[cell.score.card]} · round ${cell.turn + 1}${whose}` : "Count-in";
    if (ui.where.textContent !== words) ui.where.textContent = words;
    const beat = Math.floor(cell.from / this.lesson.meter.pulse + 1e-9) + 1;
    if (ui["beat-large"].checked) ui.beat.textContent = beat;
    if (cell.rises && cell.from === 0) this.settings.tempo = cell.tempo;
    if (this.tempo.shown === this.settings.tempo) return;
    this.tempo.show();
    this.diary.show();
  }
}

/** Names of limbs in a setting, right for left. */
function otherSides(value) {
  if (value === null || value === undefined) return value;
  return JSON.parse(JSON.stringify(value).replace(/"(right|left) (hand|foot)"/g, (name) => `"${mirrored(name.slice(1, -1))}"`));
}
