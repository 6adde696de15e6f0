/* The tracks of a lesson as rows: who is left out, how fast, how often. */
import { make, say, ui, wrong } from "./dom.js";
import { change, lesson, whenChanged } from "./lesson.js";
import { set } from "./setting.js";

const own = () => lesson.view.tables.track || [];

function show() {
  const tracks = own();
  ui["tracks-say"].textContent = tracks.length ? "" : `This lesson has the usual tracks: ${lesson.view.tracks.join(", ")}. The first track of your own takes their place.`;
  const key = JSON.stringify([tracks, lesson.view.here]);
  if (ui.tracks.dataset.key === key || ui.tracks.querySelector("[data-typed]")) return;
  ui.tracks.dataset.key = key;
  const focused = document.activeElement?.id;
  ui.tracks.replaceChildren(...tracks.map(row));
  if (focused && ui.tracks.querySelector(`#${CSS.escape(focused)}`)) document.getElementById(focused).focus();
}

function field(number, key, words, track, properties, className = "pair") {
  const id = `track-${number}-${key}`;
  const value = track[key] === undefined ? "" : String(track[key]);
  const input = make("input", { id, value, autocomplete: "off", ...properties, "aria-label": `${words}, track ${number + 1}` });
  input.addEventListener("change", () => {
    const told = input.value.trim();
    const isNumber = /^-?\d+(\.\d+)?$/.test(told);
    set(input, ["track", number, key], told === "" && key !== "name" ? null : isNumber && key !== "name" && key !== "note" ? Number(told) : told);
  });
  return make("label", { className, htmlFor: id }, make("span", { textContent: words }), input);
}

function outs(number, track) {
  const box = make("fieldset", { className: "outs" }, make("legend", { textContent: "Left out" }));
  for (const name of lesson.view.here) {
    const input = make("input", { type: "checkbox", id: `track-${number}-out-${name.replaceAll(" ", "-")}`, checked: (track.without || []).includes(name), "aria-label": `${name} left out of track ${number + 1}` });
    input.addEventListener("change", () => {
      const left = new Set(own()[number].without || []);
      if (input.checked) left.add(name);
      else left.delete(name);
      set(input, ["track", number, "without"], left.size ? [...left] : null).then((fine) => fine || (input.checked = !input.checked));
    });
    box.append(make("label", { className: "check" }, input, make("span", { textContent: name === "line" ? "the line" : name })));
  }
  return box;
}

function row(track, number) {
  const remove = make("button", { type: "button", textContent: "remove", "aria-label": `Remove track ${number + 1}, ${track.name}` });
  remove.addEventListener("click", () => act({ kind: "remove track", track: number }));
  const click = make("select", { id: `track-${number}-click`, "aria-label": `Click, track ${number + 1}` }, ...["off", "every beat", "2 and 4"].map((word) => make("option", { value: word, textContent: word })));
  click.value = track.click || "off";
  click.addEventListener("change", () => set(click, ["track", number, "click"], click.value === "off" ? null : click.value));
  return make("div", { className: "track", role: "group", "aria-label": `Track ${number + 1}` },
    make("div", { className: "row" },
      field(number, "name", "Name", track, { maxLength: 100 }),
      field(number, "tempo", "tempo", track, { size: 6, placeholder: "as it is" }),
      field(number, "times", "times", track, { size: 4, placeholder: "as it is" }),
      field(number, "bars", "bars", track, { size: 8, placeholder: "all" }),
      make("label", { className: "pair", htmlFor: click.id }, make("span", { textContent: "click" }), click),
      remove),
    outs(number, track),
    make("div", { className: "row" }, field(number, "note", "your word", track, { maxLength: 2000 }, "pair wide")));
}

async function act(what) {
  try {
    await change(what);
    wrong(ui["tracks-wrong"], "");
    say(what.kind === "add track" ? "A track was added" : "The track was removed");
  } catch (error) {
    wrong(ui["tracks-wrong"], error.message);
  }
}

ui["add-track"].addEventListener("click", () => {
  const reads = lesson.view.here.includes("snare") ? ["snare"] : ["line"];
  act({ kind: "add track", name: `without the ${reads[0]}`, table: { without: reads } });
});

whenChanged((_, why) => {
  if (why === "opened") ui.tracks.dataset.key = "";
  if (lesson.view && why !== "changed") show();
});
