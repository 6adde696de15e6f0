/* The chart and the student's page of the lesson as it stands, which follow every change; the page's own player. */
import { ask, newestOf } from "./api.js";
import { make, ui, wrong } from "./dom.js";
import { closePage, handed, hushOld, showPage, shownPage } from "./frame.js";
import { lesson, whenChanged } from "./lesson.js";

const faults = { chart: "", page: "" };

/** What is wrong with chart or page; what is wrong with both is said once. */
function faulty(what, message) {
  faults[what] = message;
  wrong(ui["see-wrong"], [...new Set(Object.values(faults).filter(Boolean))].join(" "));
}

/** Draw the chart of a text. */
const drawChart = newestOf(async (name, text, since) => {
  try {
    const { chart } = await ask("chart", { name, text });
    const picture = make("img", { src: `/kept/${chart}`, alt: words() });
    await picture.decode();
    ui.chart.replaceChildren(picture);
    faulty("chart", "");
    followed("chart", since);
  } catch (error) {
    faulty("chart", error.message);
  }
});

let shown = null; // of the page that is shown, what a change may move

/** Make the page of a text, and show it. */
const makePage = newestOf(async (name, text, since) => {
  try {
    const page = await ask("page", { name, text });
    const now = page.body + page.frame;
    faulty("page", "");
    if (now === shown) return;
    shown = now;
    ui.hear.disabled = !(await showPage(page, () => followed("page", since)));
    follow();
    handed().then(show);
  } catch (error) {
    shown = null;
    faulty("page", error.message);
  }
});

function words() {
  const { title, bars } = lesson.view || { title: lesson.name, bars: [] };
  return `Chart of ${title}: ${bars.map((bar, number) => `bar ${number + 1}: ${bar.counts || bar.values}`).join("; ")}`;
}

/** How long a change took to be painted, for whoever measures it. */
function followed(what, since) {
  requestAnimationFrame(() => setTimeout(() => {
    document.body.dataset[what] = (performance.now() - since).toFixed(1);
    document.body.dataset[`${what}s`] = String(Number(document.body.dataset[`${what}s`] || 0) + 1);
  }));
}

// --- hearing ---

const playing = () => Boolean(shownPage()?.getElementById("play-word")?.textContent === "Stop");
const press = () => shownPage()?.getElementById("play")?.click();

/** Follow the page's own button. */
function follow() {
  const word = shownPage()?.getElementById("play-word");
  if (word) new MutationObserver(pressed).observe(word, { childList: true, characterData: true, subtree: true });
}

function pressed() {
  if (!playing()) hushOld();
  show();
}

function show() {
  ui.hear.classList.toggle("playing", playing());
  ui["hear-word"].textContent = playing() ? "Stop" : "Hear it";
}

ui.hear.addEventListener("click", () => {
  if (ui.hear.classList.contains("playing") && !playing()) { // from one page to the next
    hushOld();
    show();
    return;
  }
  shownPage()?.querySelectorAll("[name=step]").forEach((step) => {
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
  closePage();
  shown = null;
  faulty("chart", "");
  faulty("page", "");
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
