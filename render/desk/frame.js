/* The student's page in its frame. A page is not loaded anew when something changes: the next frame stands ready behind
   the one that is looked at, with scripts and style, and has only to take in what the change has moved. */
import { make, ui } from "./dom.js";

const RATE = 44100; // that of the page's sounds

const soon = window.requestIdleCallback || ((act) => setTimeout(act, 100)); // not every browser has it

let frame = null; // that is looked at
let spare = null; // { name, frame, loaded }: the next one
let turn = 0; // grows when nothing is to be seen any more
let handing = Promise.resolve(); // the playing, from one page to the next
let context = null; // that decodes
const sounds = new Map(); // a hit's name → its sound, once it is decoded

/** The document of the page that is looked at. */
export const shownPage = () => frame?.contentDocument;

/** A frame that waits for a page's body. */
function prepare(name) {
  if (spare) spare.frame.remove();
  const next = make("iframe", { className: "next", title: "The student's page", src: `/kept/${name}` });
  spare = { name, frame: next, loaded: new Promise((resolve) => next.addEventListener("load", resolve, { once: true })) };
  ui.page.append(next);
}

/** A hit's sound, fetched and decoded when it is first asked for. */
function soundOf(name) {
  context = context || new OfflineAudioContext(2, 1, RATE);
  if (!sounds.has(name)) {
    const sound = fetch(`/kept/${name}.flac`).then((answer) => answer.arrayBuffer()).then((data) => context.decodeAudioData(data));
    sound.catch(() => sounds.delete(name));
    sounds.set(name, sound);
  }
  return sounds.get(name);
}

/** Show a page in place of the one before, which plays its bar to the end; `seen` is called once it is shown.
    Says whether the page can be played. */
export async function showPage(page, seen) {
  const began = turn;
  for (const name of sounds.keys()) if (!page.hits.includes(name)) sounds.delete(name);
  if (spare?.name !== page.frame) prepare(page.frame);
  const { frame: next, loaded } = spare;
  spare = null;
  await loaded;
  const [old, view] = [frame, next.contentWindow];
  try {
    if (began === turn) await view.begin(page, old?.contentWindow.leave(), soundOf);
  } catch {
    next.remove();
    throw new Error("The page cannot be shown just now; change something, or load the desk's window anew.");
  }
  if (began !== turn) {
    next.remove();
    return false;
  }
  view.scrollTo(0, old?.contentWindow.scrollY || 0);
  next.className = "";
  if (old) old.className = "old";
  frame = next;
  seen();
  const can = await view.playable();
  if (began !== turn) return false;
  if (old) handing = handing.then(() => handOver(old, next));
  else forgetLogs();
  soon(() => spare || prepare(page.frame), { timeout: 300 });
  return can;
}

/** Let a page play on where the one before it plays, which goes once nothing of it sounds any more. */
async function handOver(old, next) {
  const both = old.isConnected && next.isConnected;
  const rings = both ? await next.contentWindow.goOn(old.contentWindow).catch(() => 0) : 0; // 0: closed meanwhile
  setTimeout(() => {
    old.remove();
    forgetLogs();
  }, rings);
}

/** When the playing has gone from one page to the next. */
export const handed = () => handing;

/** Of the pages before, nothing is to be heard any more. */
export function hushOld() {
  for (const one of ui.page.querySelectorAll(".old")) one.remove();
}

/** Nothing is to be seen or heard any more. */
export function closePage() {
  turn += 1;
  for (const one of ui.page.querySelectorAll("iframe")) if (one !== spare?.frame) one.remove();
  frame = null;
  forgetLogs();
}

/** The page that is only looked at keeps no log on this computer. */
function forgetLogs() {
  for (const key of Object.keys(localStorage)) if (key.startsWith("fourlimb")) localStorage.removeItem(key);
}
