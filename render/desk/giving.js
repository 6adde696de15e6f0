/* Giving a lesson away: files as the command line makes them, the page to a phone. */
import { ask } from "./api.js";
import { make, say, ui, wrong } from "./dom.js";
import { lesson, save, whenChanged } from "./lesson.js";

const WAIT = 250; // milliseconds between two looks
const WORDS = { waiting: "waits", begun: "is being written", made: "" };
let number = null;
let page = null;

async function begin(what) {
  wrong(ui["giving-wrong"], "");
  if (!(await save())) return;
  try {
    ({ number } = await ask("make", { name: lesson.name, what }));
  } catch (error) {
    wrong(ui["giving-wrong"], error.message);
    return;
  }
  ui.making.hidden = false;
  buttons(true);
  ui["making-says"].textContent = "Being made …";
  ui["made-notes"].replaceChildren();
  await follow();
}

function buttons(disabled) {
  for (const button of document.querySelectorAll("[data-make]")) button.disabled = disabled;
}

/** Look how far it is until it is done. */
async function follow() {
  let told = null;
  try {
    do {
      await new Promise((resolve) => setTimeout(resolve, told ? WAIT : 60));
      told = await ask("making", { number });
      show(told);
    } while (!told.done);
  } catch (error) {
    told = { error: error.message, files: [], notes: [] };
  }
  ui.making.hidden = true;
  buttons(false);
  wrong(ui["giving-wrong"], told.error);
  if (told.stopped && told.error === "") say("Broken off; nothing was made");
  else if (!told.error) say(`${told.files.length} made`);
  ui["made-notes"].replaceChildren(...told.notes.map((words) => make("li", { textContent: words })));
}

function show({ share, files, done, stopped }) {
  ui["making-share"].value = share;
  const begun = files.filter(({ state }) => state !== "waiting").length;
  ui["making-says"].textContent = stopped ? "Being broken off …" : `${begun} of ${files.length} begun, sound ${Math.round(share * 100)} %`;
  const listed = done && stopped ? [] : files;
  ui.made.replaceChildren(...listed.map(({ file, state }) => {
    const address = `/made/${file.split("/").map(encodeURIComponent).join("/")}`;
    if (state !== "made") return make("li", { textContent: `${file} ${WORDS[state]}` });
    return make("li", {}, make("a", { href: address, target: "_blank", rel: "noopener", textContent: file }));
  }));
  const made = files.find(({ file, state }) => state === "made" && file.endsWith(".html"));
  page = made ? made.file : page;
  ui.share.hidden = !page;
}

for (const button of document.querySelectorAll("[data-make]")) button.addEventListener("click", () => begin(button.dataset.make));
ui["making-stop"].addEventListener("click", () => ask("stop-making", { number }));

ui.share.addEventListener("click", async () => {
  try {
    const told = await ask("share", { file: page });
    ui["shared-code"].src = `/kept/${told.code}`;
    ui["shared-code"].alt = `QR code of ${told.address}`;
    ui["shared-address"].textContent = told.address;
    ui.shared.hidden = false;
    wrong(ui["giving-wrong"], "");
  } catch (error) {
    wrong(ui["giving-wrong"], error.message);
  }
});

async function stopSharing() {
  if (ui.shared.hidden) return;
  ui.shared.hidden = true;
  await ask("stop-sharing");
}

ui["share-stop"].addEventListener("click", stopSharing);

whenChanged((_, why) => {
  if (why !== "opened") return;
  page = null;
  ui.share.hidden = true;
  ui.made.replaceChildren();
  ui["made-notes"].replaceChildren();
  wrong(ui["giving-wrong"], "");
  stopSharing();
});
