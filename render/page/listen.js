/* The page listens, if it is asked to: to a kit by cable or to a microphone, from start to stop, round by round. */
"use strict";

const LAST_SOUND = 450; // milliseconds after stop until the last strokes of a microphone are known
const HEARD_PARTS = "the whole kit";

class Listen {
  /** `controls` are those of the page. */
  constructor(controls) {
    const { lesson, view, log, transport } = controls;
    Object.assign(this, { controls, lesson, log, transport, session: null, input: null, onsets: null, learning: null });
    this.dots = new Dots(lesson, view);
    this.delay = new Delay(lesson, transport);
    this.byItself = new ByItself((card, tempo) => log.tick(lesson.numbers[card], tempo, true));
    this.heard = new Heard(controls);
    ui["by-cable"].addEventListener("click", () => this.byCable());
    ui["by-microphone"].addEventListener("click", () => this.byMicrophone());
    ui["stop-listening"].addEventListener("click", () => this.close("Not listening."));
    ui["strike-each"].addEventListener("click", () => this.learn());
    ui.eight.addEventListener("click", () => this.measure());
    ui["tap-along"].addEventListener("pointerdown", ({ timeStamp }) => this.tap(timeStamp));
    ui["tap-along"].addEventListener("keydown", (event) => this.tapKey(event));
    ui["by-itself"].addEventListener("change", () => this.waitForClean());
    ui.width.addEventListener("change", () => controls.changedSettings());
    ui["delete-all"].addEventListener("click", () => this.deleteAll());
    this.show();
  }

  /** The parts of the lesson, from the top of the staff. */
  get parts() {
    const here = new Set(this.lesson.voices.map(({ part }) => part));
    return this.lesson.parts.filter((part) => here.has(part));
  }

  /** "cable", "drum" or "kit"; "" where nothing is listened to. */
  get kind() {
    if (!this.input) return "";
    return this.input.kind === "cable" ? "cable" : this.part ? "drum" : "kit";
  }

  /** The pads as the student told them, or null. */
  get told() {
    const pads = Object.entries(this.log.device.pads || {}).filter(([key, part]) => this.parts.includes(part) && Number(key) < 128);
    return pads.length && this.kind === "cable" ? new Map(pads.map(([key, part]) => [Number(key), part])) : null;
  }

  /** The device's delay in ms, or null. */
  get late() {
    const { delays = {} } = this.log.device;
    const found = delays?.[this.kind && this.input.kind] ?? delays?.touch;
    return Number.isFinite(found) ? clamp(found, -100, 1000) : null;
  }

  /** The width in which a stroke is near, in ms. */
  get width() {
    return Number(ui.width.value);
  }

  // --- what is listened to --------------------------------------------------------------------------

  /** Connect an electronic kit. */
  async byCable() {
    this.close("");
    const input = new Cable((note) => this.play({ ...note, timeOf: () => note.milliseconds }), (words) => this.say(words));
    if (await input.open()) this.take(input);
  }

  /** Listen by microphone, to one drum or, for a recording, to the whole kit. */
  async byMicrophone() {
    this.close("");
    this.part = ui.before.value === HEARD_PARTS ? "" : ui.before.value;
    this.transport.open();
    const input = new Microphone((...block) => this.hear(...block), (words) => this.say(words));
    if (!(await input.open(this.transport.context))) return;
    this.take(input);
    this.say(this.part ? `Listening to the ${this.part}, by itself. Wear headphones, or the track is heard too.` : "The whole kit is recorded while it plays.");
  }

  /** From now on. */
  take(input) {
    this.input = input;
    this.pads = this.told ?? usualPads(this.parts);
    if (this.transport.playing) this.begin();
    this.show();
  }

  /** Samples of the microphone. */
  hear(samples, first, rate) {
    if (this.part) this.onsets ??= { first, onsets: new Onsets(rate, (sample, size) => this.strike(sample, size)) };
    if (this.onsets) this.onsets.onsets.hear(samples);
    if (!this.session) return;
    this.session.recorder ??= new Recorder(rate, first);
    this.session.recorder.hear(samples);
  }

  /** A stroke that the microphone heard. */
  strike(sample, size) {
    const { clock } = this.input;
    const frame = sample + this.onsets.first;
    this.loudest = Math.max(size, (this.loudest || 0) * 0.98);
    const velocity = clamp(Math.round(127 * Math.sqrt(size / this.loudest)), 1, 127);
    const key = PAD_KEYS[this.part] ? PAD_KEYS[this.part][0] : 0;
    this.play({ timeOf: () => clock.at(frame), key, velocity, channel: DRUM_CHANNEL });
  }

  /** Listen to nothing. */
  close(words) {
    if (this.session) {
      this.session.end();
      this.finish();
    }
    if (this.input) this.input.close();
    Object.assign(this, { input: null, part: "", onsets: null, learning: null });
    this.say(words);
    this.show();
  }

  // --- from start to stop ---------------------------------------------------------------------------

  /** It plays, or has stopped. */
  changed(playing) {
    clearTimeout(this.ending);
    if (playing) {
      this.heard.stop();
      if (this.session) this.finish();
      if (this.input) this.begin();
    } else if (this.session) {
      this.session.end();
      this.ending = setTimeout(() => this.finish(), LAST_SOUND);
    }
  }

  /** A session begins. */
  begin() {
    this.session = new Session(this.lesson, this.controls.settings, this.transport, this.part);
    this.byItself.forget();
    this.dots.clear();
    this.look(null);
  }

  /** What was due is over: bars begin and end. */
  follow() {
    if (!this.session || this.session.origin !== this.transport.sound.origin) return;
    this.session.follow((bar, before) => {
      this.dots.wipe(bar.card);
      const { session } = this;
      if (before && bar.round !== before.round) setTimeout(() => this.endRound(session, before.round), AFTER_ROUND);
    });
  }

  /** A stroke of whatever is listened to. */
  play(note) {
    if (this.delay.running) this.delay.play(note.timeOf);
    else if (this.learning) this.learnKey(note.key);
    else if (this.session && this.transport.playing) {
      this.session.clock.read(this.transport.context);
      this.session.notes.push(note);
      this.draw(note);
    }
  }

  /** The stroke as a dot; an echo has none, and a stroke that turns out to be one loses it. */
  draw(note) {
    const lately = this.session.played(this.session.notes.slice(-MOST_AROUND)).sort((one, other) => one.seconds - other.seconds);
    const own = lately.findIndex(({ timeOf }) => timeOf === note.timeOf);
    lately.forEach((one, at) => {
      if (one.dot && at !== own && echoMark(lately, at) === "crosstalk") one.dot.remove();
    });
    const part = this.pads.get(note.key);
    if (own < 0 || !part || echoMark(lately, own)) return;
    const late = this.late === null ? null : this.late / 1000;
    note.dot = this.dots.play(part, lately[own].seconds, this.transport.strokes, late);
  }

  /** A round is over: one sentence, the bar to look at, and what follows from it. */
  endRound(session, round) {
    if (this.session !== session || this.kind === "kit") return;
    const { take, guessed, unknown } = takeOfPads(session.played(), session.sheet(), this.told);
    for (const [key, part] of guessed) this.pads.set(key, part);
    if (unknown.length) this.say("Some pads are not known: strike each once, so that they are.");
    ui["strike-each"].hidden = this.kind !== "cable";
    const found = judgeRound(session, take, round, { delay: this.late, middle: this.dots.middle, width: this.width });
    if (!found) return;
    const [words, card] = roundWords(found);
    this.controls.practice.say(words);
    this.look(card);
    if (ui["by-itself"].checked) this.act(found);
  }

  /** Mark the bar to look at. */
  look(card) {
    this.controls.view.cards.forEach(({ element }, at) => element.classList.toggle("look", at === card));
  }

  /** Ticks, and another tempo where one was asked for. */
  act(found) {
    const way = this.byItself.count(found, Math.min(...found.sheet.bars.map(({ tempo }) => tempo)));
    const { practice, settings, diary } = this.controls;
    if (way && settings.rise) {
      if (way === "rise") practice.passed();
      else practice.fallBack();
    }
    diary.show();
  }

  /** With "clean" said by itself, a tempo that rises waits for it. */
  waitForClean() {
    const { practice, settings } = this.controls;
    ui.waits.checked ||= ui["by-itself"].checked;
    if (settings.rise) practice.set({ rise: { ...settings.rise, waits: ui.waits.checked } });
    this.controls.changedSettings();
  }

  /** After stop: what it comes to. */
  finish() {
    const { session } = this;
    clearTimeout(this.ending);
    this.session = null;
    if (session.bars.length) session.cut(this.late === null ? this.dots.middle : this.late / 1000);
    if (!session.bars.length || (!session.notes.length && !session.recorder)) return;
    this.heard.take(session, { kind: this.kind, told: this.told, delay: this.late, input: this.input, part: this.part });
    this.controls.diary.show();
  }

  // --- the device -----------------------------------------------------------------------------------

  /** A tap on the page, while the clicks sound. */
  tap(timeStamp) {
    if (this.kind !== "cable" && this.kind !== "drum") this.delay.play(() => timeStamp);
  }

  /** The same by a key, which does nothing else meanwhile. */
  tapKey(event) {
    if (event.key === "Tab") return;
    event.stopPropagation();
    if (!event.repeat) this.tap(event.timeStamp);
  }

  /** Eight clicks, and what comes of them. */
  async measure() {
    if (this.transport.playing) this.transport.stop();
    const by = this.kind === "cable" || this.kind === "drum" ? this.input.kind : "touch";
    ui.eight.disabled = true;
    ui["tap-along"].hidden = by !== "touch";
    if (by === "touch") ui["tap-along"].focus();
    this.say(by === "touch" ? "Tap along to the clicks." : "Strike along to the clicks.");
    const { delay, trouble } = await this.delay.run();
    ui.eight.disabled = false;
    ui["tap-along"].hidden = true;
    if (trouble) this.say(trouble);
    else {
      this.log.device = { ...this.log.device, delays: { ...this.log.device.delays, [by]: delay } };
      this.say("");
    }
    this.show();
  }

  /** Strike each pad once, in the order of the parts. */
  learn() {
    this.learning = [];
    this.say(`Strike once: ${this.parts[0]}.`);
  }

  /** The next pad. */
  learnKey(key) {
    if (this.learning.includes(key)) return;
    this.learning.push(key);
    const { length } = this.learning;
    if (length < this.parts.length) return this.say(`Strike once: ${this.parts[length]}.`);
    this.log.device = { ...this.log.device, pads: Object.fromEntries(this.learning.map((one, at) => [one, this.parts[at]])) };
    this.learning = null;
    this.pads = this.told;
    this.say("The pads are known now.");
  }

  /** Delete everything that is kept: asked twice. */
  async deleteAll() {
    const sure = ui["delete-all"].dataset.sure;
    ui["delete-all"].dataset.sure = sure ? "" : "yes";
    ui["delete-all"].textContent = sure ? "Delete all that this page keeps" : "Really all? Press once more";
    if (!sure) return;
    this.heard.letGo();
    await deleteAll(this.log);
    this.controls.diary.show();
    this.show();
    ui["log-said"].textContent = "All is deleted: minutes, ticks, the word, the delay, the pads, the take.";
  }

  // --- what it says ---------------------------------------------------------------------------------

  /** What is the matter, where it stands. */
  say(words) {
    ui["listen-said"].textContent = words;
  }

  /** How it is set; while it listens, the stand shows the rows of all limbs. */
  show() {
    const { late, kind } = this;
    const { stand } = this.controls.view;
    if (stand.everyRow !== Boolean(kind)) Object.assign(stand, { everyRow: Boolean(kind) }).rearrange();
    ui["stop-listening"].hidden = !this.input;
    ui["strike-each"].hidden = this.kind !== "cable";
    ui["delay-said"].textContent =
      late === null ? "The delay is not measured: limbs are compared with each other only." : `This device's delay is ${shown(late)} ms; it is taken off.`;
  }
}
