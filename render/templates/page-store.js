/* What a student has ticked: for each bar the tempos at which it came clean. Kept where the browser allows. */
"use strict";

class Store {
  constructor(name) {
    this.name = name;
    this.ticks = {};
    try {
      const kept = JSON.parse(localStorage.getItem(name));
      if (kept && typeof kept === "object") this.ticks = kept;
    } catch {
      // no storage, or something else under this name: start afresh
    }
  }

  /** The fastest tempo ticked for a bar, or 0. */
  best(bar) {
    const tempos = Array.isArray(this.ticks[bar]) ? this.ticks[bar].filter(Number.isFinite) : [];
    return Math.max(0, ...tempos);
  }

  /** Whether a bar is ticked at this tempo or a faster one. */
  isDone(bar, tempo) {
    return this.best(bar) >= tempo;
  }

  /** Tick a bar at a tempo, or take back what was ticked at this tempo and above. */
  tick(bar, tempo, done) {
    const slower = (Array.isArray(this.ticks[bar]) ? this.ticks[bar] : []).filter((one) => one < tempo);
    this.ticks[bar] = done ? [...slower, tempo] : slower;
    this.keep();
  }

  /** Write it down, if there is where. */
  keep() {
    try {
      localStorage.setItem(this.name, JSON.stringify(this.ticks));
    } catch {
      // works without
    }
  }
}
