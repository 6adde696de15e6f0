/* The page comes to life: read the lesson, decode its sounds, connect hands, eyes and ears. */
"use strict";

/** The JSON text of an element of the page. */
function dataOf(id) {
  return JSON.parse(document.getElementById(id).textContent);
}

const ui = Object.fromEntries([...document.querySelectorAll("[id]")].map((element) => [element.id, element]));
const lesson = readLesson({ ...dataOf("score"), ...dataOf("sounds") });
const settings = firstSettings(lesson);
let transport, view, controls;

/** Ready to play once the sounds are decoded, which needs no sound card and no permission. */
async function open() {
  const hits = await decodeHits(new OfflineAudioContext(2, 1, RATE), lesson);
  transport = new Transport(lesson, settings, hits, {
    hear: (strokes) => {
      view.hear(strokes);
      controls.listen.follow();
    },
    forget: (moment) => view.forget(moment),
    changed: () => controls.changed(),
  });
  view = new View(lesson, transport);
  controls = new Controls(lesson, settings, transport, view, new Log(lesson));
  document.body.classList.add("ready");
  document.body.dataset.ready = Math.round(performance.now()); // milliseconds from opening the page
}

open().catch((error) => {
  ui.where.textContent = "This browser cannot play the sounds; the notes are here all the same.";
  throw error;
});
