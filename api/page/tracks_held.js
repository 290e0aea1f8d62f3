// What is held of each track: what was read last, what is being read, and what went wrong.
import { useEffect, useState } from "./vendor/preact-hooks.js";
import { why } from "./asking.js";
import { everyS } from "./span.js";
import { NOTHING, readMarks, readTrack } from "./track_data.js";

/** Reads every track and the marks of a span; what came before stays until then, and says so. */
export function useTracks(tracks, known, span, points, feed, tick) {
  const [found, setFound] = useState({});
  const [marks, setMarks] = useState(NOTHING);
  const [marking, setMarking] = useState({ fault: null, waits: false });
  const every = everyS(span[1] - span[0], points);
  const ids = tracks.map((one) => one.join());
  const ready = ids.map((id, i) => tracks[i].every((key) => known.has(key)) && id).filter(Boolean);
  useEffect(() => {
    if (!ready.length) return undefined;
    const stop = new AbortController();
    const still = (does) => stop.signal.aborted || does();
    const put = (id, part) => still(() => setFound((all) => ({ ...all, [id]: { ...all[id], ...part } })));
    /** Without its limits only where that shows more than before. */
    const early = (id) => (shown) => still(() => setFound((all) => (all[id]?.shown?.everyS === every ? all
      : { ...all, [id]: { ...all[id], shown, fault: null, at: Date.now() } })));
    const nowMs = feed.now();
    ready.forEach((id) => {
      put(id, { waits: true });
      readTrack(id.split(",").map((key) => known.get(key)), span, every, nowMs, stop.signal, early(id))
        .then((shown) => put(id, { shown, fault: null, waits: false, at: Date.now() }), (error) => put(id, { fault: why(error), waits: false }));
    });
    setMarking((before) => ({ ...before, waits: true }));
    readMarks(span, nowMs, stop.signal).then(
      (all) => still(() => { setMarks(all); setMarking({ fault: null, waits: false }); }),
      (error) => still(() => setMarking({ fault: why(error), waits: false })));
    return () => stop.abort();
  }, [ready.join(" "), span[0], span[1], every, tick]);
  return { found, marks, marking, every };
}
