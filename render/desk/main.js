/* The desk: the list of lessons, or one lesson that is being written; keys that hold everywhere. */
import { ask } from "./api.js";
import { say, ui, wrong } from "./dom.js";
import { change, closeLesson, lesson, lookAtDisk, openLesson, redo, save, undo, whenChanged } from "./lesson.js";
import { showLessons } from "./lessons.js";
import { closeSight } from "./see.js";
import { setChoices } from "./setting.js";
import "./bars.js";
import "./giving.js";
import "./lines.js";
import "./tap.js";
import "./tracks.js";

/** Show what the address names: a lesson, or all of them. */
async function show() {
  const name = decodeURIComponent(location.hash.slice(1));
  const writing = Boolean(name);
  ui.list.hidden = writing;
  ui.writing.hidden = ui.dock.hidden = ui.back.hidden = !writing;
  document.body.classList.remove("ready");
  try {
    if (writing) {
      setChoices(await ask("choices", { name }));
      await openLesson(name);
    } else {
      closeLesson();
      closeSight();
      head("Lessons");
      await showLessons();
    }
  } catch (error) {
    head(error.message);
    ui.writing.hidden = ui.dock.hidden = true;
  }
  ui.head.focus();
  document.body.classList.add("ready");
}

function head(words) {
  ui.head.textContent = words;
  document.title = words;
}

whenChanged(() => {
  head(lesson.view ? lesson.view.title : lesson.name);
  if (document.activeElement !== ui.text) ui.text.value = lesson.text;
  for (const part of [ui.bars, ui["bar-tools"]]) part.hidden = !lesson.view;
  for (const part of document.querySelectorAll(".ways, .setting, .giving, .see")) part.hidden = !lesson.view;
});

ui["text-take"].addEventListener("click", async () => {
  try {
    await change({ kind: "text", text: ui.text.value });
    wrong(ui["text-wrong"], "", ui.text);
    say("The text was taken");
  } catch (error) {
    wrong(ui["text-wrong"], error.message, ui.text);
  }
});

addEventListener("keydown", (event) => {
  if (!lesson.name || !(event.ctrlKey || event.metaKey) || event.altKey) return;
  const key = event.key.toLowerCase();
  const act = key === "s" ? save : key === "y" ? redo : key === "z" ? (event.shiftKey ? redo : undo) : null;
  if (!act || (act !== save && event.target.matches("input:not([type=range]), textarea"))) return;
  event.preventDefault();
  act();
});

addEventListener("beforeunload", (event) => {
  if (lesson.name && lesson.text !== lesson.disk) event.preventDefault();
});

/** What other programs do to the folder is seen at once. */
async function listen() {
  let since = 0;
  for (;;) {
    try {
      const answer = await fetch(`/changes?since=${since}`);
      const { count } = await answer.json();
      if (count !== since) {
        since = count;
        if (lesson.name) await lookAtDisk();
        else await showLessons();
      }
    } catch {
      await new Promise((resolve) => setTimeout(resolve, 2000));
    }
  }
}

addEventListener("hashchange", show);
show();
listen();
