/* The chart and the student's page of the lesson as it stands, which follow every change; the page's own player. */
import { ask, newestOf } from "./api.js";
import { make, ui, wrong } from "./dom.js";
import { lesson, whenChanged } from "./lesson.js";

let frame = null; // the page that is shown
let seen = { chart: null, page: null };
let playAgain = false;

/** Draw the chart of a text. */
const drawChart = newestOf(async (name, text, since) => {
  try {
    const { chart } = await ask("chart", { name, text });
    const picture = make("img", { src: `/kept/${chart}`, alt: words() });
    await picture.decode();
    ui.chart.replaceChildren(picture);
    wrong(ui["see-wrong"], "");
    followed("chart", since);
  } catch (error) {
    wrong(ui["see-wrong"], error.message);
  }
});

/** Make the page of a text, and show it once it can be played. */
const makePage = newestOf(async (name, text, since) => {
  try {
    const { page } = await ask("page", { name, text });
    if (seen.page === page) return;
    await opened(page, since);
    seen.page = page;
  } catch (error) {
    wrong(ui["see-wrong"], error.message);
  }
});

function words() {
  const { title, bars } = lesson.view || { title: lesson.name, bars: [] };
  return `Chart of ${title}: ${bars.map((bar, number) => `bar ${number + 1}: ${bar.counts || bar.values}`).join("; ")}`;
}

/** How long a change took to be seen, for whoever measures it. */
function followed(what, since) {
  const took = performance.now() - since;
  document.body.dataset[what] = took.toFixed(1);
  document.body.dataset[`${what}s`] = String(Number(document.body.dataset[`${what}s`] || 0) + 1);
}

function opened(page, since) {
  const next = make("iframe", { className: "next", title: "The student's page", src: `/kept/${page}` });
  ui.page.append(next);
  return new Promise((resolve) => {
    next.addEventListener("load", () => {
      const was = playing();
      const scrolled = frame?.contentWindow?.scrollY || 0;
      if (was) press();
      if (frame) frame.remove();
      next.className = "";
      frame = next;
      frame.contentWindow.scrollTo(0, scrolled);
      forgetLogs();
      followed("page", since);
      watch(was || playAgain);
      resolve();
    }, { once: true });
  });
}

/** The page that is only looked at keeps no log on this computer. */
function forgetLogs() {
  for (const key of Object.keys(localStorage)) if (key.startsWith("fourlimb")) localStorage.removeItem(key);
}

// --- hearing ---

const player = () => frame?.contentDocument;
const playing = () => Boolean(player()?.getElementById("play-word")?.textContent === "Stop");
const press = () => player()?.getElementById("play")?.click();

/** Follow the page's own button, and go on playing where an older page played. */
function watch(goOn) {
  playAgain = false;
  const { body } = player();
  const ready = () => {
    if (!body.classList.contains("ready")) return;
    ui.hear.disabled = false;
    waits.disconnect();
    if (goOn) press();
    show();
  };
  const waits = new MutationObserver(ready);
  waits.observe(body, { attributes: true });
  ready();
  new MutationObserver(show).observe(player().getElementById("play-word"), { childList: true, characterData: true, subtree: true });
}

function show() {
  ui.hear.classList.toggle("playing", playing());
  ui["hear-word"].textContent = playing() ? "Stop" : "Hear it";
}

ui.hear.addEventListener("click", () => {
  player()?.querySelectorAll("[name=step]").forEach((step) => {
    if (!playing() && step.parentElement.textContent.includes("feet") && !step.checked) step.click();
  });
  press();
  show();
});

// --- what is shown ---

function choose(page) {
  ui.chart.hidden = page;
  ui.page.hidden = !page;
  ui["see-page"].setAttribute("aria-pressed", String(page));
  ui["see-chart"].setAttribute("aria-pressed", String(!page));
}

ui["see-chart"].addEventListener("click", () => choose(false));
ui["see-page"].addEventListener("click", () => choose(true));

/** Nothing is to be seen or heard any more. */
export function closeSight() {
  if (playing()) press();
  if (frame) frame.remove();
  frame = null;
  seen = { chart: null, page: null };
  ui.chart.replaceChildren();
  ui.hear.disabled = true;
  show();
}

whenChanged((_, why) => {
  if (why === "opened") closeSight();
  if (!lesson.view || !["opened", "changed"].includes(why)) return;
  const wish = [lesson.name, lesson.text, lesson.asked];
  const [first, second] = ui.page.hidden ? [drawChart, makePage] : [makePage, drawChart];
  first(...wish).then(() => lesson.text === wish[1] && second(...wish)); // what is in sight has the processors to itself
});
