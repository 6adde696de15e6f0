/* What a student has ticked: for each bar the tempos at which it came clean; and what was set when the page was last
   used, since phones put pages away. Kept where the browser allows. */
"use strict";

class Store {
  constructor(name) {
    this.name = name;
    this.ticks = this.read(name);
  }

  /** An object kept under a name; empty where there is none. */
  read(name) {
    try {
      const kept = JSON.parse(localStorage.getItem(name));
      if (kept && typeof kept === "object") return kept;
    } catch {
      // no storage, or something else under this name: start afresh
    }
    return {};
  }

  /** What was set when the page was last used. */
  get choices() {
    return this.read(`${this.name} set`);
  }

  set choices(choices) {
    this.write(`${this.name} set`, choices);
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
    this.write(this.name, this.ticks);
  }

  /** Write something down, if there is where. */
  write(name, what) {
    try {
      localStorage.setItem(name, JSON.stringify(what));
    } catch {
      // works without
    }
  }
}
