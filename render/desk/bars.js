/* The line: each bar a ruled row of places for the pencil, its values and its counts. */
import { make, say, ui, wrong, wrongAt } from "./dom.js";
import { change, lesson, whenChanged } from "./lesson.js";

const KINDS = { struck: "note", held: "held on", rest: "rest" };
const PARTS = { 2: "eighths", 3: "triplets", 4: "sixteenths", 6: "sixteenths" };
const SYLLABLES = { "1/2": "&", "1/3": "trip", "2/3": "let", "1/4": "e", "3/4": "a" };

let here = { bar: 0, tick: 0 }; // where the pencil is
let line = 0; // that is shown
const wished = new Map(); // "bar beat" of it → into how many places its beat is parted, where its notes would not need that

/** The places of a bar: each with its tick, its end, its beat, what sounds there. */
export function placesOf(bar, number, meter) {
  return meter.beats.flatMap(([start, end], beat) => {
    const parts = partsOf(bar, number, beat, meter);
    const step = (end - start) / parts;
    return Array.from({ length: parts }, (_, at) => stateAt(bar, start + at * step, step, beat, at, parts));
  });
}

/** Into how many places a beat is parted: as its notes need, else as was wished, else as its neighbours are. */
function partsOf(bar, number, beat, meter) {
  const [start, end] = meter.beats[beat];
  const inside = bar.marks.map(([tick]) => tick).filter((tick) => tick > start && tick < end);
  const fits = (parts) => inside.every((tick) => Number.isInteger(((tick - start) * parts) / (end - start)));
  const usual = meter.parts[beat];
  const wish = wished.get(`${number} ${beat}`);
  if (wish && fits(wish)) return wish;
  return [...usual, 6, 8, 12, 24].find(fits) || 24;
}

function stateAt(bar, tick, step, beat, at, parts) {
  let mark = null;
  for (const one of bar.marks) if (one[0] <= tick) mark = one;
  const begins = mark[0] === tick;
  const next = bar.marks.find(([other]) => other > tick);
  return { tick, step, beat, at, parts, begins, kind: mark[1], accent: begins && mark[2], ends: Boolean(next) && next[0] === tick + step };
}

// --- drawing ---

/** What is said at a place: the beat's number, or its syllable. */
function syllable(place, meter) {
  const [start, end] = meter.beats[place.beat];
  const eighths = meter.name.endsWith("/8");
  const unit = eighths ? 48 : meter.name.endsWith("/2") ? 192 : 96;
  const within = place.tick % unit;
  if (!within) return String(place.tick / unit + 1);
  const divisor = gcd(within, unit);
  return SYLLABLES[`${within / divisor}/${unit / divisor}`] || (end > start ? "·" : "");
}

function gcd(a, b) {
  return b ? gcd(b, a % b) : a;
}

function nameOf(place, meter) {
  const unit = meter.name.endsWith("/8") ? 48 : meter.name.endsWith("/2") ? 192 : 96;
  const count = syllable(place, meter);
  return place.tick % unit ? `${Math.floor(place.tick / unit) + 1} ${count === "&" ? "and" : count}` : count;
}

function placeButton(place, number, meter) {
  const sounds = place.kind !== "rest";
  const classes = ["one-place", place.at === 0 && "on-beat", sounds && "sounds", place.begins && place.kind === "struck" && "struck",
    sounds && place.ends && "ends", place.begins && place.kind === "held" && "held-in", !sounds && "silent"];
  const state = place.begins ? KINDS[place.kind] : sounds ? "held on" : "rest";
  const button = make("button", {
    type: "button",
    className: classes.filter(Boolean).join(" "),
    tabIndex: here.bar === number && here.tick === place.tick ? 0 : -1,
    "aria-label": `Bar ${number + 1}, ${nameOf(place, meter)}: ${state}${place.accent ? ", accent" : ""}`,
    "data-tick": place.tick,
    "data-step": place.step,
    "data-beat": place.beat,
  });
  if (place.begins && !sounds) button.append(restSign());
  if (place.accent) button.append(make("span", { className: "accent", textContent: ">", "aria-hidden": "true" }));
  button.append(make("span", { className: "count", textContent: syllable(place, meter), "aria-hidden": "true" }));
  return button;
}

/** A rest as it is written by hand. */
function restSign() {
  const sign = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  sign.setAttribute("viewBox", "0 0 12 30");
  sign.setAttribute("class", "sign");
  sign.setAttribute("aria-hidden", "true");
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
  path.setAttribute("d", "M3 2 L9 10 L4 16 L10 23 C5 20 3 24 7 29");
  sign.append(path);
  return sign;
}

function rowOf(bar, number, meter) {
  const row = make("div", { className: "row-of-places", role: "group", "aria-label": `Bar ${number + 1}`, "data-bar": number });
  for (const [beat] of meter.beats.entries()) {
    const places = placesOf(bar, number, meter).filter((place) => place.beat === beat);
    const group = make("span", { className: `beat-of-bar${places.length > 3 ? " many" : ""}` }, ...places.map((place) => placeButton(place, number, meter)));
    group.style.flexGrow = meter.beats[beat][1] - meter.beats[beat][0];
    row.append(group);
  }
  return row;
}

function written(number, kind, words) {
  const id = `${kind}-${number}`;
  const input = make("input", { id, value: words === null ? "" : words, autocomplete: "off", spellcheck: false, "aria-label": `Bar ${number + 1} in ${kind}`, "data-was": words || "" });
  if (words === null) input.placeholder = "has no counts";
  input.addEventListener("change", () => typed(input, number, kind));
  return [make("label", { htmlFor: id, textContent: kind, "aria-hidden": "true" }), input];
}

async function typed(input, number, kind) {
  if (input.value === input.dataset.was) return wrongAt(input, "");
  try {
    await change({ kind, bar: number, text: input.value });
    if (lesson.view.bars[number]) drawBar(number);
  } catch (error) {
    wrongAt(input, error.message);
  }
  return undefined;
}

function barItem(bar, number, meter) {
  const item = make("li", { className: `one-bar${number === here.bar ? " here" : ""}` },
    make("span", { className: "number", textContent: `bar ${number + 1}` }),
    rowOf(bar, number, meter),
    make("div", { className: "written" }, ...written(number, "values", bar.values), ...written(number, "counts", bar.counts)));
  item.key = keyOf(bar, meter);
  return item;
}

const keyOf = (bar, meter) => JSON.stringify([bar, meter]);

function drawBar(number) {
  const old = ui.bars.children[number];
  const focused = old && old.contains(document.activeElement) ? document.activeElement : null;
  const fresh = barItem(lesson.view.bars[number], number, lesson.view.meter);
  if (old) old.replaceWith(fresh);
  else ui.bars.append(fresh);
  if (focused?.id && focused.value !== focused.dataset.was) document.getElementById(focused.id).value = focused.value; // half typed
  if (focused) (focused.id ? document.getElementById(focused.id) : buttonAt(number, Number(focused.dataset.tick)))?.focus();
}

/** Draw the bars that are others than before. */
function draw() {
  const { bars, meter } = lesson.view;
  if (line !== lesson.view.line) wished.clear();
  line = lesson.view.line;
  if (here.bar >= bars.length) here = { bar: bars.length - 1, tick: 0 };
  bars.forEach((bar, number) => {
    if (ui.bars.children[number]?.key !== keyOf(bar, meter)) drawBar(number);
  });
  while (ui.bars.children.length > bars.length) ui.bars.lastChild.remove();
  ui.meter.textContent = `${meter.name}, ${bars.length} bar${bars.length === 1 ? "" : "s"}${lesson.view.pickup ? `, after a pickup of ${lesson.view.pickup}` : ""}`;
  showHere();
}

// --- where the pencil is ---

function buttonAt(bar, tick) {
  const row = ui.bars.children[bar]?.querySelector(".row-of-places");
  if (!row) return null;
  const all = [...row.querySelectorAll(".one-place")];
  return all.filter((button) => Number(button.dataset.tick) <= tick).pop() || all[0];
}

/** Put the pencil to a place. */
export function goTo(bar, tick, focus = true) {
  here = { bar, tick };
  const button = buttonAt(bar, tick);
  if (!button) return;
  here.tick = Number(button.dataset.tick);
  if (focus) button.focus();
  showHere();
}

function showHere() {
  const button = buttonAt(here.bar, here.tick);
  for (const one of ui.bars.querySelectorAll(".one-place[tabindex='0']")) one.tabIndex = -1;
  if (button) button.tabIndex = 0;
  [...ui.bars.children].forEach((item, number) => item.classList.toggle("here", number === here.bar));
  ui["which-bar"].textContent = `bar ${here.bar + 1}`;
  ui["which-place"].textContent = button ? `on ${button.getAttribute("aria-label").match(/, (.*?):/)[1]}` : "";
  showParting(button);
}

function showParting(button) {
  const beat = Number(button?.dataset.beat || 0);
  const { meter, bars } = lesson.view;
  const now = bars[here.bar] ? partsOf(bars[here.bar], here.bar, beat, meter) : 0;
  const eighths = meter.name.endsWith("/8");
  ui.parting.replaceChildren(
    make("span", { textContent: `this beat in ` }),
    ...meter.parts[beat].map((parts) => make("button", {
      type: "button",
      textContent: eighths ? (parts === meter.parts[beat][0] ? "eighths" : "sixteenths") : PARTS[parts],
      "aria-pressed": String(parts === now),
      onclick: () => part(parts, beat),
    })));
}

// --- the pencil ---

async function pencil(kind, bar, more = {}) {
  try {
    await change({ kind, bar, ...more });
    wrong(ui["line-wrong"], "");
    tell(bar);
  } catch (error) {
    wrong(ui["line-wrong"], error.message);
  }
}

function tell(bar) {
  const button = buttonAt(bar, here.tick);
  if (button && bar === here.bar) say(button.getAttribute("aria-label"));
}

async function part(parts, beat) {
  wished.set(`${here.bar} ${beat}`, parts);
  drawBar(here.bar); // at once, for whoever goes on along its places
  showHere();
  await pencil("divide", here.bar, { beat, parts });
  if (lesson.view.bars[here.bar]) drawBar(here.bar);
  showHere();
}

let drag = null;

ui.bars.addEventListener("pointerdown", (event) => {
  const button = event.target.closest(".one-place");
  if (!button || event.button) return;
  const row = button.closest(".row-of-places");
  drag = { row, from: button, to: button, bar: Number(row.dataset.bar) };
});

addEventListener("pointermove", (event) => {
  if (!drag) return;
  const over = document.elementFromPoint(event.clientX, event.clientY)?.closest(".one-place");
  if (!over || over.closest(".row-of-places") !== drag.row) return;
  drag.to = over;
  for (const one of drag.row.querySelectorAll(".one-place")) {
    const tick = Number(one.dataset.tick);
    one.classList.toggle("drawn", drag.to !== drag.from && tick >= Number(drag.from.dataset.tick) && tick <= Number(over.dataset.tick));
  }
});

addEventListener("pointercancel", () => (drag = null));

addEventListener("pointerup", () => {
  if (!drag) return;
  const { from, to, bar } = drag;
  const held = Number(to.dataset.tick) > Number(from.dataset.tick);
  drag = held ? null : drag;
  if (!held) return;
  here = { bar, tick: Number(from.dataset.tick) };
  pencil("hold", bar, { tick: Number(from.dataset.tick), to: Number(to.dataset.tick), step: Number(to.dataset.step) });
});

ui.bars.addEventListener("click", (event) => {
  const button = event.target.closest(".one-place");
  drag = null;
  if (!button) return;
  const bar = Number(button.closest(".row-of-places").dataset.bar);
  const tick = Number(button.dataset.tick);
  goTo(bar, tick);
  pencil(event.altKey ? "tie" : "touch", bar, { tick, step: Number(button.dataset.step) });
});

ui.bars.addEventListener("focusin", (event) => {
  const item = event.target.closest(".one-bar");
  if (!item) return;
  const bar = [...ui.bars.children].indexOf(item);
  if (event.target.matches(".one-place")) here = { bar, tick: Number(event.target.dataset.tick) };
  else if (bar !== here.bar) here = { bar, tick: 0 };
  showHere();
});

function along(button, by) {
  const all = [...ui.bars.querySelectorAll(".one-place")];
  return all[all.indexOf(button) + by];
}

/** Keys on a place. */
function press(event, button) {
  const bar = Number(button.closest(".row-of-places").dataset.bar);
  const tick = Number(button.dataset.tick);
  const { meter } = lesson.view;
  const move = (to) => to && goTo(Number(to.closest(".row-of-places").dataset.bar), Number(to.dataset.tick));
  const holdOn = () => {
    const next = along(button, 1);
    if (!next || next.closest(".row-of-places") !== button.closest(".row-of-places")) return;
    const { tick: to, step } = next.dataset;
    const from = lesson.view.bars[bar].marks.filter(([at]) => at <= tick).pop();
    const drawn = from[1] === "struck" ? { kind: "hold", tick: from[0], to: Number(to) } : { kind: "tie", tick: Number(to) };
    pencil(drawn.kind, bar, { ...drawn, step: Number(step) }).then(() => move(along(buttonAt(bar, tick), 1)));
  };
  const keys = {
    ArrowRight: () => (event.shiftKey ? holdOn() : move(along(button, 1))),
    ArrowLeft: () => move(along(button, -1)),
    ArrowDown: () => goTo(Math.min(bar + 1, lesson.view.bars.length - 1), tick),
    ArrowUp: () => goTo(Math.max(bar - 1, 0), tick),
    Home: () => goTo(bar, 0),
    End: () => goTo(bar, meter.ticks - 1),
    r: () => pencil("rest", bar, { tick }),
    t: () => pencil("tie", bar, { tick, step: Number(button.dataset.step) }),
    a: () => pencil("accent", bar, { tick }),
    Delete: () => pencil("rest", bar, { tick }),
    Backspace: () => pencil("rest", bar, { tick }),
  };
  const beat = Number(button.dataset.beat);
  if (["2", "3", "4", "6"].includes(event.key) && meter.parts[beat].includes(Number(event.key))) keys[event.key] = () => part(Number(event.key), beat);
  return keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
}

ui.bars.addEventListener("keydown", (event) => {
  const button = event.target.closest(".one-place");
  if (!button || event.ctrlKey || event.metaKey || event.altKey) return;
  const act = press(event, button);
  if (!act) return;
  event.preventDefault();
  act();
});

for (const button of ui["bar-tools"].querySelectorAll("[data-bar]")) {
  button.addEventListener("click", async () => {
    const kind = button.dataset.bar;
    const { bar } = here;
    await pencil(kind, bar);
    if (kind === "add bar" || kind === "copy bar") goTo(bar + 1, 0, false);
    say(`Bar ${bar + 1}: ${button.textContent}`);
  });
}

for (const button of ui["bar-tools"].querySelectorAll("[data-place]")) {
  button.addEventListener("click", () => {
    const { tick, step } = buttonAt(here.bar, here.tick).dataset;
    pencil(button.dataset.place, here.bar, { tick: Number(tick), step: Number(step) });
  });
}

ui.how.addEventListener("click", () => {
  ui["how-text"].hidden = !ui["how-text"].hidden;
  ui.how.setAttribute("aria-expanded", String(!ui["how-text"].hidden));
});

whenChanged((_, why) => {
  if (why === "opened") {
    here = { bar: 0, tick: 0 };
    wished.clear();
    ui.bars.replaceChildren();
    wrong(ui["line-wrong"], "");
  }
  if (lesson.view && why !== "settled") draw();
});
