/* The tempo: buttons that go faster when held, a number, a slider, taps, and 60 %. */
"use strict";

const TAP_SECONDS = 2.5; // a longer gap begins a new count
const SLOW = 0.6;
const HELD_AFTER = 400; // milliseconds until a held button begins to run
const HELD_EACH = 110; // and from step to step
const HELD_STEPS = [1, 1, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 5]; // beats a minute, the last one from then on

class Tempo {
  constructor(lesson, settings, transport, changed) {
    Object.assign(this, { lesson, settings, transport, changed, taps: [] });
    ui.slider.addEventListener("input", () => this.set(ui.slider.valueAsNumber));
    ui.tempo.addEventListener("change", () => this.set(ui.tempo.valueAsNumber));
    ui.tempo.addEventListener("blur", () => (ui.tempo.value = this.settings.tempo));
    this.bindHeld(ui.slower, -1);
    this.bindHeld(ui.faster, 1);
    ui.slow.addEventListener("click", () => this.slowDown());
    ui.written.addEventListener("click", () => this.set(lesson.tempo));
    ui.tap.addEventListener("click", (event) => this.tap(event.timeStamp / 1000));
  }

  /** A button that steps once when touched, and on and on, faster and faster, while it is held. */
  bindHeld(button, sign) {
    let timer = null;
    let steps = 0;
    const run = () => {
      this.set(this.settings.tempo + sign * HELD_STEPS[Math.min(steps++, HELD_STEPS.length - 1)]);
      timer = setTimeout(run, HELD_EACH);
    };
    const end = () => clearTimeout(timer);
    button.addEventListener("pointerdown", () => {
      steps = 0;
      end();
      timer = setTimeout(run, HELD_AFTER);
    });
    for (const kind of ["pointerup", "pointerleave", "pointercancel"]) button.addEventListener(kind, end);
    button.addEventListener("contextmenu", (event) => event.preventDefault());
    button.addEventListener("click", () => steps === 0 && this.set(this.settings.tempo + sign));
    button.addEventListener("keydown", () => (steps = 0));
  }

  /** Play at a tempo, within what a lesson may ask for; anything but a number is passed over. */
  set(tempo) {
    const { slowest, fastest } = this.lesson;
    const wanted = Number.isFinite(tempo) ? clamp(Math.round(tempo * 10) / 10, slowest, fastest) : this.settings.tempo;
    if (wanted !== this.settings.tempo) this.transport.change(() => (this.settings.tempo = wanted));
    ui.tempo.value = wanted;
    this.show();
    this.changed();
  }

  /** Slow enough to think: six tenths of the lesson's tempo, or back to it. */
  slowDown() {
    const slow = Math.round(this.lesson.tempo * SLOW);
    this.set(this.settings.tempo === slow ? this.lesson.tempo : slow);
  }

  /** Take the tempo from the hand: from the second tap on, the mean of the gaps. */
  tap(seconds) {
    if (seconds - this.taps[this.taps.length - 1] > TAP_SECONDS) this.taps = [];
    this.taps = [...this.taps, seconds].slice(-5);
    const gaps = this.taps.length - 1;
    if (gaps > 0) this.set(Math.round((60 * gaps) / (this.taps[gaps] - this.taps[0])));
  }

  /** Tempo on slider and number. */
  show() {
    const { tempo } = this.settings;
    this.shown = tempo;
    ui.slider.value = tempo;
    ui.slow.setAttribute("aria-pressed", tempo === Math.round(this.lesson.tempo * SLOW));
    if (document.activeElement !== ui.tempo) ui.tempo.value = tempo; // or it would change under the typing hand
  }
}
