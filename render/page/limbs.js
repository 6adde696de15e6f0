/* Who plays: on, softer or off for each limb, and the steps of practice that set them all. */
"use strict";

class Limbs {
  /** `changed` is called whenever somebody comes in or goes out. */
  constructor(lesson, settings, transport, changed) {
    Object.assign(this, { lesson, settings, transport, changed });
    const voices = (kind) => new Set(lesson.bars.flatMap((bar) => bar[kind].flat()).map((stroke) => stroke.voice));
    this.alone = [...voices("alone")];
    this.together = [...voices("strokes")];
    this.radios = [...document.querySelectorAll(".who [data-name]")];
    this.steps = [...document.querySelectorAll("[name=step]")];
    this.radios.forEach((radio) => radio.addEventListener("change", () => this.set(radio.dataset.name, radio.value)));
    this.steps.forEach((step, number) => step.addEventListener("change", () => this.takeStep(number)));
    this.takeStep(0);
  }

  /** One step of the way through the lesson: who plays, and what to do. */
  takeStep(number) {
    const step = this.lesson.steps[number];
    const limbs = Object.fromEntries(step.off.map((name) => [name, "off"]));
    this.transport.change(() => Object.assign(this.settings, { limbs, alone: step.alone }));
    this.steps[number].checked = true;
    ui["step-text"].textContent = step.text;
    this.show();
  }

  /** Who played when the page was last used: a step, or a choice by hand. */
  recall({ step, limbs, alone }) {
    if (this.lesson.steps[step]) this.takeStep(step);
    else if (limbs && typeof limbs === "object") {
      const names = new Set(this.lesson.voices.flatMap(namesOf));
      const known = Object.entries(limbs).filter(([name, state]) => names.has(name) && ["softer", "off"].includes(state));
      this.settings.limbs = Object.fromEntries(known);
      this.settings.alone = alone === true;
      this.leaveSteps();
    }
  }

  /** One limb on, softer or off; the steps then no longer describe who plays. Nobody else changes without need. */
  set(name, state) {
    this.transport.change(() => {
      this.settings.limbs[name] = state;
      if (state !== "off") this.wake(name);
    });
    this.leaveSteps();
  }

  /** No step describes who plays. */
  leaveSteps() {
    this.steps.forEach((step) => (step.checked = false));
    ui["step-text"].textContent = "";
    this.show();
  }

  /** Let a limb be heard that something else silences: the step of the time alone, or another name for its strokes. */
  wake(name) {
    if (this.stateOf(name) !== "off") return;
    this.settings.alone = false;
    if (this.stateOf(name) !== "off") return;
    for (const other of this.voicesOf(name).flatMap(namesOf)) {
      if (this.settings.limbs[other] === "off") delete this.settings.limbs[other];
    }
  }

  /** The voices that go by a name, of the bars as they are played now. */
  voicesOf(name) {
    return (this.settings.alone ? this.alone : this.together).filter((voice) => namesOf(voice).includes(name));
  }

  /** What is heard of a limb: as it is set, or off where nothing under its name sounds. */
  stateOf(name) {
    const voices = this.voicesOf(name);
    const silent = voices.length ? !voices.some((voice) => sounds(voice, this.settings)) : this.settings.alone;
    return silent ? "off" : this.settings.limbs[name] || "on";
  }

  /** The radios as it sounds, and silent heads pale. */
  show() {
    for (const radio of this.radios) radio.checked = this.stateOf(radio.dataset.name) === radio.value;
    for (const voice of this.lesson.voices) {
      const heads = document.querySelectorAll(`.head${headsOf(voice)}`);
      for (const head of heads) head.classList.toggle("silent", !this.isShown(voice));
    }
    this.changed();
  }

  /** Whether a voice of the written bars sounds. */
  isShown(voice) {
    return sounds(voice, this.settings) && !(this.settings.alone && voice.role !== TIME);
  }
}
