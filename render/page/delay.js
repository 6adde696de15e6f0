/* Eight clicks: strike or tap along, and the middle of what comes late is this device's delay. */
"use strict";

const CLICKS = 8;
const CLICK_SECONDS = 0.6; // apart: 100 a minute
const CLICKS_LEAD = 1;
const FEWEST_CLICKS = 5;
const CLICK_REACH = 0.29; // seconds about a click in which a stroke belongs to it
const UNEVEN_MS = 40; // spread from which on the middle says little

class Delay {
  constructor(lesson, transport) {
    Object.assign(this, { lesson, transport, strokes: null });
  }

  /** Whether clicks sound now. */
  get running() {
    return this.strokes !== null;
  }

  /** Sound the clicks; resolves to { delay, spread } in ms, or to { trouble }. */
  async run() {
    const { transport, lesson } = this;
    transport.open();
    const { context } = transport;
    await context.resume();
    this.strokes = [];
    const clock = new HeardClock();
    const sound = new Sound(context, lesson, transport.hits, context.currentTime + CLICKS_LEAD);
    const voice = lesson.helpers.click;
    const { key, level } = voice;
    const clicks = Array.from({ length: CLICKS }, (_, at) => at * CLICK_SECONDS);
    for (const seconds of clicks) sound.strike({ key, seconds, voice, velocity: velocityFor(lesson.loudness[key], level), volume: 0 });
    const end = sound.origin + clicks[CLICKS - 1] + CLICK_REACH;
    while (context.currentTime < end && context.state === "running") {
      clock.read(context);
      await new Promise((resolve) => setTimeout(resolve, 40));
    }
    clock.read(context);
    const struck = this.strokes.map((timeOf) => clock.at(timeOf()) - sound.origin);
    this.strokes = null;
    return delayOf(struck, clicks);
  }

  /** A stroke or a tap; `timeOf` tells its moment of the page in milliseconds, which may be known better later. */
  play(timeOf) {
    if (this.running) this.strokes.push(timeOf);
  }
}

/** The middle lateness of strokes against clicks. */
function delayOf(struck, clicks) {
  const sorted = [...struck].sort((a, b) => a - b);
  const late = nearestGaps(clicks, sorted).filter((gap) => Math.abs(gap) <= CLICK_REACH).map((gap) => gap * 1000);
  if (late.length < FEWEST_CLICKS) return { trouble: `Only ${late.length} of ${CLICKS} clicks were met. Once more: one stroke on each click.` };
  const spread = robustSpread(late);
  if (spread > UNEVEN_MS) return { trouble: "The strokes were too uneven to tell. Once more: listen to two clicks, then go along." };
  return { delay: Math.round(median(late) * 10) / 10, spread };
}
