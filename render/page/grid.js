/* The grid of one bar, drawn under its staff: columns of spoken counts, a row for each limb, heads as on the staff.
   Lengths in millimetres of a staff that is 6 mm high; column and note stand at the same place across. */
"use strict";

const ROW = 4.4; // from row to row
const TOP = 2.9; // from the top to the first row
const COUNTS = 4.1; // the counts, under the last row
const SMALL = 2.5; // counts between the beats, and on them; fitted where neighbours would touch
const LARGE = 2.8;
const LETTER = 0.55; // width of a letter against its height, in the widest of the page's fonts
const NARROW = 0.37;
const FIGURE = 0.64; // and of a figure, where figures stand side by side
const APART = { trip: -0.25, let: 0.25 }; // moved towards the numbers, which are narrow
const GAP = 0.45; // between two counts
const SHORT = { "right hand": "RH", "left hand": "LH", "right foot": "RF", "left foot": "LF" };

/** How high a grid of some rows is, with its counts. */
function gridHeight(rows) {
  return TOP + ROW * (rows - 0.5) + COUNTS;
}

/** How high a grid's first row is by itself. */
const FIRST_ROW = TOP + ROW * 0.5;

/** An SVG element with attributes. */
function drawn(name, attributes, text) {
  const element = document.createElementNS(document.querySelector("svg").namespaceURI, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  return element;
}

/** A place in drawing units, short. */
function short(value) {
  return Number(value.toFixed(2));
}

/** All of a bar's grid: its columns, the rows of its limbs, and its strokes. */
function drawGrid({ columns, limbs, strokes, left, width }) {
  const across = columns.map(([share]) => left + width * share);
  const heights = new Map(limbs.map((limb, number) => [limb, TOP + ROW * number]));
  const bottom = TOP + ROW * (limbs.length - 1);
  const reads = new Set(strokes.filter(({ voice }) => voice.role === LINE).map(({ voice }) => voice.limb));
  const sizes = countSizes(columns, across);
  return [
    ...limbs.flatMap((limb) => drawRow(limb, heights.get(limb), left, width, reads.has(limb))),
    ...columns.flatMap((column, at) => drawColumn(column, across[at], bottom, sizes, strokes.some((one) => one.column === at))),
    ...joins(strokes, across, heights),
    ...strokes.filter(({ column }) => column in across).map((one) => drawHead(one, across[one.column], heights.get(one.voice.limb))),
  ];
}

/** A thin line for a limb, with its short name. */
function drawRow(limb, y, left, width, reads) {
  const name = drawn("text", { class: reads ? "name reads" : "name", x: 0.3, y: short(y + 0.9), "font-size": 2.6 }, SHORT[limb]);
  return [name, drawn("path", { class: "thread", d: `M${short(left - 1.6)} ${y}H${short(left + width)}` })];
}

/** What is said at a place, and the upright of a beat; felt beats strong. */
function drawColumn([, says, weight], x, bottom, [small, large], sounds) {
  const kind = ["says between", "says", "says felt"][weight];
  const text = drawn("text", {
    class: sounds ? kind : `${kind} rest`,
    x: short(x + (APART[says] || 0)),
    y: short(bottom + ROW / 2 + COUNTS - 1),
    "font-size": short(weight ? large : small),
    "text-anchor": "middle",
  }, says);
  if (!weight) return [text];
  const upright = drawn("path", { class: weight === 2 ? "thread beat" : "thread", d: `M${short(x)} ${short(TOP - 1.9)}V${short(bottom + 1.9)}` });
  return [upright, text];
}

/** A stroke joins the limbs that sound together. */
function joins(strokes, across, heights) {
  return across.flatMap((x, at) => {
    const rows = strokes.filter(({ column }) => column === at).map(({ voice }) => heights.get(voice.limb));
    if (new Set(rows).size < 2) return [];
    return [drawn("path", { class: "together", d: `M${short(x)} ${Math.min(...rows)}V${Math.max(...rows)}` })];
  });
}

/** One head as on the staff: black for drums, a cross for cymbals and sticks; the line's are larger. */
function drawHead({ voice, column }, x, y) {
  const size = voice.role === TIME ? 0.95 : 1.15;
  const own = {
    class: `head ${voice.role === TIME ? "keeps" : "reads"}`,
    "data-column": column,
    "data-part": voice.part,
    "data-limb": voice.limb,
    "data-role": voice.role,
  };
  if (voice.head === "normal") return drawn("ellipse", { ...own, cx: short(x), cy: y, rx: size, ry: short(size * 0.82) });
  return drawn("path", { ...own, d: crossed(voice.head, x, y, size) });
}

/** The outline of a cross, a cross in a ring, or a diamond. */
function crossed(head, x, y, size) {
  if (head === "diamond") {
    return `M${short(x - size)} ${y}L${short(x)} ${short(y - size)}L${short(x + size)} ${y}L${short(x)} ${short(y + size)}Z`;
  }
  const [left, top, whole, wide] = [x - size, y - size, 2 * size, size + 0.4].map(short);
  const cross = `M${left} ${top}l${whole} ${whole}m0 ${-whole}l${-whole} ${whole}`;
  const arc = `a${wide} ${wide} 0 1 0`;
  return head === "x" ? cross : `${cross}M${short(x - wide)} ${y}${arc} ${2 * wide} 0${arc} ${-2 * wide} 0`;
}

/** The sizes of the counts between the beats and of those on them, at which no two neighbours touch. */
function countSizes(columns, across) {
  let [small, large] = [SMALL, LARGE];
  for (let at = 1; at < columns.length; at++) {
    const pair = [columns[at - 1], columns[at]];
    const [left, right] = pair.map(([, says]) => says);
    const room = across[at] + (APART[right] || 0) - across[at - 1] - (APART[left] || 0) - GAP;
    const between = pair.filter(([, , weight]) => !weight).reduce((sum, [, says]) => sum + wordWidth(says), 0);
    const beats = pair.filter(([, , weight]) => weight).reduce((sum, [, says]) => sum + wordWidth(says), 0);
    if (between) small = Math.min(small, (2 * room - beats * LARGE) / between);
    else large = Math.min(large, (2 * room) / (FIGURE * (left + right).length));
  }
  return [small, large];
}

/** About how wide a word is at size 1. */
function wordWidth(word) {
  return [...word].reduce((sum, letter) => sum + ("iltr".includes(letter) ? NARROW : LETTER), 0);
}
