/* Keys: the space bar, pedals that send arrow and page keys, and letters, which can be switched off (WCAG 2.1.4). */
"use strict";

class Keys {
  constructor(controls) {
    this.controls = controls;
    addEventListener("keydown", (event) => this.onKey(event));
    addEventListener("pointerdown", () => (this.touched = true));
    for (const box of [ui.letters, ui.pedal]) box.addEventListener("change", () => controls.changedSettings());
  }

  /** None while text is typed or with Ctrl, Alt or Meta. */
  onKey(event) {
    if (event.key === "Tab" || event.key.startsWith("Arrow")) this.touched = false;
    if (event.defaultPrevented) return; // an arrow that went from bar to bar
    const target = event.target.closest ? event.target.closest("input, select, textarea, button, summary, a") : null;
    const typing = target && target.matches("input[type=number], input[type=text], input[type=range], textarea, select");
    if (typing || event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.key === " " && this.wantsSpace(target)) return;
    const action = this.actionOf(event, target);
    if (!action) return;
    event.preventDefault();
    if (event.key === " " && target) target.blur(); // or it would be pressed as well
    action();
  }

  /** What a key does now. */
  actionOf({ key }, target) {
    const isRadio = target && target.matches("[type=radio]");
    if (ui.pedal.checked && !isRadio && this.pedals()[key]) return this.pedals()[key];
    if (key === " ") return () => this.controls.toggle();
    if (key === "Escape") return () => this.controls.escape();
    return ui.letters.checked ? this.letters()[key.toLowerCase()] : undefined;
  }

  /** Whether Space presses what has the focus: where the keyboard led there, not a finger or a mouse. */
  wantsSpace(target) {
    return target && !this.touched && !target.matches("[type=radio], [type=range]");
  }

  /** A pedal: the right one plays and stops, or says "clean"; the left one begins again, or says "again". */
  pedals() {
    const { controls } = this;
    const asked = !ui.verdict.hidden && controls.transport.playing;
    const right = () => (asked ? controls.practice.passed() : controls.toggle());
    const left = () => (asked ? controls.practice.fallBack() : controls.restart());
    return { ArrowRight: right, PageDown: right, ArrowDown: right, ArrowLeft: left, PageUp: left, ArrowUp: left };
  }

  /** What each letter and sign does. */
  letters() {
    const { controls } = this;
    const { tempo, bars, settings, lesson } = controls;
    const faster = () => tempo.set(settings.tempo + 1);
    return {
      p: () => controls.toggle(),
      "+": faster,
      "=": faster,
      "-": () => tempo.set(settings.tempo - 1),
      s: () => tempo.slowDown(),
      w: () => tempo.set(lesson.tempo),
      t: () => tempo.tap(performance.now() / 1000),
      l: () => bars.toggleLoop(),
      h: () => bars.fromHere(),
    };
  }
}
