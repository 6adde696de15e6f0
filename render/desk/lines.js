/* Several lines that are played one after another: which of them is written, one more, one less. */
import { goTo } from "./bars.js";
import { fill, say, ui, wrong } from "./dom.js";
import { change, lesson, showLine, whenChanged } from "./lesson.js";

/** Change the lines, say what came of it, and put the pencil to the first place of the line that is shown then. */
async function changeLines(kind, words) {
  try {
    await change({ kind });
    wrong(ui["line-wrong"], "");
    goTo(0, 0);
    say(words());
  } catch (error) {
    wrong(ui["line-wrong"], error.message);
  }
}

const letter = () => lesson.view.lines[lesson.view.line];

ui["add-line"].addEventListener("click", () => changeLines("add line", () => `Line ${letter()} is added, with rests to write in`));
ui["remove-line"].addEventListener("click", () => {
  const gone = letter();
  changeLines("remove line", () => `Line ${gone} is removed; line ${letter()} is shown`);
});
ui["line-number"].addEventListener("change", () => showLine(Number(ui["line-number"].value)));

whenChanged(() => {
  if (!lesson.view) return;
  const { lines, line } = lesson.view;
  ui["which-line"].hidden = ui["remove-line"].hidden = lines.length < 2;
  ui["remove-line"].textContent = `remove line ${lines[line]}`;
  fill(ui["line-number"], lines.map((one, number) => [number, one]));
  ui["line-number"].value = line;
});
