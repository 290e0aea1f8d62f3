// One address's answer while a section stands open: asked for anew now and then, and when the address changes.
import { useEffect, useState } from "./vendor/preact-hooks.js";
import { ask } from "./feed.js";
import { lasting } from "./text.js";

const REFRESH_MS = 300_000;

const NOTHING = { path: "", answer: null, fault: null, readMs: 0 };

/** The answer of an address and of no other, or what is wrong and how old the answer is; an empty address asks nothing. */
export function useAnswer(feed, path) {
  const [state, setState] = useState(NOTHING);
  const [turn, setTurn] = useState(0);
  useEffect(() => {
    const timer = setInterval(() => document.hidden || setTurn((n) => n + 1), REFRESH_MS);
    return () => clearInterval(timer);
  }, []);
  useEffect(() => {
    if (!path) return undefined;
    const stop = new AbortController();
    ask(path, stop.signal).then((answer) => setState({ path, answer, fault: null, readMs: Date.now() }))
      .catch((error) => stop.signal.aborted || setState((before) => ({ ...(before.path === path ? before : NOTHING), path, fault: error.message })));
    return () => stop.abort();
  }, [path, turn]);
  if (state.path !== path) return NOTHING;
  const old = state.fault && state.answer ? ` What stands here was read ${lasting((Date.now() - state.readMs) / 1000)} ago.` : "";
  return { answer: state.answer, fault: state.fault && state.fault + old };
}
