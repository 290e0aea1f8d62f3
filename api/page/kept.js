// The last answers of the first screen, kept in this browser for when nothing answers; gone when somebody signs out.

const NAME = "leafweather-kept";
const EVERY_MS = 10_000;
const LONGEST = 1_000_000; // characters; browsers give a site some five million

let keptAt = -Infinity;

/** Keep answers of one farm for whoever is signed in; a browser that keeps nothing is no fault. */
export function keep(who, until, answers, offset) {
  if (Date.now() - keptAt < EVERY_MS) return;
  const text = JSON.stringify({ who, until, offset, answers });
  if (text.length > LONGEST) return;
  try {
    localStorage.setItem(NAME, text);
    keptAt = Date.now();
  } catch { /* full, or not allowed */ }
}

/** What was kept; null where nothing was, or whoever it was kept for would have to sign in again. */
export function kept() {
  let found;
  try { found = JSON.parse(localStorage.getItem(NAME)); } catch { return null; }
  if (!found?.answers?.farm) return null;
  if (found.until && Date.parse(found.until) < Date.now()) {
    forget();
    return null;
  }
  return found;
}

export function forget() {
  keptAt = -Infinity;
  try { localStorage.removeItem(NAME); } catch { /* nothing is kept then */ }
}
