/* Start, stop and the clock: strokes are handed to the sound a little before they are due. */
"use strict";

const AHEAD = 0.15; // seconds handed over before they are due
const AHEAD_HIDDEN = 1.5; // more while the page is hidden, when browsers wake it seldom
const LEAD = 0.12; // from the press of the button to the first stroke
const MARGIN = 0.02; // a stroke handed over later than this before its time could come late
const TICK = 25; // milliseconds

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
  /** `hear` is told of every stroke handed over, `changed` of every start and stop. */
  constructor(lesson, settings, hits, { hear, changed }) {
    Object.assign(this, { lesson, hits, hear, changed });
    this.player = new Player(lesson, settings);
    this.ticker = new Ticker(() => this.tick());
    this.context = null;
    this.sound = null;
    this.lock = null;
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
    const origin = Math.ceil((this.context.currentTime + LEAD) * RATE) / RATE;
    this.sound = new Sound(this.context, this.lesson, this.hits, origin);
    this.ticker.start();
    this.keepAwake();
    this.changed();
    this.tick();
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

  /** One audio context for the life of the page, awake. */
  open() {
    if (!this.context) {
      this.context = new AudioContext({ sampleRate: RATE, latencyHint: "interactive" });
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

  /** Hand over what is due soon; after a pause that was too long the music waits instead of rushing. */
  tick() {
    if (!this.playing) return;
    const now = this.context.currentTime;
    const behind = now + MARGIN - (this.sound.origin + this.player.sent);
    if (behind > 0 && this.player.sent > 0) this.sound.origin += Math.ceil(behind * RATE) / RATE;
    const ahead = document.hidden ? AHEAD_HIDDEN : AHEAD;
    const strokes = this.player.pump(now + ahead - this.sound.origin);
    for (const stroke of strokes) this.sound.strike(stroke);
    if (strokes.length) this.hear(strokes);
  }

  /** Seconds of the player that are heard now. */
  now() {
    const late = this.context.outputLatency || this.context.baseLatency || 0;
    return this.context.currentTime - this.sound.origin - late;
  }
}
