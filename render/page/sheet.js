/* The sheet above the dock: everything that hands need seldom, in one place, over the music. */
"use strict";

class Sheet {
  constructor() {
    this.way = document.querySelector(".way");
    this.place = document.createComment("the way");
    this.way.before(this.place);
    ui.more.addEventListener("click", () => this.toggle());
    ui.close.addEventListener("click", () => this.close());
    ui["beat-large"].addEventListener("change", () => this.showBeat());
    new ResizeObserver(() => this.makeRoom()).observe(document.querySelector(".dock"));
  }

  /** Open it, or close it. */
  toggle() {
    if (ui.sheet.hidden) this.open();
    else this.close();
  }

  /** Over the music; the steps come along. */
  open() {
    ui.sheet.hidden = false;
    ui.sheet.insertBefore(this.way, ui.sheet.children[1]);
    ui.more.setAttribute("aria-expanded", "true");
    ui.sheet.scrollTop = 0;
  }

  /** Out of the way. */
  close() {
    if (ui.sheet.hidden) return;
    if (ui.sheet.contains(document.activeElement)) ui.more.focus();
    ui.sheet.hidden = true;
    this.place.after(this.way);
    ui.more.setAttribute("aria-expanded", "false");
  }

  /** A beat number that is read from two metres, or none. */
  showBeat() {
    document.body.classList.toggle("large-beat", ui["beat-large"].checked);
  }

  /** Let the style sheet know how much of the window the dock covers. */
  makeRoom() {
    const { offsetHeight, offsetWidth } = document.querySelector(".dock");
    const { style } = document.documentElement;
    style.setProperty("--dock-height", `${offsetHeight}px`);
    style.setProperty("--dock-width", `${offsetWidth}px`);
  }
}
