/* Everything about a lesson that is not its line: each key where it stands, with what is wrong with it beside it. */
import { fill, make, say, ui, wrongAt } from "./dom.js";
import { change, lesson, whenChanged } from "./lesson.js";

const READERS = [
  ['"snare"', "the snare"], ['"bass drum"', "the bass drum"], ['"hi-hat"', "the hi-hat, with the foot"], ['"ride"', "the ride"],
  ['"cross-stick"', "the snare's rim (cross-stick)"],
  ['{"long":"bass drum","short":"snare"}', "long notes the bass drum, short ones the snare"],
  ['{"notes":"bass drum","gaps":"snare"}', "the bass drum, and the snare fills its gaps"],
  ['{"notes":"snare","gaps":"bass drum"}', "the snare, and the bass drum fills its gaps"],
  ['{"hands":"alternate"}', "the snare, hands in turn"],
  ['{"each_bar":["snare","bass drum"]}', "snare and bass drum, in turn by bar"],
  ['{"each_chorus":["snare","bass drum"]}', "snare and bass drum, in turn by chorus"],
];
const SWINGS = [["", "as the groove has them"], ['"straight"', "straight"], ['"by tempo"', "triplets, straighter when fast"], ['"as measured"', "as drummers were measured"], ["ratio", "by a ratio"]];
let choices = null;

/** What may be chosen from. */
export function setChoices(told) {
  choices = told;
  fill(ui.groove, told.grooves.map(({ name, title, meter }) => [name, meter ? `${title}, ${meter}` : title]));
  fill(ui.form, [["", "nobody"], ...told.forms.map((form) => [form, form])]);
  fill(ui.bass, told.basses);
  fill(ui.piano, told.pianos);
  fill(ui.horns, told.horns);
  fill(ui.level, Object.entries(told.levels).map(([number, title]) => [number, `${number}: ${title}`]));
  fill(ui.swing, SWINGS);
}

/** The way to a key: of several lines, to the one that is shown. */
function stepsOf(key) {
  const steps = key.split(".");
  return steps[0] === "line" && Array.isArray(lesson.view.tables.line) ? ["line", lesson.which, ...steps.slice(1)] : steps;
}

/** What a key holds, given its name with dots; undefined where it is left out. */
function held(key) {
  return stepsOf(key).reduce((table, step) => (table === undefined ? undefined : table[step]), lesson.view.tables);
}

/** Set a key, and say at its control what is wrong with that. */
export async function set(control, key, value) {
  try {
    await change({ kind: "set", key: Array.isArray(key) ? key : stepsOf(key), value });
    wrongAt(control, "");
    return true;
  } catch (error) {
    wrongAt(control, error.message);
    say(error.message);
    return false;
  }
}

/** The value that a control holds, as the file writes it. */
export function valueOf(control) {
  const words = control.value.trim();
  if (control.type === "checkbox") return control.checked;
  if (control.dataset.kind === "optional") return words === "" ? null : /^\d+$/.test(words) && control.id === "only" ? Number(words) : control.value.trim();
  if (control.dataset.kind === "number") return words === "" || Number.isNaN(Number(words)) ? words : Number(words);
  return control.value;
}

for (const control of document.querySelectorAll(".setting [data-key]")) {
  if (control.id === "groove") continue;
  control.addEventListener("change", () => set(control, control.dataset.key, valueOf(control)));
  if (control.type === "range") control.addEventListener("input", () => sayRange(control));
}

/** A slider's number, and what that is in words. */
function sayRange(control) {
  const value = Number(control.value);
  const words = control.dataset.words ? control.dataset.words.split("|").map((one) => one.match(/^(.*) ([\d.]+)$/)).find(([, , most]) => value <= Number(most)) : null;
  const ratio = control.id === "ratio" ? ` : 1${value < 1.15 ? ", even" : value < 1.75 ? ", a little" : value < 2.25 ? ", triplets" : ", dotted"}` : "";
  const told = words ? `${words[1]}, ${value} ${control.dataset.unit}` : `${value}${ratio}`;
  control.closest("p").querySelector("output").textContent = told;
  control.setAttribute("aria-valuetext", told);
}

/** What was refused stands as it was written, with what is wrong beside it; so does what is being written. */
const isWrong = (control) => control.getAttribute("aria-invalid") === "true" || control.dataset.typed === "yes";

for (const part of document.querySelectorAll(".setting, #tracks")) {
  part.addEventListener("input", ({ target }) => (target.dataset.typed = "yes"));
  part.addEventListener("change", ({ target }) => delete target.dataset.typed, true); // before it is answered
}

function showAll() {
  for (const control of document.querySelectorAll(".setting [data-key]")) {
    const value = held(control.dataset.key);
    const shown = value === undefined ? control.dataset.default || "" : String(value);
    if (!isWrong(control)) control.value = shown;
    if (control.type === "range") sayRange(control);
  }
  if (held("groove") !== undefined && ![...ui.groove.options].some(({ value }) => value === held("groove"))) ui.groove.append(make("option", { value: held("groove"), textContent: held("groove") }));
  if (!isWrong(ui.groove)) ui.groove.value = held("groove");
  showReaders();
  showSwing();
  showBalance();
  showBand();
  showGroove();
  if (!isWrong(ui.left)) ui.left.checked = held("kit") === "left-handed";
}

// --- groove ---

function showGroove() {
  const name = held("groove");
  const address = `/groove.svg?name=${encodeURIComponent(name)}`;
  if (ui["groove-picture"].getAttribute("src") !== address) ui["groove-picture"].src = address;
  const known = choices?.grooves.find((one) => one.name === name);
  ui["groove-picture"].alt = `A bar of ${known ? known.title : name}: a row for each part`;
  
}

ui.groove.addEventListener("change", async () => {
  ui.groove.dataset.wished = ui.groove.value;
  ui["fit-row"].hidden = await set(ui.groove, "groove", ui.groove.value);
});

ui.fit.addEventListener("click", async () => {
  try {
    await change({ kind: "fit", groove: ui.groove.dataset.wished });
    wrongAt(ui.groove, "");
    ui["fit-row"].hidden = true;
  } catch (error) {
    wrongAt(ui.groove, error.message);
  }
});

let heard = null;
ui["groove-hear"].addEventListener("click", () => {
  if (heard && !heard.paused) {
    heard.pause();
    ui["groove-hear"].textContent = "hear it";
    return;
  }
  heard = new Audio(`/groove.wav?name=${encodeURIComponent(ui.groove.value)}`);
  heard.addEventListener("ended", () => (ui["groove-hear"].textContent = "hear it"));
  ui["groove-hear"].textContent = "stop";
  heard.play().catch(() => (ui["groove-hear"].textContent = "hear it"));
});

// --- tempo ---

const taps = [];
ui["tempo-tap"].addEventListener("click", () => {
  const now = performance.now();
  if (taps.length && now - taps.at(-1) > 2500) taps.length = 0;
  taps.push(now);
  if (taps.length > 8) taps.shift();
  if (taps.length < 3) {
    ui["tempo-tap"].textContent = `tap the beat (${3 - taps.length} more)`;
    return;
  }
  const bpm = Math.round((60000 * (taps.length - 1)) / (taps.at(-1) - taps[0]));
  ui["tempo-tap"].textContent = "tap the beat";
  ui.tempo.value = bpm;
  set(ui.tempo, "tempo", bpm);
});

// --- who reads ---

function showReaders() {
  const now = held("line.each_chorus") ? { each_chorus: held("line.each_chorus") } : held("line.played_on") ?? "snare";
  const word = JSON.stringify(now);
  fill(ui.reads, READERS.some(([value]) => value === word) ? READERS : [...READERS, [word, `as the file says: ${word.replaceAll('"', "")}`]]);
  ui.reads.value = word;
}

ui.reads.addEventListener("change", async () => {
  if (held("line.each_chorus") !== undefined && !(await set(ui.reads, "line.each_chorus", null))) return;
  await set(ui.reads, "line.played_on", JSON.parse(ui.reads.value));
});

ui.left.addEventListener("change", () => set(ui.left, "kit", ui.left.checked ? "left-handed" : null));

// --- feel, balance, band ---

function showSwing() {
  const now = held("feel.swing");
  ui.swing.value = now === undefined ? "" : typeof now === "number" ? "ratio" : JSON.stringify(now);
  ui["ratio-row"].hidden = typeof now !== "number";
}

ui.swing.addEventListener("change", () => {
  const chosen = ui.swing.value;
  set(ui.swing, "feel.swing", chosen === "" ? null : chosen === "ratio" ? 2 : JSON.parse(chosen));
});

function showBalance() {
  const { balance } = lesson.view;
  const names = Object.keys(balance);
  const drawn = [...ui.balance.children].map((row) => row.dataset.part).join();
  if (drawn !== names.join()) ui.balance.replaceChildren(...names.map(balanceRow));
  for (const row of ui.balance.children) {
    const own = (held("balance") || {})[row.dataset.part];
    const slider = row.querySelector("input");
    slider.value = balance[row.dataset.part];
    row.querySelector("button").hidden = own === undefined;
    sayBalance(slider, own === undefined);
  }
}

function sayBalance(slider, usual) {
  const told = `${slider.value} LU${usual ? ", as the groove has it" : ""}`;
  slider.closest("p").querySelector("output").textContent = told;
  slider.setAttribute("aria-valuetext", told);
}

function balanceRow(part) {
  const id = `balance-${part.replaceAll(" ", "-")}`;
  const slider = make("input", { type: "range", id, min: "-30", max: "6", step: "1", "data-kind": "number" });
  const usual = make("button", { type: "button", textContent: "as the groove has it", "aria-label": `${part}: as the groove has it` });
  const row = make("div", { "data-part": part }, make("p", { className: "slide" }, make("label", { htmlFor: id, textContent: { line: "the line", gaps: "what fills its gaps" }[part] || part }), slider, make("output", { htmlFor: id })), usual);
  slider.addEventListener("input", () => sayBalance(slider, false));
  slider.addEventListener("change", () => set(slider, ["balance", part], Number(slider.value)));
  usual.addEventListener("click", () => set(slider, ["balance", part], null));
  return row;
}

function showBand() {
  const band = held("band");
  const form = band?.form || "";
  if (band && !form) fill(ui.form, [["", "nobody"], ["own", "chords of your own"], ...choices.forms.map((one) => [one, one])]);
  ui.form.value = band ? form || "own" : "";
  for (const one of [ui.bass, ui.piano, ui.horns]) one.disabled = !band;
}

ui.form.addEventListener("change", async () => {
  if (ui.form.value === "own") return;
  if (ui.form.value === "") await set(ui.form, "band", null);
  else if (held("band.chords") === undefined) await set(ui.form, "band.form", ui.form.value);
  else await set(ui.form, "band", { form: ui.form.value });
});

whenChanged((_, why) => {
  if (why === "opened") {
    ui["fit-row"].hidden = true;
    for (const one of document.querySelectorAll(".wrong-here")) one.remove();
    for (const one of document.querySelectorAll("[aria-invalid]")) one.removeAttribute("aria-invalid");
  }
  if (lesson.view && choices && why !== "changed") showAll();
});
