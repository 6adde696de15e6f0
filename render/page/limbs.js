/* Who plays: on, softer or off for each limb, by repeated touch in the dock or by choice on the sheet. */
"use strict";

const NEXT = { on: "softer", softer: "off", off: "on" };

/** Who reads, and on which drum, in the order in which they come: [limb, drum]. */
function readersOf(bars) {
  const reading = bars.flatMap((bar) => bar.strokes.flat()).filter(({ voice }) => voice.role === LINE);
  return [...new Map(reading.map(({ voice }) => [`${voice.limb} ${voice.part}`, [voice.limb, voice.part]])).values()];
}

/** The same in words: "The left hand reads on the snare." */
function readingWords(bars) {
  const words = readersOf(bars).map(([limb, part], at) => (at ? `the ${limb} on the ${part}` : `the ${limb} reads on the ${part}`));
  const text = words.join(", then ");
  return text && `${text[0].toUpperCase()}${text.slice(1)}.`;
}

/** The switches: one for each limb, and one for the line unless a single limb reads and does nothing else. */
function switchesOf(lesson) {
  const all = (kind) => lesson.bars.flatMap((bar) => bar[kind].flat()).map(({ voice }) => voice);
  const [together, alone] = [all("strokes"), all("alone")];
  const reading = [...new Set(together.filter(({ role }) => role !== TIME).map(({ limb }) => limb))];
  const keeping = new Set(together.filter(({ role }) => role === TIME).map(({ limb }) => limb));
  const reader = reading.length === 1 && !keeping.has(reading[0]) ? reading[0] : "";
  const rows = lesson.rows.map((limb) => {
    const played = new Set([...together, ...alone].filter((voice) => voice.limb === limb).map(({ part }) => part));
    const goesAsLine = limb === reader && !alone.some((voice) => voice.limb === limb);
    const plays = [...lesson.parts.filter((part) => played.has(part)), ...(limb === reader ? ["the line"] : [])];
    return { limb, label: limb[0].toUpperCase() + limb.slice(1), plays: plays.join(", "), name: goesAsLine ? LINE : limb };
  });
  const line = { limb: "", label: "The line", plays: reading.join(" and "), name: LINE };
  return reading.length && !reader ? [...rows, line] : rows;
}

class Limbs {
  /** `changed` is called whenever somebody comes in or goes out. */
  constructor(lesson, settings, transport, changed) {
    Object.assign(this, { lesson, settings, transport, changed });
    this.touches = [...document.querySelectorAll(".touch")];
    this.rows = [...document.querySelectorAll(".who .limb")];
    this.touches.forEach((button) => button.addEventListener("click", () => this.set(button.dataset.name, NEXT[this.stateOf(button.dataset.name)])));
    for (const radio of document.querySelectorAll(".who [type=radio]")) {
      radio.addEventListener("change", () => this.set(radio.closest(".limb").dataset.name, radio.value));
    }
    this.name();
  }

  /** Names and labels of the switches, as the line and the sides are now. */
  name() {
    const voices = (kind) => [...new Set(this.lesson.bars.flatMap((bar) => bar[kind].flat()).map(({ voice }) => voice))];
    Object.assign(this, { alone: voices("alone"), together: voices("strokes"), switches: switchesOf(this.lesson) });
    for (const element of [...this.touches, ...this.rows]) {
      const own = this.switches.find(({ limb }) => limb === element.dataset.limb);
      element.hidden = !own;
      if (!own) continue;
      element.dataset.name = own.name;
      element.querySelector(".plays").textContent = own.plays;
    }
  }

  /** One limb on, softer or off by hand. Nobody else changes without need. */
  set(name, state) {
    this.transport.change(() => {
      this.settings.limbs[name] = state;
      if (state !== "off") this.wake(name);
    });
    this.byHand = true;
    this.onHand();
    this.show();
  }

  /** Called when a choice is made by hand. */
  onHand() {}

  /** Let a limb be heard that something else silences: the step of the time alone, or another name for its strokes. */
  wake(name) {
    if (this.stateOf(name) !== "off") return;
    this.settings.alone = false;
    if (this.stateOf(name) !== "off") return;
    this.settings.only = [];
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

  /** The switches as it sounds. */
  show() {
    for (const button of this.touches) {
      if (button.hidden) continue;
      const state = this.stateOf(button.dataset.name);
      const own = this.switches.find(({ limb }) => limb === button.dataset.limb);
      button.dataset.state = state;
      button.querySelector(".state").textContent = state;
      button.setAttribute("aria-label", `${own.label}, ${own.plays}: ${state}`);
    }
    for (const row of this.rows) {
      if (row.hidden) continue;
      const state = this.stateOf(row.dataset.name);
      for (const radio of row.querySelectorAll("[type=radio]")) radio.checked = radio.value === state;
    }
    this.changed();
  }

  /** Pale what is silent, and outline boldly what is the student's. */
  mark(card) {
    const note = card.staff.querySelector(".signs");
    const state = (voice) => (this.isShown(voice) ? "" : this.isYours(voice) ? "yours" : "silent");
    for (const voice of this.lesson.voices) {
      const own = `[data-part="${voice.part}"][data-limb="${voice.limb}"][data-role="${voice.role}"]`;
      for (const head of card.grid.querySelectorAll(`.head${own}`)) this.setState(head, state(voice));
    }
    const reader = this.together.find(({ role }) => role !== TIME);
    if (note && reader) this.setState(note, state(reader) === "yours" ? "yours" : "");
  }

  /** One of two classes, or none. */
  setState(element, state) {
    for (const one of ["yours", "silent"]) element.classList.toggle(one, one === state);
  }

  /** Whether a voice of the written bars sounds. */
  isShown(voice) {
    return sounds(voice, this.settings) && !(this.settings.alone && voice.role !== TIME);
  }

  /** Whether a silent voice is the student's to play: not where a step only waits for it. */
  isYours(voice) {
    return !this.settings.alone && (this.byHand || this.yours) && !sounds(voice, this.settings);
  }
}
