/* What a round is like: count-in, click, swing, fade, turns, and a tempo that rises by itself. */
"use strict";

const RISE = 20; // beats a minute, unless another top is asked for

class Practice {
  constructor(lesson, settings, transport, changed) {
    Object.assign(this, { lesson, settings, transport, changed });
    ui["count-in"].addEventListener("change", () => this.set({ countIn: Number(ui["count-in"].value) }));
    for (const radio of document.querySelectorAll("[name=click]")) {
      radio.addEventListener("change", () => this.set({ click: radio.value }));
    }
    if (ui.swing) ui.swing.addEventListener("change", () => this.setSwing(ui.swing.value));
    ui.fade.addEventListener("change", () => this.setFade(Number(ui.fade.value)));
    ui.trade.addEventListener("change", () => this.setTurns("trade", ui.trade.value));
    ui.silence.addEventListener("change", () => this.setTurns("silence", ui.silence.value));
    ui.every.addEventListener("change", () => this.leaveRoom());
    for (const field of [ui.every, ui.by, ui.to, ui.waits]) field.addEventListener("change", () => this.setRise());
    ui.clean.addEventListener("click", () => this.passed());
    ui.again.addEventListener("click", () => this.fallBack());
    for (const slider of document.querySelectorAll(".volume")) {
      slider.addEventListener("input", () => this.setVolume(slider.dataset.limb, slider.valueAsNumber));
    }
  }

  /** Some settings anew, in what is already handed over too. */
  set(choices, act = () => {}) {
    this.transport.change(() => {
      Object.assign(this.settings, choices);
      act(this.transport.player);
    });
    this.show();
    this.changed();
  }

  /** The lesson's own swing, or another. */
  setSwing(word) {
    const { feel } = this.lesson;
    const own = word === "lesson";
    this.swing = word;
    this.set({ swing: own ? feel.swing : Number(word) || word, lineSwing: own ? feel.lineSwing : null });
  }

  /** Your part sinks a little each time through, or does not. */
  setFade(times) {
    const fade = times ? { times, to: this.lesson.fadeTo, names: [LINE] } : null;
    this.set({ fade, ...(times ? { trade: null } : {}) }, (player) => (player.turn = 0));
  }

  /** Bars that take turns, said as "4 4": a trade or a silence, not both, and a trade not with a fade. "" ends them. */
  setTurns(kind, words) {
    const [first, second] = words.split(" ").map(Number);
    const other = kind === "trade" ? "silence" : "trade";
    const turns = { [kind]: words ? { first, second, swap: true } : null, ...(words ? { [other]: null } : {}) };
    const fade = kind === "trade" && words ? { fade: null } : {};
    this.set({ ...turns, ...fade }, (player) => Object.assign(player, { played: 0, turn: 0 }));
  }

  /** A top above the tempo of now, where the tempo begins to rise. */
  leaveRoom() {
    const { tempo } = this.settings;
    if (ui.every.value !== "0" && !(ui.to.valueAsNumber > tempo)) ui.to.value = Math.ceil(tempo) + RISE;
  }

  /** The tempo rises every few times through, up to a top; where it waits, only after "clean". */
  setRise() {
    const { slowest, fastest, tempo } = this.lesson;
    const top = Number.isFinite(ui.to.valueAsNumber) ? clamp(ui.to.valueAsNumber, slowest, fastest) : tempo;
    const every = Number(ui.every.value);
    this.lowest = this.settings.tempo;
    this.set({ rise: every ? { every, by: Number(ui.by.value), to: top, waits: ui.waits.checked } : null });
    ui.to.value = top;
  }

  /** It came clean: the bars that are played are ticked, and the tempo may rise. */
  passed() {
    const { player, sound, context } = this.transport;
    if (sound) player.passed(context.currentTime - sound.origin);
    this.onPassed();
    this.say("Clean. It rises at the end of this round.");
  }

  /** Called when a round came clean. */
  onPassed() {}

  /** Once more, one step slower, but not below where it began. */
  fallBack() {
    const { rise, tempo } = this.settings;
    const lowest = Math.min(this.lowest ?? tempo, tempo);
    const slower = rise ? Math.max(lowest, tempo - rise.by) : tempo;
    this.transport.player.clean = [];
    this.onTempo(slower);
    this.say(`Again, at ${slower}.`);
  }

  /** Called with a tempo to take. */
  onTempo() {}

  /** A word in the dock. */
  say(words) {
    ui.said.textContent = words;
  }

  /** How loud a limb, the click or the count-in is, in decibels above or below the lesson's. */
  setVolume(name, decibels) {
    const volumes = { ...this.settings.volumes, [name]: decibels };
    if (name === "click") volumes["count-in"] = decibels;
    this.set({ volumes });
  }

  /** Everything as it is set. */
  show() {
    const { countIn, click, fade, trade, silence, rise, volumes } = this.settings;
    showChoice(ui["count-in"], String(countIn), (value) => (value === "1" ? "1 bar" : `${value} bars`));
    for (const radio of document.querySelectorAll("[name=click]")) radio.checked = radio.value === click;
    showChoice(ui.fade, String(fade ? fade.times : 0), (value) => `over ${value} times`);
    const turns = (how) => (how ? `${how.first} ${how.second}` : "");
    showChoice(ui.trade, turns(trade), (value) => value.replace(" ", " bars, then "));
    showChoice(ui.silence, turns(silence), (value) => value.replace(" ", " bars, then "));
    showChoice(ui.every, String(rise ? rise.every : 0), (value) => `every ${value} times`);
    if (rise) {
      showChoice(ui.by, String(rise.by), (value) => value);
      ui.to.value = rise.to;
      ui.waits.checked = Boolean(rise.waits);
    }
    ui.verdict.hidden = !(rise && rise.waits);
    if (ui.swing) ui.swing.value = this.swing || "lesson";
    ui.feel.textContent = !this.swing || this.swing === "lesson" ? this.lesson.feelWords : ui.swing.selectedOptions[0].textContent;
    for (const slider of document.querySelectorAll(".volume")) this.showVolume(slider, volumes[slider.dataset.limb] || 0);
  }

  /** One slider, with its number. */
  showVolume(slider, decibels) {
    slider.value = decibels;
    slider.setAttribute("aria-valuetext", `${decibels} decibels`);
    slider.closest("label").querySelector(".db").textContent = decibels > 0 ? `+${decibels}` : String(decibels).replace("-", "−");
  }
}

/** Show a value in a list of choices, and put it there where a track of the lesson asks for one that is not in it. */
function showChoice(select, value, words) {
  if (![...select.options].some((option) => option.value === value)) select.append(new Option(words(value), value));
  select.value = value;
}
