/* Start, stop and the clock: strokes are handed to the sound well before they are due, and taken back when something
   changes. The beat's origin is never moved: after a stall that was longer than that, missed strokes are left out and
   the next ones come where they would have come. */
"use strict";

const AHEAD = 1.5; // seconds handed over before they are due: longer than a busy machine holds a page up
const AHEAD_HIDDEN = 2; // more while the page is hidden, when browsers wake it seldom
const LEAD = 0.2; // from the press of the button to the first stroke
const NOTICE = 0.07; // from a change to the first stroke that it moves, besides what the sound card takes at once
const MARGIN = 0.02; // a stroke handed over later than this before its time could come late; likewise
const TICK = 50; // milliseconds
const REMEMBER = 30; // seconds that strokes are kept which were due

/** A timer in a worker of its own, which goes on while the page draws or is hidden. */
class Ticker {
  constructor(tick) {
    this.tick = tick;
    this.worker = null;
    this.interval = null;
  }

  /** Begin to tick. */
  start() {
    try {
      const code = new Blob([`setInterval(() => postMessage(0), ${TICK})`], { type: "text/javascript" });
      const address = URL.createObjectURL(code);
      this.worker = new Worker(address);
      URL.revokeObjectURL(address);
      this.worker.onmessage = this.tick;
      this.worker.onerror = () => this.fallBack();
    } catch {
      this.fallBack();
    }
  }

  /** Where a browser gives a local page no worker, the page's own timer serves. */
  fallBack() {
    this.stop();
    this.interval = setInterval(this.tick, TICK);
  }

  /** End ticking. */
  stop() {
    if (this.worker) this.worker.terminate();
    clearInterval(this.interval);
    this.worker = this.interval = null;
  }
}

class Transport {
  /** `hear` is told of every stroke handed over, `forget` from which moment on they are taken back, `changed` of every
      start and stop. */
  constructor(lesson, settings, hits, { hear, forget, changed }) {
    Object.assign(this, { lesson, hits, hear, forget, changed });
    this.player = new Player(lesson, settings);
    this.ticker = new Ticker(() => this.tick());
    this.context = null;
    this.sound = null;
    this.lock = null;
    this.dropped = 0; // strokes left out since the last start, since they would have come late
    this.strokes = []; // what was written lately, sounding or not: each stroke with `when` it is due in the context
    document.addEventListener("visibilitychange", () => this.keepAwake());
  }

  /** Whether it plays. */
  get playing() {
    return this.sound !== null;
  }

  /** Play from the count-in. Call it from a press of a button or key: browsers allow sound only then. */
  start() {
    if (this.playing) return;
    this.open();
    this.player.rewind();
    this.dropped = 0;
    this.strokes = [];
    const origin = Math.ceil((this.context.currentTime + LEAD + this.context.baseLatency) * RATE) / RATE;
    this.sound = new Sound(this.context, this.lesson, this.hits, origin);
    this.tick(); // before anything is drawn
    this.ticker.start();
    this.keepAwake();
    this.changed();
  }

  /** Keep the screen from going dark while hands are busy, where the browser can; it lets go of a hidden page. */
  async keepAwake() {
    if (!navigator.wakeLock || document.hidden || !this.playing) return;
    const lock = await navigator.wakeLock.request("screen").catch(() => null); // refused when the battery is low
    if (this.lock) this.lock.release();
    this.lock = lock;
    if (!this.playing) this.letSleep();
  }

  /** The screen may go dark again. */
  letSleep() {
    if (this.lock) this.lock.release();
    this.lock = null;
  }

  /** One audio context for the life of the page, awake; on a phone it sounds although the bell is switched off. */
  open() {
    if (!this.context) {
      if (navigator.audioSession) navigator.audioSession.type = "playback";
      this.context = new AudioContext({ sampleRate: RATE, latencyHint: "playback" });
      this.context.onstatechange = () => this.interrupted();
    }
    this.awake = this.context.state === "running";
    this.context.resume();
  }

  /** A phone call or another program took the sound away: stop, rather than go on out of step. */
  interrupted() {
    if (this.context.state === "running") this.awake = true;
    else if (this.awake) this.stop();
  }

  /** Silence at once. */
  stop() {
    if (!this.playing) return;
    this.ticker.stop();
    this.sound.silence();
    this.sound = null;
    this.letSleep();
    this.changed();
  }

  /** The first moment of the player at which a stroke handed over now still comes in time. */
  soonest(margin) {
    return this.context.currentTime + this.context.baseLatency + margin - this.sound.origin;
  }

  /** Change something, in what is already handed over too. */
  change(act) {
    if (!this.playing) {
      act();
      return;
    }
    if (this.player.sent < this.soonest(NOTICE)) this.tick(); // it was held up: what was missed is counted first
    const moment = Math.max(this.soonest(NOTICE), this.player.changed);
    this.sound.takeBack(moment); // first of all: it must be in time
    this.player.change(moment, act);
    this.strokes = this.strokes.filter((stroke) => stroke.seconds < moment);
    this.forget(moment);
    this.tick();
  }

  /** Hand over what is due soon. */
  tick() {
    if (!this.playing) return;
    const ahead = document.hidden ? AHEAD_HIDDEN : AHEAD;
    const strokes = this.player.due(this.context.currentTime + ahead - this.sound.origin);
    for (const stroke of strokes) this.hand(stroke);
    if (strokes.length) this.hear(strokes.filter((stroke) => !stroke.dropped));
  }

  /** One stroke: to the sound if it is heard and comes in time, and to those who want to know when it is due. */
  hand(stroke) {
    stroke.when = this.sound.when(stroke.seconds);
    if (stroke.heard) {
      stroke.dropped = stroke.seconds < this.soonest(MARGIN);
      if (stroke.dropped) this.dropped += 1;
      else this.sound.strike(stroke);
    }
    const past = this.context.currentTime - REMEMBER;
    if (this.strokes.length && this.strokes[0].when < past - 1) this.strokes = this.strokes.filter(({ when }) => when > past);
    this.strokes.push(stroke);
  }

  /** Seconds of the player that are heard now. */
  now() {
    const { currentTime, outputLatency, baseLatency } = this.context;
    return smoothTime(this.context, currentTime - (outputLatency || baseLatency || 0)) - this.sound.origin;
  }
}

/** What the loudspeaker plays now, in the context's time: `plain` goes on in steps as large as the card's buffer. */
function smoothTime(context, plain) {
  if (!context.getOutputTimestamp) return plain;
  const { contextTime, performanceTime } = context.getOutputTimestamp();
  const smooth = contextTime + (performance.now() - performanceTime) / 1000;
  return Math.abs(smooth - plain) < 0.2 ? smooth : plain;
}
