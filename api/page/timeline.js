// The timeline: tracks that share one axis of time and one cursor.
import { useEffect, useLayoutEffect, useMemo, useRef, useState } from "./vendor/preact-hooks.js";
import { forget } from "./asking.js";
import { placeCursor } from "./chart.js";
import { html } from "./html.js";
import { CROWDED, drawMarks, Happened } from "./marks.js";
import { between, moved, resized, spanOf, startingAt, upToNow } from "./span.js";
import { clock, number } from "./text.js";
import { spanText, Taking } from "./taking.js";
import { AddTrack } from "./timeline_add.js";
import { Range } from "./timeline_range.js";
import { Reading } from "./timeline_reading.js";
import { Track, useLook } from "./timeline_track.js";
import { raised, without } from "./tracks.js";
import { useTracks } from "./tracks_held.js";

const REFRESH_MS = 60_000;
const PATIENT_MS = 500; // what comes sooner needs no word on waiting
const FEWEST_POINTS = 300;
const MOST_POINTS = 1500;
const POINTS_A_PIXEL = 1.2;

const few = (several) => (several.length > CROWDED ? [] : several);

function Legend() {
  const shape = (inner) => html`<svg class="shape" viewBox="0 0 14 14" width="14" height="14" aria-hidden="true">${inner}</svg>`;
  return html`<p class="note key">
    <span><i class="swatch band" aria-hidden="true"></i> its band</span>
    <span><i class="swatch night" aria-hidden="true"></i> lights off</span>
    <span><i class="swatch spread" aria-hidden="true"></i> lowest to highest</span>
    <span class="outside">${shape(html`<path class="fill" d="M3 10 6 3 9 10Z" /><path class="fill" d="M5 10H14V13H3Z" />`)} excursion, from its onset</span>
    <span class="outside">${shape(html`<circle class="line" cx="7" cy="7" r="4" />`)} suspect</span>
    <span class="outside">${shape(html`<path class="line" d="M3 3 11 11M11 3 3 11" />`)} failed or missing</span>
    <span>${shape(html`<path class="line thin" d="M1 10 6 4M5 10 10 4M9 10 14 4" />`)} no readings</span>
    <span>${shape(html`<path class="fill" d="M2 3H12L7 12Z" />`)} dose</span>
    <span>${shape(html`<path class="line thin" stroke-dasharray="2 2" d="M7 0V14" />`)} entry</span></p>`;
}

const KEYS = "With the tracks in focus: left and right arrows move, with Shift by a whole width; plus and minus zoom; Home goes to "
  + "the first reading, End to the present; Escape goes back. Pull across the tracks to zoom in: with a finger, hold it still a moment first.";

/** Which key does what to the span shown; nothing for other keys. */
function byKey(event, span, nowMs, firstMs) {
  const far = event.shiftKey ? 1 : 0.25;
  const ms = span[1] - span[0];
  return {
    ArrowLeft: () => moved(span, -far, nowMs),
    ArrowRight: () => moved(span, far, nowMs),
    "+": () => resized(span, ms / 2, nowMs),
    "=": () => resized(span, ms / 2, nowMs),
    "-": () => resized(span, ms * 2, nowMs),
    Home: () => startingAt(span, firstMs ?? span[0], nowMs),
    End: () => upToNow(span),
  }[event.key];
}

export function Timeline({ feed, zone, view, change }) {
  const farm = feed.data("farm"); // with it comes the farm's own time
  const begun = farm && (feed.data("zones") || feed.failures > 0); // the first screen goes before
  const list = (begun && feed.data("series")?.series) || [];
  const known = useMemo(() => new Map(list.map((one) => [one.key, one])), [begun && feed.data("series")]);
  const { tracks } = view;
  const [tick, setTick] = useState(0);
  const [look, setLook] = useState(0);
  const [cursor, setCursor] = useState(null);
  const [slow, setSlow] = useState(false);
  const earlier = useRef([]);
  const charts = useRef({});
  const field = useRef(null);
  const lane = useRef(null);
  useLook(field, setLook);
  const span = useMemo(() => spanOf(view, Math.floor(feed.now() / 1000) * 1000), [view.from, view.to, view.last, view.from === null && tick, Boolean(begun)]);
  const points = Math.min(MOST_POINTS, Math.max(FEWEST_POINTS, POINTS_A_PIXEL * innerWidth));
  const { found, marks, marking, every } = useTracks(tracks, known, span, points, feed, tick);
  const states = tracks.map((one) => found[one.join()] ?? { waits: true });

  useEffect(() => {
    const timer = setInterval(() => document.hidden || setTick((n) => n + 1), REFRESH_MS);
    return () => { clearInterval(timer); forget(); };
  }, []);

  const go = (next) => {
    if (["from", "to", "last"].every((name) => next[name] === view[name])) return;
    earlier.current = [...earlier.current.slice(-49), { from: view.from, to: view.to, last: view.last }];
    setCursor(null);
    change(next);
  };
  const back = () => {
    setCursor(null);
    change(earlier.current.pop());
  };
  const keys = (event) => {
    if (event.target !== field.current || event.ctrlKey || event.metaKey || event.altKey) return;
    const firsts = tracks.flat().map((key) => known.get(key)?.first).filter(Boolean).map((one) => Date.parse(one));
    const does = event.key === "Escape" ? earlier.current.length && (() => null) : byKey(event, span, feed.now(), firsts.length ? Math.min(...firsts) : null);
    if (!does) return;
    event.preventDefault();
    if (event.key === "Escape") back();
    else go(does());
  };
  const move = (ms) => {
    setCursor(ms);
    for (const chart of Object.values(charts.current)) if (chart?.setCursor) placeCursor(chart, ms);
  };

  const naming = (key) => (known.has(key) ? `${known.get(key).zone_label}, ${known.get(key).label}` : key);
  const shownKeys = new Set(tracks.flat());
  const relevant = useMemo(() => ({ ...marks, excursions: marks.excursions.filter((one) => shownKeys.has(one.series)) }), [marks, [...shownKeys].join()]);
  const drawn = useMemo(() => ({ ...marks, written: few(marks.written), doses: few(marks.doses) }), [marks]);
  const held = tracks.map((one, i) => ({ id: one.join(), ...states[i].shown })).filter((one) => one.lines);
  const whole = held.length === tracks.filter((one) => one.every((key) => known.has(key))).length && held.every((one) => one.everyS === every && !one.awaited);
  useLayoutEffect(() => {
    charts.current.marks = lane.current;
    const plot = field.current?.querySelector(".plot");
    if (lane.current && plot) drawMarks(lane.current, plot.clientWidth, marks, span);
  }, [marks, span[0], span[1], look, states.length, held.length]);

  const lowest = tracks.findLastIndex((one) => one.every((key) => known.has(key))); // it carries the times
  const waiting = states.filter((one, i) => one.waits && tracks[i].every((key) => known.has(key))).length;
  useEffect(() => {
    const timer = setTimeout(() => setSlow(waiting > 0), waiting ? PATIENT_MS : 0);
    return () => clearTimeout(timer);
  }, [waiting > 0]);
  const oldest = Math.min(...states.filter((one) => one.at).map((one) => one.at));
  const failed = states.some((one) => one.fault) || marking.fault;

  const unfit = waiting > 0 || marking.waits ? "Not saved: this stretch is still being read. Save it again in a moment."
    : failed ? "Not saved: not all of this stretch could be read." : "";

  return html`<section id="timeline" aria-labelledby="timeline-title" class="full">
    <div class="head"><h2 id="timeline-title" tabindex="-1">Timeline</h2><${Legend} /></div>
    <div class="body">
      <${Range} ...${{ span, view, zone, go, now: () => feed.now() }} back=${earlier.current.length > 0 && back} />
      <p class="spanned"><strong>${spanText(span, zone)}</strong> <span class="note">${zone}</span>
        <span role="status" class="note">${slow && waiting ? ` Reading ${number(waiting, 0)} of ${number(tracks.length, 0)} tracks …` : ""}</span></p>
      ${failed && html`<p class="warning" role="alert">${marking.fault && `What happened meanwhile is not known: ${marking.fault} `}${
        Number.isFinite(oldest) ? `What is drawn was read at ${clock(oldest + feed.offset, zone)} or later.` : "Nothing has been read yet."}
        ${" "}<button type="button" class="plain" onClick=${() => setTick((n) => n + 1)}>Ask again</button></p>`}
      ${!list.length && html`<p class="note">${feed.data("series") ? "No series is described or has arrived yet. What arrives under an unknown name stands further down." : "Asking which series there are …"}</p>`}
      <div class="tracks" ref=${field} tabindex=${list.length ? 0 : undefined} role="group" aria-label="Tracks on one axis of time" aria-busy=${waiting > 0 || marking.waits} aria-describedby="timeline-keys" onKeyDown=${keys}>
        <div class="lane" aria-hidden="true"><canvas ref=${lane}></canvas></div>
        ${list.length > 0 && tracks.map((track, i) => {
          const id = track.join();
          const lost = track.find((key) => !known.has(key));
          if (lost) {
            return html`<p key=${id} class="note">There is no series ${lost}. ${tracks.length > 1 && html`<button type="button" class="plain" onClick=${() => change({ tracks: without(tracks, track) })}>Remove</button>`}</p>`;
          }
          return html`<${Track} key=${id} id=${id} found=${states[i]} members=${track.map((key) => known.get(key))} only=${tracks.length === 1} top=${i === 0}
            ...${{ span, zone, look, charts, slow, cursor }} marks=${drawn} nowMs=${feed.now()} labelled=${i === lowest}
            act=${{ up: () => change({ tracks: raised(tracks, track) }), remove: () => change({ tracks: without(tracks, track) }) }}
            onCursor=${setCursor} onBrush=${(from, to) => go(between(from, to))} />`;
        })}
      </div>
      ${held.length > 0 && html`<${Reading} held=${held} everyS=${every} span=${span} atMs=${cursor} move=${move} zone=${zone} />`}
      <p class="note" id="timeline-keys">${KEYS}</p>
      <${AddTrack} ...${{ list, known, tracks }} put=${(next) => change({ tracks: next })} />
      <${Taking} ...${{ farm, view, span, zone, charts, naming, unfit }} held=${whole ? held : []} marks=${relevant} />
      <${Happened} marks=${relevant} zone=${zone} named=${naming} />
    </div>
  </section>`;
}
