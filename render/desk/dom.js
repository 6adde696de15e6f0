/* Elements and words. */

export const ui = Object.fromEntries([...document.querySelectorAll("[id]")].map((element) => [element.id, element]));

/** An element with its properties and what stands in it. */
export function make(name, properties = {}, ...inside) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(properties)) {
    if (key.includes("-")) element.setAttribute(key, value);
    else element[key] = value;
  }
  element.append(...inside);
  return element;
}

/** Say something to those who listen, without a sign on the screen. */
export function say(words) {
  ui.said.textContent = "";
  setTimeout(() => (ui.said.textContent = words), 30);
}

/** What is wrong, at the place where it stands; nothing takes it away. */
export function wrong(place, message, control = null) {
  place.hidden = !message;
  place.textContent = message || "";
  if (!control) return;
  if (message) {
    if (!place.id) place.id = `wrong-${Math.random().toString(36).slice(2)}`;
    control.setAttribute("aria-invalid", "true");
    control.setAttribute("aria-describedby", place.id);
  } else {
    control.removeAttribute("aria-invalid");
    control.removeAttribute("aria-describedby");
  }
}

/** A place for what is wrong behind a control, made when it is first needed. */
export function wrongAt(control, message) {
  const row = control.closest("p, .written, .outs, .track") || control.parentElement;
  let place = row.nextElementSibling;
  if (!place || !place.classList.contains("wrong-here")) {
    if (!message) return;
    place = make("p", { className: "wrong wrong-here", role: "alert" });
    row.after(place);
  }
  wrong(place, message, control);
}

/** Ask a question that is answered before anything else: the word that was written, or null. */
export function question(title, { more = "", word = null, yes = "Yes" }) {
  ui["ask-title"].textContent = title;
  ui["ask-more"].textContent = more;
  ui["ask-row"].hidden = word === null;
  ui["ask-word"].required = word !== null;
  ui["ask-word"].value = word || "";
  ui["ask-yes"].textContent = yes;
  ui.ask.returnValue = "";
  ui.ask.showModal();
  if (word !== null) ui["ask-word"].select();
  return new Promise((resolve) => {
    ui.ask.addEventListener("close", () => resolve(ui.ask.returnValue === "yes" ? ui["ask-word"].value || "yes" : null), { once: true });
  });
}

/** Fill a list of choices: words, or pairs of value and words. */
export function fill(select, choices) {
  select.replaceChildren(...choices.map((one) => {
    const [value, words] = Array.isArray(one) ? one : [one, one];
    return make("option", { value, textContent: words });
  }));
}

/** What differs between two texts, line by line. */
export function differenceOf(lines) {
  const shown = lines.slice(2).map((line) => {
    const name = line.startsWith("+") ? "ins" : line.startsWith("-") ? "del" : "span";
    return make(name, { textContent: `${line}\n` });
  });
  return make("pre", { className: "difference", tabIndex: 0 }, ...shown);
}
