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
  await new Promise((resolve) => setTimeout(resolve)); // it has heard of it too
  if (controls) untouched = choices();
  return Boolean(controls);
}

/** How the page is set. */
function choices() {
  controls.memory.note();
  return controls.log.choices;
}

/** Go on where the page before this one was; with a bar that is no more, it ends. */
function goOn(before) {
  if (!before.playing || before.place >= lesson.chorus) return;
  const { from, countIn } = settings;
  if (before.place !== null) Object.assign(settings, { from: before.place, countIn: 0 });
  transport.start();
  Object.assign(settings, { from, countIn });
}

/** How this page is left: what was set by hand, and which place of the chorus sounds, null for the count-in. */
function leave() {
  if (!controls) return { carried, tempo: lesson.tempo, playing: false, place: null };
  const now = Object.entries(choices());
  const byHand = now.filter(([key, value]) => JSON.stringify(value) !== JSON.stringify(untouched[key]));
  const { playing } = transport;
  const cell = playing ? transport.player.cells.findLast(({ seconds }) => seconds <= transport.now()) : null;
  return { carried: { ...carried, ...Object.fromEntries(byHand) }, tempo: lesson.tempo, playing, place: cell?.score ? cell.position : null };
}
