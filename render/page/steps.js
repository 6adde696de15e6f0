/* The way through the lesson: its steps, and the lesson's own tracks as further steps. */
"use strict";

class Steps {
  /** `controls` are those that a step sets. */
  constructor(lesson, settings, transport, controls) {
    Object.assign(this, { lesson, settings, transport, controls });
    this.radios = [...document.querySelectorAll("[name=step]")];
    this.radios.forEach((radio, number) => radio.addEventListener("change", () => this.take(number)));
  }

  /** The step that describes what is set, or -1. */
  get taken() {
    return this.radios.findIndex((one) => one.checked);
  }

  /** One step: who plays, and what to do; a track of the lesson also says bars, tempo, click and turns. */
  take(number) {
    const step = this.lesson.steps[number];
    const { limbs, practice, tempo, bars } = this.controls;
    const own = step.track ? trackSettings(step.track, this.lesson) : this.left ? leftSettings(this.lesson) : {};
    const who = { limbs: Object.fromEntries(step.off.map((name) => [name, "off"])), alone: step.alone, only: step.only || [], lowered: step.lowered || {} };
    this.transport.change(() => {
      Object.assign(this.settings, who, own);
      Object.assign(this.transport.player, { turn: 0, played: 0, roseTurn: 0 });
    });
    Object.assign(limbs, { byHand: false, yours: step.yours });
    practice.lowest = this.settings.tempo;
    if (step.track || this.left) bars.choose(...chosenBars(step.track?.bars || [], this.lesson));
    this.left = Boolean(step.track);
    this.say(number);
    practice.show();
    tempo.show();
    limbs.show();
  }

  /** Mark a step, and say what to do. */
  say(number) {
    this.radios.forEach((radio, at) => (radio.checked = at === number));
    const step = this.lesson.steps[number];
    const who = step && !step.alone && !step.track ? `${readingWords(this.lesson.bars)} ` : "";
    ui["step-text"].textContent = step ? who + step.text : "";
  }
}

/** What a track of the lesson sets besides who plays. */
function trackSettings(track, lesson) {
  const { tempo, click, countIn, rise, fade, trade, silence } = track;
  return { tempo: tempo ?? lesson.tempo, click, countIn: countIn ?? lesson.countIn, rise, fade, trade, silence };
}

/** The same for a step that comes after a track. */
function leftSettings(lesson) {
  return trackSettings({ click: "off", rise: null, fade: null, trade: null, silence: null }, lesson);
}

/** The bars of a track as a choice on the page, and their order. */
function chosenBars(bars, lesson) {
  if (!bars.length) return [{ from: null, to: null, loop: false }];
  const cards = bars.map((place) => lesson.bars[place].card);
  return [{ from: Math.min(...cards), to: Math.max(...cards), loop: true }, bars];
}
