/* Hands and keys: what the student presses, and what the page says back. */
"use strict";

const TAP_SECONDS = 2.5; // a longer gap begins a new count
const SLOW = 0.6;
const RISE = 20; // beats a minute, unless another top is asked for
const WHOSE = { yours: " · yours", silent: " · silence" };
const ui = Object.fromEntries([...document.querySelectorAll("[id]")].map((element) => [element.id, element]));

class Controls {
  constructor(lesson, settings, transport, view, store) {
    Object.assign(this, { lesson, settings, transport, view, store });
    this.taps = [];
    this.memory = new Memory(this);
    this.bindTransport();
    this.bindTempo();
    this.limbs = new Limbs(lesson, settings, transport, () => this.whoChanged());
    this.bindBars();
    this.bindPractice();
    addEventListener("keydown", (event) => this.onKey(event));
    addEventListener("pointerdown", () => (this.touched = true));
    view.onCell = (cell) => this.tell(cell);
    this.showTempo();
    this.showLoop();
    this.memory.recall();
  }

  /** Somebody came in or went out. */
  whoChanged() {
    this.view.refresh();
    this.memory.note();
  }

  // --- play and stop ---

  /** The big button. */
  bindTransport() {
    ui.play.addEventListener("click", () => this.toggle());
    ui.play.disabled = false;
  }

  /** Play, or stop. */
  toggle() {
    if (this.transport.playing) this.transport.stop();
    else this.transport.start();
  }

  /** After every start and stop. */
  changed() {
    const { playing } = this.transport;
    document.body.classList.toggle("playing", playing);
    ui["play-word"].textContent = playing ? "Stop" : "Play";
    if (playing) this.view.start();
    else this.view.stop();
  }

  /** Where the music is, in words; the tempo too, since it may rise by itself. */
  tell(cell) {
    const whose = WHOSE[cell.score ? turnOf(cell.number, this.settings) : ""] ?? "";
    const words = cell.score ? `Bar ${this.lesson.numbers[cell.score.card]} · round ${cell.turn + 1}${whose}` : "Count-in";
    if (ui.where.textContent !== words) ui.where.textContent = words;
    if (cell.rises && cell.from === 0) this.settings.tempo = cell.tempo;
    if (this.shown !== this.settings.tempo) this.showTempo();
  }

  // --- tempo ---

  /** Slider, number, keys, tap. */
  bindTempo() {
    ui.slider.addEventListener("input", () => this.setTempo(ui.slider.valueAsNumber));
    ui.tempo.addEventListener("change", () => this.setTempo(ui.tempo.valueAsNumber));
    ui.tempo.addEventListener("blur", () => (ui.tempo.value = this.settings.tempo));
    ui.slower.addEventListener("click", () => this.setTempo(this.settings.tempo - 1));
    ui.faster.addEventListener("click", () => this.setTempo(this.settings.tempo + 1));
    ui.slow.addEventListener("click", () => this.slowDown());
    ui.written.addEventListener("click", () => this.setTempo(this.lesson.tempo));
    ui.tap.addEventListener("click", (event) => this.tap(event.timeStamp / 1000));
  }

  /** Play at a tempo, within what a lesson may ask for; anything but a number is passed over. */
  setTempo(tempo) {
    const { slowest, fastest } = this.lesson;
    const wanted = Number.isFinite(tempo) ? clamp(Math.round(tempo * 10) / 10, slowest, fastest) : this.settings.tempo;
    this.transport.change(() => (this.settings.tempo = wanted));
    ui.tempo.value = this.settings.tempo;
    this.showTempo();
    this.memory.note();
  }

  /** Slow enough to think: six tenths of the lesson's tempo. */
  slowDown() {
    this.setTempo(Math.round(this.lesson.tempo * SLOW));
  }

  /** Take the tempo from the hand: from the second tap on, the mean of the gaps. */
  tap(seconds) {
    if (seconds - this.taps[this.taps.length - 1] > TAP_SECONDS) this.taps = [];
    this.taps = [...this.taps, seconds].slice(-5);
    const gaps = this.taps.length - 1;
    if (gaps > 0) this.setTempo(Math.round((60 * gaps) / (this.taps[gaps] - this.taps[0])));
  }

  /** Tempo on slider and number, and the ticks that hold at it. */
  showTempo() {
    const { tempo } = this.settings;
    this.shown = tempo;
    ui.slider.value = tempo;
    if (document.activeElement !== ui.tempo) ui.tempo.value = tempo; // or it would change under the typing hand
    this.showTicks();
  }

  // --- the loop ---

  /** Bars are chosen by touching them, with Shift from the last one on; arrows go from bar to bar. */
  bindBars() {
    this.chosen = new Set();
    this.buttons = [...document.querySelectorAll(".choose")];
    this.buttons.forEach((button, number) => {
      button.addEventListener("click", (event) => this.choose(number, event.shiftKey));
      button.addEventListener("keydown", (event) => this.walk(event, number));
    });
    document.querySelectorAll(".clean").forEach((box, number) => {
      box.addEventListener("change", () => this.tick(number, box.checked));
    });
    ui.whole.addEventListener("click", () => this.loopWhole());
    ui.here.addEventListener("click", () => this.loopHere());
  }

  /** Put a bar into the loop, or take it out; with Shift all bars from the last chosen one. */
  choose(number, through) {
    const from = through && this.lastChosen !== undefined ? this.lastChosen : number;
    const run = this.buttons.map((_, at) => at).filter((at) => at >= Math.min(from, number) && at <= Math.max(from, number));
    const add = through || !this.chosen.has(number);
    const rest = [...this.chosen].filter((at) => !run.includes(at));
    this.lastChosen = number;
    this.loop(add ? [...rest, ...run] : rest);
  }

  /** Loop over these printed bars from the next bar on. */
  loop(numbers) {
    this.chosen = new Set(numbers);
    const places = numbers.flatMap((number) => this.lesson.places[number]);
    this.transport.change(() => this.transport.player.loop(places));
    this.showLoop();
    this.memory.note();
  }

  /** The whole line again, and the view with it. */
  loopWhole() {
    this.loop([]);
    this.view.follow.start();
  }

  /** Loop the bar that sounds, else the one that has the focus, else the one that sounded last. */
  loopHere() {
    const { cards, current, last } = this.view;
    const focused = this.buttons.indexOf(document.activeElement);
    if (current) this.loop([cards.indexOf(current)]);
    else this.loop([focused >= 0 ? focused : last ? cards.indexOf(last) : Math.min(...this.chosen, cards.length - 1)]);
  }

  /** Chosen bars marked, and said in words. */
  showLoop() {
    this.buttons.forEach((button, number) => {
      button.setAttribute("aria-pressed", this.chosen.has(number));
      button.closest(".bar").classList.toggle("chosen", this.chosen.has(number));
    });
    const names = [...this.chosen].sort((a, b) => a - b).map((number) => this.lesson.numbers[number]);
    ui["loop-words"].textContent = names.length ? `Over and over: bar ${names.join(", ")}` : "Over and over: the whole line";
    ui.whole.disabled = names.length === 0;
  }

  /** Left and right, up and down: from bar to bar. */
  walk(event, number) {
    const step = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -1, ArrowDown: 1 }[event.key];
    const next = this.buttons[number + step];
    if (!step || !next || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    next.focus();
  }

  // --- ticks ---

  /** A bar came clean at this tempo, or did not after all. */
  tick(number, done) {
    this.store.tick(this.lesson.numbers[number], this.settings.tempo, done);
    this.showTicks();
  }

  /** Ticks as they hold at the present tempo, with the best tempo so far. */
  showTicks() {
    document.querySelectorAll(".clean").forEach((box, number) => {
      const bar = this.lesson.numbers[number];
      const best = this.store.best(bar);
      box.checked = this.store.isDone(bar, this.settings.tempo);
      box.closest(".tick").querySelector(".at").textContent = this.settings.tempo;
      box.closest(".tick").querySelector(".best").textContent = best ? `best ${best}` : "";
    });
  }

  // --- the rest ---

  /** Count-in, click, swing, rising tempo and fade. */
  bindPractice() {
    const { settings } = this;
    this.setCountIn(String(settings.countIn));
    ui["count-in"].addEventListener("change", () => this.setCountIn(ui["count-in"].value));
    for (const radio of document.querySelectorAll("[name=click]")) {
      radio.addEventListener("change", () => this.setClick(radio.value));
    }
    if (ui.swing) ui.swing.addEventListener("change", () => this.setSwing(ui.swing.value));
    ui.fade.addEventListener("change", () => this.setFade(Number(ui.fade.value)));
    ui.trade.addEventListener("change", () => this.setTurns("trade", ui.trade.value));
    ui.silence.addEventListener("change", () => this.setTurns("silence", ui.silence.value));
    ui.every.addEventListener("change", () => this.leaveRoom());
    for (const field of [ui.every, ui.by, ui.to]) field.addEventListener("change", () => this.setRise());
  }

  /** Bars that are counted in. */
  setCountIn(bars) {
    ui["count-in"].value = bars;
    this.settings.countIn = Number(bars);
    this.memory.note();
  }

  /** The click: off, on the backbeat, on every beat. */
  setClick(when) {
    this.transport.change(() => (this.settings.click = when));
    this.memory.note();
  }

  /** The lesson's own swing, or another. */
  setSwing(word) {
    const { feel } = this.lesson;
    const own = word === "lesson";
    const swing = own ? feel.swing : Number(word) || word;
    this.transport.change(() => Object.assign(this.settings, { swing, lineSwing: own ? feel.lineSwing : null }));
    ui.feel.textContent = own ? this.lesson.feelWords : ui.swing.selectedOptions[0].textContent;
  }

  /** Your part sinks a little each time through, or does not. */
  setFade(times) {
    this.transport.change(() => {
      this.settings.fade = times ? { times, to: this.lesson.fadeTo } : null;
      this.transport.player.turn = 0;
    });
    if (times) this.setTurns("trade", "");
  }

  /** Bars that take turns, said as "4 4": a trade or a silence, not both, and a trade not with a fade. "" ends them. */
  setTurns(kind, words) {
    const [first, second] = words.split(" ").map(Number);
    this.transport.change(() => {
      for (const one of ["trade", "silence"]) {
        if (one === kind || words) this.settings[one] = one === kind && words ? { first, second } : null;
      }
      this.transport.player.played = 0;
    });
    for (const one of ["trade", "silence"]) {
      const how = this.settings[one];
      ui[one].value = how ? `${how.first} ${how.second}` : "";
    }
    if (this.settings.trade && this.settings.fade) this.setFade(0);
    ui.fade.value = String(this.settings.fade ? this.settings.fade.times : 0);
  }

  /** A top above the tempo of now, where the tempo begins to rise. */
  leaveRoom() {
    const { tempo } = this.settings;
    if (ui.every.value !== "0" && !(ui.to.valueAsNumber > tempo)) ui.to.value = Math.ceil(tempo) + RISE;
  }

  /** The tempo rises every few times through, up to a top. */
  setRise() {
    const { slowest, fastest, tempo } = this.lesson;
    const top = Number.isFinite(ui.to.valueAsNumber) ? clamp(ui.to.valueAsNumber, slowest, fastest) : tempo;
    ui.to.value = top;
    const every = Number(ui.every.value);
    const rise = every ? { every, by: Number(ui.by.value), to: top } : null;
    this.transport.change(() => (this.settings.rise = rise));
  }

  // --- keys ---

  /** One key each for what the hands want most; none while text is typed or with Ctrl, Alt or Meta. */
  onKey(event) {
    if (event.key === "Tab" || event.key.startsWith("Arrow")) this.touched = false;
    const target = event.target.closest("input, select, textarea, button, summary, a");
    const typing = target && target.matches("input[type=number], input[type=text], textarea, select");
    if (typing || event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.key === " " && this.wantsSpace(target)) return;
    const action = this.keys()[event.key.toLowerCase()];
    if (!action) return;
    event.preventDefault();
    if (event.key === " " && target) target.blur(); // or it would be pressed as well
    action();
  }

  /** Whether Space presses what has the focus: where the keyboard led there, not a finger or a mouse. */
  wantsSpace(target) {
    return target && !this.touched && !target.matches("[type=radio], [type=range]");
  }

  /** What each key does. */
  keys() {
    const faster = () => this.setTempo(this.settings.tempo + 1);
    return {
      " ": () => this.toggle(),
      p: () => this.toggle(),
      "+": faster,
      "=": faster,
      "-": () => this.setTempo(this.settings.tempo - 1),
      s: () => this.slowDown(),
      w: () => this.setTempo(this.lesson.tempo),
      t: () => this.tap(performance.now() / 1000),
      l: () => this.loopHere(),
      escape: () => this.loopWhole(),
    };
  }
}
