/* The page as it was left: phones put pages away that they do not show. */
"use strict";

class Memory {
  constructor(controls) {
    this.controls = controls;
    this.recalled = false;
  }

  /** Set everything as it was when the page was last used. */
  recall() {
    const { controls } = this;
    const { choices } = controls.store;
    controls.setTempo(choices.tempo);
    if (Array.isArray(choices.bars)) controls.loop(choices.bars.filter((number) => number in controls.buttons));
    controls.limbs.recall(choices);
    const click = [...document.querySelectorAll("[name=click]")].find((radio) => radio.value === choices.click);
    if (click) click.click();
    const counts = [...ui["count-in"].options].map((option) => option.value);
    if (counts.includes(String(choices.countIn))) controls.setCountIn(String(choices.countIn));
    this.recalled = true;
  }

  /** Note how it is set now. */
  note() {
    if (!this.recalled) return;
    const { settings, limbs, chosen, store } = this.controls;
    const { tempo, alone, click, countIn } = settings;
    const step = limbs.steps.findIndex((one) => one.checked);
    store.choices = { tempo, alone, click, countIn, limbs: settings.limbs, step, bars: [...chosen] };
  }
}
