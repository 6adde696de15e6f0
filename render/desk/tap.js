/* A line by other ways: tapped on the space bar or a pad, read from a score, of a level. */
import { ask, give } from "./api.js";
import { make, say, ui, wrong } from "./dom.js";
import { change, lesson, whenChanged } from "./lesson.js";

const LOOK_AHEAD = 0.12; // seconds from the press to the first click
let run = null; // while it is being tapped
let sound = null;
let pads = null;

function click(context, when, strong) {
  const tone = new OscillatorNode(context, { frequency: strong ? 1600 : 1100, type: "triangle" });
  const level = new GainNode(context, { gain: 0 });
  level.gain.setValueAtTime(strong ? 0.35 : 0.2, when);
  level.gain.exponentialRampToValueAtTime(0.001, when + 0.05);
  tone.connect(level).connect(context.destination);
  tone.start(when);
  tone.stop(when + 0.06);
}

/** Where the beats of a bar lie, in quarters. */
const beatsOf = (meter) => meter.beats.map(([start]) => start / 96);

async function begin() {
  const { meter, tables, beat } = lesson.view;
  const bars = Number(ui["tap-bars"].value);
  const quarter = 60 / (tables.tempo * beat);
  const length = (meter.ticks / 96) * quarter;
  sound = sound || new AudioContext({ latencyHint: "interactive" });
  await sound.resume();
  const start = sound.currentTime + LOOK_AHEAD;
  for (let bar = 0; bar <= bars; bar += 1) {
    for (const at of beatsOf(meter)) click(sound, start + bar * length + at * quarter, at === 0);
  }
  const late = sound.outputLatency || sound.baseLatency || 0;
  const origin = performance.now() + (start + length - sound.currentTime + late) * 1000; // bar 1, as it is heard
  run = { bars, origin, taps: [], groove: tables.groove, tempo: tables.tempo };
  run.timer = setTimeout(end, (length * (bars + 1) + LOOK_AHEAD + late) * 1000 + 150);
  run.words = setInterval(tell, 100);
  ui.tapping.hidden = false;
  ui.tapping.dataset.origin = origin; // when bar 1 begins, by the page's clock
  ui["tap-begin"].disabled = true;
  wrong(ui["line-wrong"], "");
  ui["tap-here"].focus();
  tell();
}

function tell() {
  const { bars, origin, taps } = run;
  const { meter, tables, beat } = lesson.view;
  const bar = Math.floor((performance.now() - origin) / (((meter.ticks / 96) * 60000) / (tables.tempo * beat))) + 1;
  const words = bar < 1 ? "A bar is counted in …" : `Bar ${Math.min(bar, bars)} of ${bars}, ${taps.length} tapped`;
  if (ui["tap-says"].textContent !== words) ui["tap-says"].textContent = words;
}

/** One tap, at the moment that its event tells. */
function tap(moment) {
  if (!run) return;
  run.taps.push((moment - run.origin) / 1000);
  ui["tap-here"].classList.add("struck");
  setTimeout(() => ui["tap-here"].classList.remove("struck"), 80);
}

function stop() {
  clearTimeout(run.timer);
  clearInterval(run.words);
  ui.tapping.hidden = true;
  ui["tap-begin"].disabled = false;
  if (sound) sound.suspend();
  run = null;
}

async function end() {
  const { bars, taps, groove, tempo } = run;
  stop();
  try {
    const told = await ask("tap", { name: lesson.name, groove, tempo, bars, seconds: taps });
    await change({ kind: "take", text: told.values });
    report(told.report);
    say("What you tapped stands in the line; put right what is not as you meant it");
    ui.bars.scrollIntoView({ block: "nearest" });
  } catch (error) {
    wrong(ui["line-wrong"], error.message);
  }
  ui["tap-begin"].focus();
}

function report(sentences) {
  ui.report.hidden = !sentences.length;
  ui.report.replaceChildren(...sentences.map((words) => make("li", { textContent: words })));
}

ui["tap-begin"].addEventListener("click", () => begin().catch((error) => wrong(ui["line-wrong"], error.message)));
ui["tap-stop"].addEventListener("click", () => {
  stop();
  ui["tap-begin"].focus();
});
ui["tap-here"].addEventListener("pointerdown", (event) => tap(event.timeStamp));
addEventListener("keydown", (event) => {
  if (!run || event.code !== "Space") return;
  event.preventDefault();
  if (!event.repeat) tap(event.timeStamp);
}, true);
addEventListener("keyup", (event) => run && event.code === "Space" && event.preventDefault(), true);

/** Hear every pad that is there now (W3C Web MIDI API): a tap is a note-on, which at velocity 0 is none. */
function hearPads() {
  for (const input of pads.inputs.values()) {
    input.onmidimessage = ({ data, timeStamp }) => (data[0] & 0xf0) === 0x90 && data[2] > 0 && tap(timeStamp);
  }
  say(pads.inputs.size ? "The pad is heard" : "No pad is connected; it is heard once one is");
}

function hearNoPads() {
  pads.onstatechange = null;
  for (const input of pads.inputs.values()) input.onmidimessage = null;
  pads = null;
}

ui.pad.addEventListener("click", async () => {
  try {
    if (pads) hearNoPads();
    else {
      pads = await navigator.requestMIDIAccess();
      pads.onstatechange = hearPads;
      hearPads();
    }
  } catch {
    say("This browser gives no MIDI pad");
  }
  ui.pad.setAttribute("aria-pressed", String(Boolean(pads)));
});

// --- a score, a level ---

let dropped = null;

async function read(file) {
  if (!file) return;
  dropped = file;
  const { groove } = lesson.view.tables;
  const asked = new URLSearchParams({ file: file.name, part: ui.part.value.trim(), groove });
  try {
    const told = await give(`/import?${asked}`, file);
    await change({ kind: "take", text: told.values, pickup: told.pickup });
    wrong(ui["score-wrong"], "");
    ui["part-row"].hidden = true;
    report(told.report);
    say("The score was read");
  } catch (error) {
    wrong(ui["score-wrong"], error.message);
    ui["part-row"].hidden = !/part/.test(error.message);
  }
}

ui.score.addEventListener("change", () => read(ui.score.files[0]));
ui.part.addEventListener("change", () => read(dropped));
for (const kind of ["dragenter", "dragover"]) {
  addEventListener(kind, (event) => {
    event.preventDefault();
    ui.drop.classList.add("over");
  });
}
for (const kind of ["dragleave", "drop"]) addEventListener(kind, () => ui.drop.classList.remove("over"));
addEventListener("drop", (event) => {
  event.preventDefault();
  if (lesson.view) read(event.dataTransfer.files[0]);
});

ui["level-go"].addEventListener("click", async () => {
  const bars = Number(ui["level-bars"].value);
  try {
    await change({ kind: "level", level: Number(ui.level.value), bars: Number.isInteger(bars) ? bars : ui["level-bars"].value, seed: crypto.getRandomValues(new Uint32Array(1))[0] });
    wrong(ui["level-wrong"], "");
    report([]);
    say("A new line was written");
  } catch (error) {
    wrong(ui["level-wrong"], error.message);
  }
});

whenChanged((_, why) => {
  if (why === "opened") {
    if (run) stop();
    report([]);
  }
});
