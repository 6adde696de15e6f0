/* The page as it was left: phones put pages away that they do not show, and Reload and Back bring all of it back. */
"use strict";

const KEPT = ["tempo", "limbs", "only", "lowered", "volumes", "alone", "click", "countIn", "rise", "fade", "trade", "silence"];

const BOXES = ["letters", "pedal", "beat-large", "by-itself"];

class Memory {
  constructor(controls) {
    this.controls = controls;
    this.recalled = false;
    addEventListener("pageshow", () => this.recalled && controls.showAll()); // browsers put old choices into fields
  }

  /** Set everything as it was when the page was last used. */
  recall() {
    const { controls } = this;
    const { steps, bars, limbs, settings, lesson, practice } = controls;
    const kept = controls.log.choices;
    if (kept.mirrored === true) controls.mirror(true);
    if (lesson.lines[kept.line]) controls.moveLine(kept.line);
    steps.take(lesson.steps[kept.step] ? kept.step : 0);
    Object.assign(settings, sound(kept, lesson));
    Object.assign(limbs, { byHand: kept.byHand === true, yours: lesson.steps[kept.step]?.yours ?? limbs.yours });
    if (kept.step === -1) steps.say(-1);
    if (isChoice(kept.bars, lesson) && JSON.stringify(kept.bars) !== JSON.stringify(bars.choice)) bars.choose(kept.bars);
    if (ui.swing && [...ui.swing.options].some(({ value }) => value === kept.swing)) practice.setSwing(kept.swing);
    for (const name of BOXES) {
      if (typeof kept[name] === "boolean") ui[name].checked = kept[name];
    }
    if ([...ui.width.options].some(({ value }) => value === kept.width)) ui.width.value = kept.width;
    controls.showAll();
    this.recalled = true;
  }

  /** Note how it is set now. */
  note() {
    if (!this.recalled) return;
    const { settings, limbs, steps, bars, log, practice, lesson } = this.controls;
    const boxes = Object.fromEntries(BOXES.map((name) => [name, ui[name].checked]));
    log.choices = {
      ...Object.fromEntries(KEPT.map((name) => [name, settings[name]])),
      step: steps.taken,
      bars: bars.choice,
      byHand: Boolean(limbs.byHand),
      swing: practice.swing || "lesson",
      line: lesson.line || 0,
      mirrored: Boolean(this.controls.mirrored),
      width: ui.width.value,
      ...boxes,
    };
  }
}

/** What was kept and is as it should be; all else is left as it is. */
function sound(kept, lesson) {
  const inRange = (value, low, high) => Number.isFinite(value) && value >= low && value <= high;
  const names = new Set([...lesson.voices.flatMap(namesOf), "click", "count-in"]);
  const table = (value, isGood) => value && typeof value === "object" && !Array.isArray(value) && Object.entries(value).every(([name, one]) => names.has(name) && isGood(one));
  const pair = (value) => value === null || (value && inRange(value.first, 1, 64) && inRange(value.second, 1, 64));
  const good = {
    tempo: (value) => inRange(value, lesson.slowest, lesson.fastest),
    limbs: (value) => table(value, (one) => ["on", "softer", "off"].includes(one)),
    only: (value) => Array.isArray(value) && value.every((name) => names.has(name)),
    lowered: (value) => table(value, (one) => inRange(one, -60, 0)),
    volumes: (value) => table(value, (one) => inRange(one, -24, 6)),
    alone: (value) => typeof value === "boolean",
    click: (value) => ["off", "2 and 4", "every beat"].includes(value),
    countIn: (value) => inRange(value, 0, 16) && Number.isInteger(value),
    rise: (value) => value === null || (value && inRange(value.every, 1, 64_000) && inRange(value.by, 0.5, 100) && inRange(value.to, lesson.slowest, lesson.fastest)),
    fade: (value) => value === null || (value && inRange(value.times, 2, 64) && inRange(value.to, -60, 0) && Array.isArray(value.names)),
    trade: pair,
    silence: pair,
  };
  return Object.fromEntries(KEPT.filter((name) => kept[name] !== undefined && good[name](kept[name])).map((name) => [name, kept[name]]));
}

/** Whether something is a choice of bars of this lesson. */
function isChoice(bars, lesson) {
  const isBar = (at) => at === null || (Number.isInteger(at) && at in lesson.places);
  return Boolean(bars) && isBar(bars.from) && isBar(bars.to) && typeof bars.loop === "boolean" && !(bars.loop && bars.from === null);
}
