/* The lessons of the folder as cards. */
import { ask } from "./api.js";
import { make, question, say, ui, wrongAt } from "./dom.js";

/** Show every lesson that is there. */
export async function showLessons() {
  const { lessons, folder, left_out: leftOut } = await ask("lessons");
  ui.folder.textContent = folder;
  ui["left-out"].textContent = leftOut;
  ui["left-out"].hidden = !leftOut;
  ui.empty.hidden = lessons.length > 0;
  ui.cards.replaceChildren(...lessons.map(card));
}

function card(lesson) {
  const address = `#${encodeURIComponent(lesson.name)}`;
  const title = lesson.title || lesson.name;
  const item = make("li", { className: "card" }, make("h2", { dir: "auto" }, make("a", { href: address, textContent: title })));
  if (lesson.error) {
    item.append(make("p", { className: "wrong", textContent: lesson.error }));
  } else {
    const bars = `${lesson.bars} bar${lesson.bars === 1 ? "" : "s"}`;
    item.append(make("p", { className: "of", textContent: `${lesson.groove}, ${lesson.tempo}, ${bars} of ${lesson.meter}` }));
    item.append(make("img", { src: `/staff/${lesson.name.split("/").map(encodeURIComponent).join("/")}?${lesson.version}`, alt: `The line of ${title}`, loading: "lazy" }));
  }
  item.append(make("p", { className: "file", textContent: lesson.name }), actions(lesson, title));
  return item;
}

function actions(lesson, title) {
  const button = (words, does, act) => make("button", { type: "button", textContent: words, onclick: act, "aria-label": `${does} ${title}` });
  const asks = (name, words, yes, word) => async () => {
    const given = await question(`${words} “${title}”`, { word, yes });
    if (given) await act(() => ask(name, { name: lesson.name, title: given }), `${title}: ${name} done`);
  };
  const remove = async () => {
    const sure = await question(`Put “${title}” into the trash?`, { more: "The system's trash keeps it until you empty it.", yes: "Into the trash" });
    if (sure) await act(() => ask("delete", { name: lesson.name }), `${title} is in the trash`);
  };
  return make("p", { className: "row" },
    button("copy", "Copy", asks("copy", "Copy", "Copy it", `${title}, copy`)),
    ...(lesson.error ? [] : [button("rename", "Rename", asks("rename", "Rename", "Rename it", title))]),
    button("delete", "Delete", remove));
}

async function act(doing, words) {
  try {
    await doing();
    say(words);
  } catch (error) {
    await question("That did not work", { more: error.message, yes: "So be it" });
  }
  await showLessons();
}

ui.new.addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    const { name } = await ask("new", { title: ui["new-title"].value });
    ui["new-title"].value = "";
    wrongAt(ui["new-title"], "");
    location.hash = encodeURIComponent(name);
  } catch (error) {
    wrongAt(ui["new-title"], error.message);
  }
});

ui["show-folder"].addEventListener("click", async () => {
  const { folder } = await ask("show-folder");
  say(folder);
});
