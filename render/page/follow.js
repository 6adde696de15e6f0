/* Whether the view follows the music: from Play on, until the reader scrolls or takes a control on the sheet.
   It goes on with the next Play, or once the reader has scrolled back to the bar that sounds. */
"use strict";

const OWN_SCROLL = 1000; // milliseconds that a scroll of the page's own may take; browsers need up to about 700
const ECHO = 100; // milliseconds in which a scroll that has ended may still be told of
const REST = 600; // milliseconds without scrolling until the reader has arrived
const SCROLL_KEYS = new Set(["ArrowUp", "ArrowDown", "PageUp", "PageDown", "Home", "End"]);
const PRESSED = "button, input, select, label, summary"; // in the dock they are at hand wherever the view is

class Follow {
  /** `sounding` gives the element that sounds, or null. */
  constructor(sounding) {
    Object.assign(this, { sounding, following: true, ownUntil: 0, rest: null });
    this.dock = document.querySelector(".dock");
    this.around = [".loop-line", ".settings .limb"].map((place) => document.querySelector(place));
    for (const kind of ["wheel", "touchmove"]) addEventListener(kind, () => this.leave(), { passive: true });
    for (const kind of ["pointerdown", "focusin"]) addEventListener(kind, ({ target }) => this.onTouch(target));
    addEventListener("keydown", (event) => SCROLL_KEYS.has(event.key) && this.leave());
    addEventListener("scroll", () => this.onScroll(), { passive: true });
    addEventListener("scrollend", () => this.arrived()); // where a browser tells; time tells everywhere
    addEventListener("resize", () => this.expectScroll()); // turning a phone moves the view as well
    new ResizeObserver(() => this.makeRoom()).observe(this.dock);
  }

  /** Let the style sheet know how much of the window the dock covers. */
  makeRoom() {
    document.documentElement.style.setProperty("--dock-height", `${this.dock.offsetHeight}px`);
  }

  /** Play was pressed. */
  start() {
    clearTimeout(this.rest);
    this.following = true;
  }

  /** Bring an element into sight, unless the reader looks elsewhere. */
  show(element) {
    if (!this.following || this.inSight(element)) return;
    this.expectScroll();
    element.scrollIntoView({ block: "center", behavior: calm.matches ? "auto" : "smooth" });
  }

  /** What scrolls next is not the reader's doing. */
  expectScroll() {
    this.ownUntil = performance.now() + OWN_SCROLL;
  }

  /** It has ended. */
  arrived() {
    this.ownUntil = Math.min(this.ownUntil, performance.now() + ECHO);
  }

  /** The reader looks elsewhere; what scrolls next is theirs. */
  leave() {
    clearTimeout(this.rest);
    this.following = false;
    this.ownUntil = 0;
  }

  /** The scrollbar was touched, or a control on the sheet: that stays where it is, even amid a scroll. */
  onTouch(target) {
    if (target === document.documentElement) this.leave();
    else if (target.closest(PRESSED) && !this.dock.contains(target)) this.hold();
  }

  /** Leave the view where it is; if the browser brings a control into sight, that is no way back to the music. */
  hold() {
    if (performance.now() < this.ownUntil) scrollTo({ top: scrollY, behavior: "instant" });
    this.leave();
    this.expectScroll();
  }

  /** Scrolled, and not by the page. */
  onScroll() {
    if (performance.now() < this.ownUntil) return;
    this.following = false;
    clearTimeout(this.rest);
    this.rest = setTimeout(() => (this.following = this.isBack()), REST);
  }

  /** The bar that sounds is in sight, and the controls above and below the music are not, or only their edge. */
  isBack() {
    const [above, below] = this.around.map((element) => element.getBoundingClientRect().top);
    const music = above < 0 && below >= this.dock.getBoundingClientRect().top;
    return music && this.sounding() !== null && this.inSight(this.sounding());
  }

  /** Whether an element stands wholly above the dock. */
  inSight(element) {
    const box = element.getBoundingClientRect();
    return box.top >= 0 && box.bottom <= this.dock.getBoundingClientRect().top;
  }
}
