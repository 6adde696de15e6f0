/* In the frame that shows the student's page at the desk: the page's own scripts are here already, all but the one that
   sets it going; its body comes from the desk, and its sounds are decoded there, once for all the pages to come. */
"use strict";

let soundOf = null; // a hit's name → its sound, decoded
let decoded = null; // all of them
let untouched = {}; // how the page was set before anybody touched it
let carried = {}; // what was set by hand, on the pages before and on this one

/** Take a body in and set the page going, set as the page before was left. */
async function begin({ title, body, begins }, before, sounds) {
  soundOf = sounds;
  document.title = title;
  document.body.innerHTML = body;
  const { name, tempo } = JSON.parse(document.getElementById("score").textContent);
  carried = { ...before?.carried };
  if (before?.tempo !== tempo) delete carried.tempo; // the lesson has a new one, which is to be heard
  localStorage.setItem(`${name} set`, JSON.stringify(carried));
  await new Promise((resolve, reject) => {
    const script = document.createElement("script");
    Object.assign(script, { src: `/kept/${begins}`, onload: resolve, onerror: reject });
    document.body.append(script);
  });
}

decodeHits = (_, { hits }) => {
  decoded = Promise.all(hits.map(async (hit) => ({ ...hit, buffer: await soundOf(hit.flac) }))).then(grouped);
  return decoded;
};

/** Whether the page can be played, once that is known: from then on what is set is set by hand. */
async function playable() {
  await decoded.catch(() => {}); // the page says so itself
  await pause(0); // it has heard of it too
  if (controls) untouched = choices();
  return Boolean(controls);
}

/** How the page is set. */
function choices() {
  controls.memory.note();
  return controls.log.choices;
}

/** How this page is left: what was set by hand, and the lesson's tempo, which is not. */
function leave() {
  if (!controls) return { carried, tempo: lesson.tempo };
  const now = Object.entries(choices());
  const byHand = now.filter(([key, value]) => JSON.stringify(value) !== JSON.stringify(untouched[key]));
  return { carried: { ...carried, ...Object.fromEntries(byHand) }, tempo: lesson.tempo };
}

// --- playing on: the page before plays to the end of its bar, this one from the next bar on

const TO_BEGIN = 0.15; // seconds from here to the first stroke at least
const EARLY = 0.025; // so much before its place a stroke may come
const RINGS = 2.5; // seconds: the longest hit
const STARTS = 1000; // milliseconds in which a sound card has begun, or never will

function isPlaying() {
  return Boolean(transport?.playing);
}

/** The next bar to begin that is not counted in: its place in the chorus, when by the player, in how many seconds. */
function nextBar() {
  const { player } = transport;
  const now = transport.now();
  const begins = (cell) => cell.from === 0 && cell.score && cell.seconds > now + TO_BEGIN;
  while (!player.cells.some(begins)) player.layQuarter();
  const { position, seconds } = player.cells.find(begins);
  return { place: position, seconds, after: seconds - now };
}

/** Play up to such a bar, let what was struck ring, and say how many milliseconds that takes. */
function playUpTo({ seconds, after }) {
  transport.ticker.stop();
  transport.sound.takeBack(seconds - EARLY);
  return seconds > 0 ? (after + RINGS) * 1000 : 0;
}

/** Take the playing over from the page before, a window of this kind; says how many milliseconds that one still needs. */
async function goOn(before) {
  if (!before.isPlaying() || isPlaying()) return 0;
  transport.open();
  const { context } = transport;
  for (const end = performance.now() + STARTS; context.currentTime < 0.05; await pause(10)) {
    if (performance.now() > end) return 0;
  }
  if (!before.frameElement || !before.isPlaying() || isPlaying()) return 0; // pressed meanwhile
  const bar = before.nextBar();
  startAt(bar.place < lesson.chorus ? bar.place : 0, bar.after);
  return before.playUpTo(bar);
}

/** Play from a place of the chorus, so many seconds from now and not counted in: else as the page itself starts. */
function startAt(place, after) {
  const { context, player, hits } = transport;
  const heard = smoothTime(context, context.currentTime - (context.outputLatency || context.baseLatency || 0));
  const { from, countIn } = settings;
  Object.assign(settings, { from: place, countIn: 0 });
  player.rewind();
  Object.assign(settings, { from, countIn });
  Object.assign(transport, { dropped: 0, strokes: [], sound: new Sound(context, lesson, hits, Math.round((heard + after) * RATE) / RATE) });
  transport.tick();
  transport.ticker.start();
  transport.keepAwake();
  transport.changed();
}

function pause(milliseconds) {
  return new Promise((resolve) => setTimeout(resolve, milliseconds));
}
