/* What the desk's own computer is asked, and what it says. */

/** Something that was refused, in the words of the command line. */
export class Refused extends Error {
  constructor(message, status, told) {
    super(message);
    Object.assign(this, { status, told });
  }
}

/** Ask for something by its name: a table goes, a table comes. */
export async function ask(name, body = {}) {
  return answerOf(await fetched(`/do/${name}`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) }));
}

/** Give a file's bytes. */
export async function give(address, file) {
  return answerOf(await fetched(address, { method: "POST", body: file }));
}

async function fetched(address, request) {
  try {
    return await fetch(address, { ...request, credentials: "same-origin" });
  } catch {
    throw new Refused("The desk does not answer: its window or its computer may have been closed. What you wrote is kept beside the lesson.", 0, {});
  }
}

async function answerOf(response) {
  const kind = response.headers.get("Content-Type") || "";
  const told = kind.includes("json") ? await response.json() : { error: (await response.text()).trim() };
  if (!response.ok) throw new Refused(told.error || `The desk answered ${response.status}.`, response.status, told);
  return told;
}

/** The newest of several wishes is done; those that a newer one overtakes while another is under way are left out. */
export function newestOf(act) {
  let waiting = null;
  let running = null;
  const run = async () => {
    while (waiting) {
      const wish = waiting;
      waiting = null;
      await act(...wish);
    }
    running = null;
  };
  return (...wish) => {
    waiting = wish;
    running = running || run();
    return running;
  };
}
