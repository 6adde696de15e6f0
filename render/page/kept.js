/* What the page keeps on this device because the student asked for it, and how all of it is deleted. Small things lie in
   the browser's storage beside the log; a take lies in IndexedDB, where there is room for sound. */
"use strict";

const TAKES = "fourlimb takes";

/** Do something with the store of takes; null where the browser gives a local page none. */
function withTakes(mode, act) {
  return new Promise((resolve) => {
    let opening;
    try {
      opening = indexedDB.open(TAKES, 1);
    } catch {
      resolve(null);
      return;
    }
    opening.onupgradeneeded = () => opening.result.createObjectStore(TAKES);
    opening.onerror = () => resolve(null);
    opening.onsuccess = () => {
      const exchange = opening.result.transaction(TAKES, mode);
      const request = act(exchange.objectStore(TAKES));
      exchange.oncomplete = () => {
        opening.result.close();
        resolve(request.result ?? true);
      };
      exchange.onerror = exchange.onabort = () => resolve(null);
    };
  });
}

/** Keep a take under the lesson's name, the one before is replaced. Whether it worked. */
async function keepTake(lesson, take) {
  return (await withTakes("readwrite", (store) => store.put(take, lesson.name))) !== null;
}

/** The take that is kept, or null. */
async function keptTake(lesson) {
  const found = await withTakes("readonly", (store) => store.get(lesson.name));
  return found && found.paper ? found : null;
}

/** Delete the kept take. */
function dropTake(lesson) {
  return withTakes("readwrite", (store) => store.delete(lesson.name));
}

/** Delete all that this page keeps: its log and choices, what it knows of this device, and the take. */
async function deleteAll(log) {
  log.clear();
  await dropTake(log.lesson);
}
