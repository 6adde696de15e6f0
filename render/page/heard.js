/* After stop: what was heard, in sentences and numbers; hear it back, keep it, save it as a file, or let it go. */
"use strict";

const AHEAD_BACK = 1.5; // seconds of the track handed over while a take is heard back
const LIMB_HEADS = ["limb", "written", "hit", "missed", "extra", "late ms", "spread ms"];

class Heard {
  constructor(controls) {
    Object.assign(this, { controls, lesson: controls.lesson, taken: null, back: null });
    ui["hear-back"].addEventListener("click", () => (this.back ? this.stop() : this.play()));
    ui.keep.addEventListener("click", () => this.keep());
    ui.save.addEventListener("click", () => this.save());
    ui["let-go"].addEventListener("click", () => this.letGo(true));
    keptTake(this.lesson).then((kept) => kept && !this.taken && this.show({ ...kept, kept: true }));
  }

  /** Judge a session that is over, and show it. */
  take(session, { kind, told, delay, input, part }) {
    const { steps } = this.controls;
    const taken = { kind, track: session.track.filter(({ heard, dropped }) => heard && !dropped).map(plainStroke) };
    const step = steps.taken < 0 ? "" : this.lesson.steps[steps.taken].name;
    taken.paper = session.paper({ kind, step, delay, pads: told, played: kind !== "kit" });
    if (session.recorder) {
      const { recorder } = session;
      const start = (session.origin - session.clock.at(0)) * 1000; // the player's second 0 in milliseconds of the page
      Object.assign(taken, { rate: recorder.rate, samples: recorder.from(input.clock.sampleAt(start)) });
    }
    if (kind === "kit") taken.sentences = [recordedWords(session)];
    else this.judge(taken, session, { told, delay, part });
    this.show(taken);
    ui.heard.scrollIntoView({ block: "nearest", behavior: "instant" });
  }

  /** The rules of `fourlimb check`. */
  judge(taken, session, { told, delay, part }) {
    const sheet = session.sheet();
    const found = takeOfPads(session.played(), sheet, told);
    const answer = checkTake(found.take, sheet, { delay, sounding: part ? session.sounding() : [] });
    taken.sentences = [...answer.sentences, ...padNotes(found, sheet)];
    taken.strokes = found.take.strokes.filter((one) => one.part && !one.mark).map(({ seconds, part: own, velocity }) => ({ seconds, key: PAD_KEYS[own][0], velocity, volume: 0, voice: { part: own } }));
    taken.offset = delay ?? (answer.findings ? answer.findings.offset_ms : 0);
    if (!answer.findings) return;
    taken.limbs = answer.findings.limbs.filter((one) => one.heard).map(limbRow);
    this.controls.log.listen(session.fastest, answer.findings);
  }

  /** A take with all that is known of it. */
  show(taken) {
    this.stop();
    this.taken = taken;
    ui.heard.hidden = !taken;
    if (!taken) return;
    ui["heard-says"].replaceChildren(...taken.sentences.map((words) => filled("li", words)));
    const head = filled("tr", "", LIMB_HEADS.map((words) => Object.assign(filled("th", words), { scope: "col" })));
    const rows = (taken.limbs || []).map((row) => filled("tr", "", row.map((words) => filled("td", words))));
    ui["heard-limbs"].replaceChildren(...(rows.length ? [head, ...rows] : []));
    ui["heard-box"].hidden = !rows.length;
    ui.keep.hidden = Boolean(taken.kept);
    ui["heard-said"].textContent = taken.kept ? "This take is kept on this device." : "";
  }

  /** Keep it on this device. */
  async keep() {
    const { kept, ...taken } = this.taken;
    const worked = await keepTake(this.lesson, taken);
    if (worked) this.taken.kept = true;
    ui.keep.hidden = worked;
    ui["heard-said"].textContent = worked ? "This take is kept on this device, in place of the one before." : "This browser keeps nothing for this page; save the take as a file.";
  }

  /** A file that `fourlimb check` reads: sound with its paper in it, or the paper alone. */
  save() {
    const { paper, samples, rate } = this.taken;
    const now = new Date();
    const time = [now.getHours(), now.getMinutes()].map((one) => String(one).padStart(2, "0")).join("");
    const name = `take-${today(now)}-${time}`;
    const file = samples
      ? new File([wavFile(samples, rate, paper)], `${name}.wav`, { type: "audio/wav" })
      : new File([`${JSON.stringify(paper)}\n`], `${name}.json`, { type: "application/json" });
    giveFile(file);
  }

  /** Forget it, here and, if it was kept, on the device. */
  async letGo(kept = false) {
    if (kept && this.taken && this.taken.kept) await dropTake(this.lesson);
    this.show(null);
  }

  // --- hear it back ---------------------------------------------------------------------------------

  /** The track and the take together, in time. */
  play() {
    const { transport } = this.controls;
    if (transport.playing) transport.stop();
    transport.open();
    const { context } = transport;
    const { track, strokes = [], samples, rate, offset } = this.taken;
    const late = (offset ?? this.taken.paper.delay_ms ?? 0) / 1000;
    const sound = new Sound(context, this.lesson, transport.hits, context.currentTime + 0.3);
    const own = samples ? [] : strokes.map((one) => ({ ...one, seconds: one.seconds - late }));
    const left = [...track, ...own].filter(({ seconds }) => seconds >= 0).sort((one, other) => one.seconds - other.seconds);
    const end = Math.max(...left.slice(-1).map(({ seconds }) => seconds), samples ? samples.length / rate - late : 0) + 1;
    this.back = { sound, source: samples ? this.recording(context, sound.origin, late) : null };
    const pump = () => {
      const until = context.currentTime + AHEAD_BACK - sound.origin;
      while (left.length && left[0].seconds < until) sound.strike(left.shift());
      if (context.currentTime - sound.origin > end) this.stop();
    };
    pump();
    this.back.timer = setInterval(pump, 100);
    ui["hear-back"].textContent = "Stop";
  }

  /** The recording, from where second 0 of the track lies in it. */
  recording(context, origin, late) {
    const { samples, rate } = this.taken;
    const buffer = new AudioBuffer({ length: Math.max(samples.length, 1), sampleRate: rate });
    buffer.copyToChannel(Float32Array.from(samples, (sample) => sample / 32768), 0);
    const source = new AudioBufferSourceNode(context, { buffer });
    source.connect(context.destination);
    source.start(origin + Math.max(-late, 0), Math.max(late, 0));
    return source;
  }

  /** Silence. */
  stop() {
    if (!this.back) return;
    clearInterval(this.back.timer);
    this.back.sound.silence();
    if (this.back.source) this.back.source.stop();
    this.back = null;
    ui["hear-back"].textContent = "Hear it back";
  }
}

/** What of a stroke is needed to sound it again. */
function plainStroke({ seconds, key, velocity, volume, until, voice: { part, band } }) {
  return { seconds, key, velocity, volume, until, voice: { part, band } };
}

/** An element with words or others in it. */
function filled(name, words, children = []) {
  const element = document.createElement(name);
  element.textContent = words;
  element.append(...children);
  return element;
}

/** One limb's numbers as words. */
function limbRow({ limb, part, written, hit, missed, extra, lateness_ms: late, spread_ms: spread }) {
  const signed = late === undefined ? "" : `${late < -0.5 ? "−" : late > 0.5 ? "+" : ""}${shown(Math.abs(late))}`;
  return [`${limb} (${part})`, ...[written, hit, missed, extra].map(String), signed, spread === undefined ? "" : shown(spread)];
}

/** What is said of a recording, which the page does not judge. */
function recordedWords({ bars }) {
  return `${counted(bars.length, "bar")} recorded. Save it as a file: fourlimb check tells what it hears of each limb.`;
}
