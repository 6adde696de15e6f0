/* The log: minutes of each day, and for each bar the tempos at which it came clean. It stays on this device where the
   browser allows; it leaves it only as a file that the student makes, as docs/formats.md describes. */
"use strict";

const FORMAT = "fourlimb-practice";
const VERSION = 1;
const DEVICE = "fourlimb device"; // what is true of this device and its student, whatever the lesson
const LONGEST_WORD = 40;

/** The day by this device's clock: "2026-11-27". */
function today(date = new Date()) {
  const two = (number) => String(number).padStart(2, "0");
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
}

/** Numbers of an object that are what they should be. */
function numbersOf(object, isGood) {
  if (!object || typeof object !== "object") return {};
  return Object.fromEntries(Object.entries(object).filter(([key, value]) => isGood(key, value)));
}

class Log {
  constructor(lesson) {
    this.lesson = lesson;
    this.kept = {}; // what stands in for a storage that is not there
    addEventListener("storage", (event) => event.key && event.key.startsWith(lesson.name) && this.onChange());
  }

  /** Called when another tab has written something down. */
  onChange() {}

  /** An object kept under a name; empty where there is none. */
  read(name) {
    try {
      const kept = JSON.parse(localStorage.getItem(name));
      if (kept && typeof kept === "object" && !Array.isArray(kept)) return kept;
      return {};
    } catch {
      return this.kept[name] || {}; // no storage, or something else under this name
    }
  }

  /** Write something down, if there is where. */
  write(name, what) {
    this.kept[name] = what;
    try {
      localStorage.setItem(name, JSON.stringify(what));
    } catch {
      // works without
    }
  }

  /** What was set when the page was last used. */
  get choices() {
    return this.read(`${this.lesson.name} set`);
  }

  set choices(choices) {
    this.write(`${this.lesson.name} set`, choices);
  }

  /** What the student told of this device: its delays, its pads, the word. */
  get device() {
    return this.read(DEVICE);
  }

  set device(device) {
    this.write(DEVICE, device);
  }

  /** A word that the log is known by, if the student typed one. */
  get word() {
    const { word } = this.device;
    return typeof word === "string" ? word.slice(0, LONGEST_WORD) : "";
  }

  set word(word) {
    this.device = { ...this.device, word: word.trim().slice(0, LONGEST_WORD) };
  }

  /** Nothing is kept any more. */
  clear() {
    const { name } = this.lesson;
    this.kept = {};
    try {
      for (const key of [name, `${name} minutes`, `${name} set`, `${name} listened`, DEVICE]) localStorage.removeItem(key);
    } catch {
      // nothing was kept
    }
  }

  // --- what was heard

  /** By day, the tempo and how late each limb came: { tempo_bpm, lateness_ms }. */
  get listened() {
    return listenedOf(this.read(`${this.lesson.name} listened`).days, this.lesson);
  }

  /** How much trouble each bar was when it was last heard: printed number → trouble. */
  get trouble() {
    return numbersOf(this.read(`${this.lesson.name} listened`).trouble, (bar, value) => Number.isFinite(value) && value >= 0);
  }

  /** A take was heard: of a day the last one counts. */
  listen(tempo, { limbs, bars }) {
    const heard = limbs.filter((one) => one.heard && one.lateness_ms !== undefined);
    const lateness = Object.fromEntries(heard.map(({ limb, lateness_ms: late }) => [limb, Math.round(late * 10) / 10]));
    const days = { ...this.listened, [today()]: { tempo_bpm: tempo, lateness_ms: lateness } };
    const trouble = Object.fromEntries(bars.map(({ bar, trouble: value }) => [bar, Math.round(value * 1000) / 1000]));
    this.write(`${this.lesson.name} listened`, { days, trouble: { ...this.trouble, ...trouble } });
  }

  // --- ticks and minutes

  /** The tempos ticked for a bar, from slow to fast. */
  ticksOf(bar) {
    const ticks = this.read(this.lesson.name)[bar];
    return Array.isArray(ticks) ? ticks.filter(Number.isFinite).sort((a, b) => a - b) : [];
  }

  /** The fastest tempo ticked for a bar, or 0. */
  best(bar) {
    return Math.max(0, ...this.ticksOf(bar));
  }

  /** Whether a bar is ticked at this tempo or a faster one. */
  isDone(bar, tempo) {
    return this.best(bar) >= tempo;
  }

  /** Tick a bar at a tempo, or take back what was ticked at this tempo and above; what another tab ticked stays. */
  tick(bar, tempo, done) {
    const slower = this.ticksOf(bar).filter((one) => one < tempo);
    const faster = this.ticksOf(bar).filter((one) => one > tempo);
    const ticks = { ...this.read(this.lesson.name), [bar]: done ? [...slower, tempo, ...faster] : slower };
    this.write(this.lesson.name, ticks);
  }

  /** Minutes of each day. */
  get minutes() {
    return numbersOf(this.read(`${this.lesson.name} minutes`), (day, value) => /^\d{4}-\d\d-\d\d$/.test(day) && value > 0 && value <= 1440);
  }

  /** Add what was played just now. */
  add(seconds) {
    const { minutes } = this;
    const sum = (minutes[today()] || 0) + seconds / 60;
    if (seconds > 0) this.write(`${this.lesson.name} minutes`, { ...minutes, [today()]: Math.round(sum * 100) / 100 });
  }

  /** The bar to take next: of those not clean at the written tempo the one furthest from it; of two the one that was
      more trouble when it was heard, else the harder. */
  hardest() {
    const { numbers, tempo, difficulty } = this.lesson;
    const { trouble } = this;
    const hard = ({ at }) => trouble[numbers[at]] ?? 0;
    const open = numbers.map((bar, at) => ({ at, best: Math.min(this.best(bar), tempo) })).filter(({ best }) => best < tempo);
    open.sort((one, other) => one.best - other.best || hard(other) - hard(one) || difficulty[other.at] - difficulty[one.at]);
    return open.length ? open[0].at : null;
  }

  /** Everything as a file's text. */
  text() {
    const { title, hash, numbers } = this.lesson;
    const bars = Object.fromEntries(numbers.map((bar) => [bar, this.ticksOf(bar)]).filter(([, ticks]) => ticks.length));
    const told = { ...(this.word ? { word: this.word } : {}), ...(Object.keys(this.listened).length ? { listened: this.listened } : {}) };
    const log = { format: FORMAT, version: VERSION, lesson: { title, hash }, ...told, minutes: this.minutes, bars };
    return `${JSON.stringify(log, null, 1)}\n`;
  }

  /** Take a file in: the larger of two numbers of minutes, the ticks of both. Says what came of it. */
  take(text) {
    let log;
    try {
      log = JSON.parse(text);
    } catch {
      return "This file is not a practice log: it is not JSON.";
    }
    if (!log || log.format !== FORMAT) return `This file is not a practice log: its format is not ${FORMAT}.`;
    if (log.version !== VERSION) return `This log is of version ${log.version}; this page reads version ${VERSION}.`;
    if (!log.lesson || log.lesson.hash !== this.lesson.hash) return `This log belongs to another lesson${log.lesson && log.lesson.title ? `: ${log.lesson.title}` : ""}.`;
    this.merge(log);
    return "The log is taken in.";
  }

  /** Add another log to this one. */
  merge(log) {
    const isDay = (day, value) => /^\d{4}-\d\d-\d\d$/.test(day) && Number.isFinite(value) && value > 0 && value <= 1440;
    const minutes = { ...this.minutes };
    for (const [day, value] of Object.entries(numbersOf(log.minutes, isDay))) minutes[day] = Math.max(minutes[day] || 0, value);
    this.write(`${this.lesson.name} minutes`, minutes);
    const { days, ...heard } = this.read(`${this.lesson.name} listened`);
    const both = { ...listenedOf(log.listened, this.lesson), ...listenedOf(days, this.lesson) };
    if (Object.keys(both).length) this.write(`${this.lesson.name} listened`, { ...heard, days: both });
    const isTicks = (bar, ticks) => this.lesson.numbers.includes(bar) && Array.isArray(ticks);
    for (const [bar, ticks] of Object.entries(numbersOf(log.bars, isTicks))) {
      const { slowest, fastest } = this.lesson;
      for (const tempo of ticks) if (tempo >= slowest && tempo <= fastest) this.tick(bar, tempo, true);
    }
  }
}

/** What was heard by day, as far as it is as it should be. */
function listenedOf(days, { slowest, fastest }) {
  const isDay = (day, one) => /^\d{4}-\d\d-\d\d$/.test(day) && one && one.tempo_bpm >= slowest && one.tempo_bpm <= fastest;
  const isLate = (limb, late) => LIMBS.includes(limb) && Number.isFinite(late) && Math.abs(late) <= 1000;
  const found = Object.entries(numbersOf(days, isDay));
  return Object.fromEntries(found.map(([day, one]) => [day, { tempo_bpm: one.tempo_bpm, lateness_ms: numbersOf(one.lateness_ms, isLate) }]));
}
