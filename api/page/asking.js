// Asking for much at once on a thin link: a few questions at a time, first come first served, and none twice within minutes.
import { ask } from "./feed.js";

const AT_ONCE = 4; // a browser opens six connections to a server: some stay free for what the first screen asks
const KEPT = 120;
const KEPT_MS = 5 * 60_000; // late readings may change what was told

const waiting = [];
const kept = new Map(); // path -> { answer, at }
let running = 0;

function next() {
  while (running < AT_ONCE && waiting.length) {
    const { path, signal, tell, fail, keep } = waiting.shift();
    if (signal.aborted) {
      fail(signal.reason);
      continue;
    }
    running += 1;
    ask(path, signal).then((answer) => {
      if (keep) kept.set(path, { answer, at: Date.now() });
      if (kept.size > KEPT) kept.delete(kept.keys().next().value);
      tell(answer);
    }, fail).finally(() => { running -= 1; next(); });
  }
}

/** What an address answers; with keep it is not asked again for some minutes. */
export function asked(path, signal, keep = false) {
  const known = kept.get(path);
  if (known && Date.now() - known.at < KEPT_MS) return Promise.resolve(known.answer);
  return new Promise((tell, fail) => {
    waiting.push({ path, signal, tell, fail, keep });
    next();
  });
}

/** Nothing of it may stay for who signs in next. */
export const forget = () => kept.clear();

/** Why there is no answer, in words. */
export const why = (error) => (error.name === "TimeoutError" ? "No answer came within 15 s."
  : error instanceof TypeError ? "The server cannot be reached." : error.message);
