/* The lesson that is being written: its text, what that shows, what it was before and after, and its file. */
import { ask, newestOf } from "./api.js";
import { differenceOf, make, question, say, ui } from "./dom.js";

const MOST_STEPS = 1000; // that can be undone

export const lesson = {
  name: null,
  base: "", // the hash of the file that this text goes back to
  disk: "", // that file's text
  text: "",
  view: null,
  past: [],
  future: [],
  which: 0, // of several lines, the one that is shown
  pending: 0, // changes that are asked for and not answered yet
  asked: 0, // when the last change was asked for, by the page's clock
};
const shows = []; // what is to be told of every new state

/** Call this with the lesson and why: "opened", "changed", "settled" (no change is under way), "saved" or "line". */
export function whenChanged(show) {
  shows.push(show);
}

function show(why) {
  for (const one of shows) one(lesson, why);
  ui.undo.disabled = !lesson.past.length;
  ui.redo.disabled = !lesson.future.length;
  const clean = lesson.text === lesson.disk;
  ui.save.disabled = clean;
  ui.saved.textContent = clean ? "saved" : "not saved yet";
}

/** Open a lesson by its name. */
export async function openLesson(name) {
  lesson.asked = performance.now();
  const told = await ask("open", { name });
  Object.assign(lesson, { name, base: told.base, disk: told.text, text: told.text, view: told.view || null, which: 0, past: [], future: [] });
  notice();
  show("opened");
  if (told.error) brokenNotice(told.error);
  if (told.draft !== null && told.draft !== undefined) await offerDraft(told);
}

/** Nothing is open any more. */
export function closeLesson() {
  lesson.name = null;
  notice();
}

// --- changes, one after another ---

let last = Promise.resolve();

/** Change the lesson; what is wrong with that is thrown, and the lesson stays as it is. */
export function change(what) {
  lesson.asked = performance.now();
  const done = last.then(async () => {
    const { name, text } = lesson;
    const told = await ask("edit", { name, text, change: { line: lesson.which, ...what } });
    if (lesson.name === name && told.text !== lesson.text) become(told.text, told.view);
    return told;
  });
  lesson.pending += 1;
  last = done.catch(() => {}).then(() => {
    lesson.pending -= 1;
    if (!lesson.pending) show("settled"); // only now: what was pressed meanwhile would seem to be taken back
  });
  return done;
}

/** Take a whole text with what it shows: a step that can be undone. */
function become(text, view) {
  lesson.past.push({ text: lesson.text, view: lesson.view });
  if (lesson.past.length > MOST_STEPS) lesson.past.shift();
  lesson.future = [];
  Object.assign(lesson, { text, view, which: view ? view.line : 0 });
  if (view) notice();
  show("changed");
  if (!lesson.pending) show("settled");
  keep();
}

function step(from, to, words) {
  lesson.asked = performance.now();
  last = last.then(async () => {
    const there = from.at(-1);
    if (!there) return;
    if (isOtherLine(there.view, lesson.view)) await showLine(there.view.line); // where the change is
    from.pop();
    to.push({ text: lesson.text, view: lesson.view });
    Object.assign(lesson, there, { which: there.view ? there.view.line : 0 });
    show("changed");
    show("settled");
    keep();
    say(words);
  }).catch((error) => say(error.message));
  return last;
}

/** Whether two views show different ones of the same lines. */
function isOtherLine(one, other) {
  return Boolean(one && other) && one.lines.length === other.lines.length && one.line !== other.line;
}

/** Show another of several lines. */
export async function showLine(which) {
  const { view } = await ask("look", { name: lesson.name, text: lesson.text, line: which });
  Object.assign(lesson, { which: view.line, view });
  show("line");
}

export const undo = () => step(lesson.past, lesson.future, "Undone");
export const redo = () => step(lesson.future, lesson.past, "Done again");

/** Everything that was asked for has been done. */
export const settled = () => last;

// --- the draft beside the file ---

const noteDraft = newestOf(async (name, text, base) => {
  try {
    await ask("keep", { name, text, base });
    document.body.dataset.kept = String(Number(document.body.dataset.kept || 0) + 1);
  } catch (error) {
    ui.saved.textContent = error.message;
  }
});

function keep() {
  noteDraft(lesson.name, lesson.text, lesson.base);
}

async function offerDraft(told) {
  const take = make("button", { type: "button", textContent: "Go on with it" });
  const leave = make("button", { type: "button", textContent: "Leave it" });
  notice(make("p", { textContent: "Unsaved work was found beside this lesson. What it changes:" }), differenceOf(told.difference), make("p", { className: "row" }, take, leave));
  take.addEventListener("click", async () => {
    try {
      const { view } = await ask("look", { name: lesson.name, text: told.draft, line: lesson.which });
      become(told.draft, view);
      notice();
    } catch (error) {
      notice(make("p", { textContent: error.message }));
    }
  });
  leave.addEventListener("click", async () => {
    await ask("forget", { name: lesson.name });
    notice();
  });
}

function brokenNotice(message) {
  notice(make("p", { textContent: `This lesson cannot be read yet. ${message}` }), make("p", { textContent: "Its text stands below, to be put right." }));
  ui["as-text"].open = true;
}

/** Say something above all else that has to be answered; nothing takes it away. */
function notice(...inside) {
  ui.notice.replaceChildren(...inside);
  ui.notice.hidden = !inside.length;
}

// --- the file ---

/** Save the lesson; true where that is done. */
export async function save() {
  await settled();
  const { name, text, base } = lesson;
  if (text === lesson.disk) return true;
  try {
    const told = await ask("save", { name, text, base });
    Object.assign(lesson, { base: told.base, disk: text });
    notice();
    show("saved");
    say("Saved");
    return true;
  } catch (error) {
    if (error.status === 409) await bothChanged();
    else notice(make("p", { textContent: error.message }));
    return false;
  }
}

/** Somebody else may have changed the file: show it, and never write over it unseen. */
export async function lookAtDisk() {
  const { name } = lesson;
  if (!name) return;
  await settled();
  const told = await ask("differ", { name, text: lesson.text }).catch(() => null);
  if (!told || lesson.name !== name || told.base === lesson.base) return;
  if (told.theirs === lesson.text) {
    Object.assign(lesson, { base: told.base, disk: told.theirs });
    show("saved");
  } else if (lesson.text === lesson.disk) {
    await takeTheirs(told, "Another program has changed this lesson; this is how it stands now. Undo brings back what it was.");
  } else {
    await bothChanged();
  }
}

async function takeTheirs(told, words) {
  Object.assign(lesson, { base: told.base, disk: told.theirs });
  try {
    const { view } = await ask("look", { name: lesson.name, text: told.theirs, line: lesson.which });
    become(told.theirs, view);
    notice(make("p", { textContent: words }));
  } catch (error) {
    become(told.theirs, null);
    brokenNotice(error.message);
  }
}

async function bothChanged() {
  const told = await ask("differ", { name: lesson.name, text: lesson.text });
  const theirs = make("button", { type: "button", textContent: "Take the file's; Undo brings mine back" });
  const mine = make("button", { type: "button", textContent: "Save mine as a new lesson" });
  notice(
    make("p", { textContent: "This lesson was changed here and on the disk too. Nothing was written. Lines with − stand in the file, lines with + here:" }),
    differenceOf(told.difference),
    make("p", { className: "row" }, theirs, mine));
  theirs.addEventListener("click", () => takeTheirs(told, "This is what stands in the file. Undo brings your own back; saving that writes over the file."));
  mine.addEventListener("click", async () => {
    const title = await question("Save mine as a new lesson", { word: `${lesson.view ? lesson.view.title : lesson.name}, mine`, yes: "Save it" });
    if (!title) return;
    const { name } = await ask("save-as", { name: lesson.name, text: lesson.text, title });
    await ask("forget", { name: lesson.name });
    location.hash = encodeURIComponent(name);
  });
}

ui.undo.addEventListener("click", undo);
ui.redo.addEventListener("click", redo);
ui.save.addEventListener("click", save);
