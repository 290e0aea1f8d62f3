// One address's answer while a section stands open: asked for anew now and then, and when the address changes.
import { useEffect, useState } from "./vendor/preact-hooks.js";
import { ask } from "./feed.js";

const REFRESH_MS = 300_000;

/** The answer of an address, or what is wrong; an empty address asks nothing. */
export function useAnswer(feed, path) {
  const [state, setState] = useState({ answer: null, fault: null });
  const [turn, setTurn] = useState(0);
  useEffect(() => {
    const timer = setInterval(() => document.hidden || setTurn((n) => n + 1), REFRESH_MS);
    return () => clearInterval(timer);
  }, []);
  useEffect(() => {
    if (!path) return undefined;
    const stop = new AbortController();
    ask(path, stop.signal).then((answer) => setState({ answer, fault: null }))
      .catch((error) => stop.signal.aborted || setState((before) => ({ ...before, fault: error.message })));
    return () => stop.abort();
  }, [path, turn]);
  return state;
}
