/* The log on the page: ticks under the bars, minutes, the bar to take next, and the file that can be given away. */
"use strict";

/** A file for the student: through the share sheet where there is one, else as a download. */
async function giveFile(file) {
  if (navigator.canShare && navigator.canShare({ files: [file] })) {
    await navigator.share({ files: [file], title: file.name }).catch(() => null); // put away again
    return;
  }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(file);
  link.download = file.name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

class Diary {
  constructor(lesson, settings, transport, log, bars) {
    Object.assign(this, { lesson, settings, transport, log, bars, since: null });
    this.boxes = [...document.querySelectorAll(".clean-box")];
    this.boxes.forEach((box, number) => box.addEventListener("change", () => this.tick([number], box.checked)));
    ui.next.addEventListener("click", () => this.takeNext());
    ui.export.addEventListener("click", () => this.give());
    ui.import.addEventListener("change", () => this.take());
    ui.word.addEventListener("change", () => (log.word = ui.word.value));
    log.onChange = () => this.show();
    addEventListener("pagehide", () => this.count());
    this.show();
  }

  /** Bars came clean at this tempo, or did not after all. */
  tick(numbers, done) {
    for (const number of numbers) this.log.tick(this.lesson.numbers[number], this.settings.tempo, done);
    this.show();
  }

  /** The bars that are played, as printed. */
  inPlay() {
    const { loop } = this.settings;
    const places = loop.length ? loop : [...Array(this.lesson.chorus).keys()];
    return [...new Set(places.map((place) => this.lesson.bars[place].card))];
  }

  /** It began or ended: seconds are counted in between, and written down each minute. */
  changed(playing) {
    this.count();
    clearInterval(this.timer);
    this.since = playing ? performance.now() : null;
    if (playing) this.timer = setInterval(() => this.count(), 60_000);
    this.show();
  }

  /** Write down what was played since it was last done. */
  count() {
    if (this.since === null) return;
    const now = performance.now();
    this.log.add((now - this.since) / 1000);
    this.since = now;
  }

  /** Ticks as they hold at the present tempo, with the best tempo so far; minutes, and the bar to take next. */
  show() {
    const { tempo } = this.settings;
    this.boxes.forEach((box, number) => {
      const bar = this.lesson.numbers[number];
      const best = this.log.best(bar);
      box.checked = this.log.isDone(bar, tempo);
      const label = box.closest(".tick");
      label.querySelector(".at").textContent = tempo;
      label.querySelector(".best").textContent = best ? `best ${best}` : "";
    });
    const next = this.log.hardest();
    ui.next.hidden = next === null;
    if (next !== null) ui.next.textContent = `Hardest next: bar ${this.lesson.numbers[next]}`;
    ui.minutes.textContent = this.minuteWords();
    if (document.activeElement !== ui.word) ui.word.value = this.log.word;
  }

  /** Minutes of today and in all, in words. */
  minuteWords() {
    const { minutes } = this.log;
    const all = Object.values(minutes).reduce((sum, one) => sum + one, 0);
    const days = Object.keys(minutes).length;
    if (!days) return "Nothing is noted yet.";
    return `Today ${Math.round(minutes[today()] || 0)} min; in all ${Math.round(all)} min on ${days} day${days === 1 ? "" : "s"}.`;
  }

  /** Loop the bar to take next. */
  takeNext() {
    const next = this.log.hardest();
    if (next !== null) this.bars.choose({ from: next, to: next, loop: true });
  }

  /** The log as a file. */
  async give() {
    this.count();
    const name = `${FORMAT}-${this.lesson.hash}.json`;
    await giveFile(new File([this.log.text()], name, { type: "application/json" }));
  }

  /** Take a log in from a file. */
  async take() {
    const [file] = ui.import.files;
    if (!file) return;
    ui["log-said"].textContent = file.size > 1_000_000 ? "This file is too large for a practice log." : this.log.take(await file.text());
    ui.import.value = "";
    this.show();
  }
}
