/* Which bars: the first touch says from where, the second up to where; a drag says both. The loop is a switch of its own. */
"use strict";

class Bars {
  constructor(lesson, transport, view, changed) {
    Object.assign(this, { lesson, transport, view, changed });
    this.buttons = [...document.querySelectorAll(".choose")];
    this.choice = { from: null, to: null, loop: false };
    this.buttons.forEach((button, number) => {
      button.addEventListener("click", (event) => this.onClick(event, number));
      button.addEventListener("keydown", (event) => this.walk(event, number));
      button.addEventListener("pointerdown", () => (this.pressed = number));
      button.addEventListener("pointerenter", (event) => event.buttons & 1 && this.onDrag(number));
    });
    addEventListener("pointerup", () => setTimeout(() => (this.pressed = this.dragged = null)));
    ui.loop.addEventListener("click", () => this.toggleLoop());
    ui.here.addEventListener("click", () => this.fromHere());
    ui.whole.addEventListener("click", () => this.choose({ from: null, to: null, loop: false }));
  }

  /** A touch: from here, or up to here; on the bar that begins it, no choice again. */
  onClick(event, number) {
    if (this.dragged) return;
    const { from, to, loop } = this.choice;
    if (from === null || (to !== null && !event.shiftKey)) this.choose({ from: number, to: null, loop: loop && to === null });
    else if (number === from) this.choose({ from: null, to: null, loop: false });
    else this.choose({ ...this.ordered(from, number), loop: true });
  }

  /** A finger that was put on one bar has come to another. */
  onDrag(number) {
    if (this.pressed === null || this.pressed === undefined || this.pressed === number) return;
    this.dragged = true;
    this.choose({ ...this.ordered(this.pressed, number), loop: true });
  }

  /** Two bars as the first and the last. */
  ordered(one, other) {
    return { from: Math.min(one, other), to: Math.max(one, other) };
  }

  /** Take a choice of bars, or places in an order of their own; what plays goes on with it from the next bar on. */
  choose(choice, order) {
    const moved = choice.from !== this.choice.from;
    this.choice = choice;
    const { from, to, loop } = choice;
    const numbers = loop ? this.buttons.map((_, at) => at).filter((at) => at >= from && at <= (to ?? from)) : [];
    const places = order ?? numbers.flatMap((number) => this.lesson.places[number]);
    this.play(places, order ? order[0] : from === null ? 0 : this.lesson.places[from][0], moved && from !== null);
    this.show();
    this.changed();
  }

  /** Hand places to the player: the ones over and over, and where to begin. */
  play(places, from, moved) {
    const { player } = this.transport;
    this.transport.change(() => {
      const isSame = places.join() === player.settings.loop.join();
      player.settings.from = from;
      if (!isSame) player.loop(places);
      if (moved && !places.length) player.goTo(from);
    });
    this.view.stand.rearrange();
  }

  /** Over and over, or not; with no bar chosen it is the one in view. */
  toggleLoop() {
    const { from, to, loop } = this.choice;
    if (loop) this.choose({ from: to === null ? null : from, to: null, loop: false });
    else this.choose({ from: from ?? this.inView(), to, loop: true });
  }

  /** Begin at the bar in view from now on. */
  fromHere() {
    const { to, loop } = this.choice;
    const from = this.inView();
    this.choose({ from, to: to !== null && to > from ? to : null, loop: loop && to !== null && to > from });
  }

  /** The bar that sounds, else the one that has the focus, else the one that sounded last, else the first in sight. */
  inView() {
    const { cards, current, last } = this.view;
    if (current) return cards.indexOf(current);
    const focused = this.buttons.indexOf(document.activeElement);
    if (focused >= 0) return focused;
    const isInSight = (button) => button && button.getBoundingClientRect().top >= 0 && button.getBoundingClientRect().bottom <= innerHeight;
    if (last && isInSight(this.buttons[cards.indexOf(last)])) return cards.indexOf(last);
    return Math.max(0, this.buttons.findIndex(isInSight));
  }

  /** Left and right, up and down: from bar to bar. */
  walk(event, number) {
    const step = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -1, ArrowDown: 1 }[event.key];
    const next = this.buttons[number + step];
    if (!step || !next || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    next.focus();
  }

  /** Chosen bars marked, and said in words. */
  show() {
    const { from, to, loop } = this.choice;
    this.buttons.forEach((button, number) => {
      const chosen = from !== null && number >= from && number <= (to ?? from);
      button.setAttribute("aria-pressed", chosen);
      button.closest(".bar").classList.toggle("chosen", chosen);
    });
    ui.loop.setAttribute("aria-pressed", loop);
    ui["loop-words"].textContent = this.words();
    ui.whole.disabled = from === null;
  }

  /** The choice in words. */
  words() {
    const { from, to, loop } = this.choice;
    const name = (number) => this.lesson.numbers[number];
    if (from === null) return "The whole line";
    const which = to === null ? `bar ${name(from)}` : `bars ${name(from)} to ${name(to)}`;
    return loop ? `Over and over: ${which}` : `From bar ${name(from)}`;
  }
}
