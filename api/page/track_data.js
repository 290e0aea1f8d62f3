// What the tracks show: readings summed up over equal stretches, the limits that held, and what happened meanwhile.
import { asked } from "./asking.js";

const SETTLED_MS = 10 * 60_000; // what ended so long ago hardly changes
const BANDS_PATIENCE_MS = 100; // longer, and the readings are drawn before
const MOST_PAGES = 10; // of what happened: more of it nobody could tell apart
const COLUMNS = ["value", "low", "high", "flag", "count"];

/** Columns for drawing: a missing stretch longer than three cadences becomes a break in the line; so at the edges. */
export function withBreaks(answer, cadenceS, [firstS, lastS] = [Infinity, -Infinity]) {
  const xs = answer.time.map((time) => Date.parse(time) / 1000);
  const everyS = answer.every_s ?? 0;
  const usualS = usualStepS(xs, cadenceS, everyS);
  const longest = everyS + 3 * usualS;
  const columns = { time: [], low: [], high: [], value: [], flag: [], count: [], usualS, gaps: [], edges: [firstS, lastS] };
  const push = (x, i) => {
    columns.time.push(x);
    for (const name of COLUMNS) columns[name].push(i === null ? null : (answer[name] ?? answer.value)[i]);
  };
  xs.forEach((x, i) => {
    if (i && x - xs[i - 1] > longest) {
      columns.gaps.push([xs[i - 1] + Math.max(everyS, usualS), x]);
      push(xs[i - 1] + Math.max(everyS, 1), null);
    }
    push(x, i);
  });
  if (xs.length && xs[0] - firstS > longest) columns.gaps.unshift([firstS, xs[0]]);
  if (xs.length && lastS - xs.at(-1) > longest) columns.gaps.push([xs.at(-1) + Math.max(everyS, usualS), lastS]);
  return columns;
}

function usualStepS(xs, cadenceS, everyS) {
  if (cadenceS) return cadenceS;
  const steps = xs.slice(1).map((x, i) => x - xs[i]).sort((a, b) => a - b);
  return Math.max(everyS, steps[Math.floor(steps.length / 2)] ?? 0);
}

const range = (start, end) => `start=${new Date(start).toISOString()}&end=${new Date(end).toISOString()}`;

const later = (ms) => new Promise((tell) => setTimeout(tell, ms));

/** One track over a span: readings of its series, and the limits of the first; ``early`` is given it without slow limits. */
export async function readTrack(track, [start, end], everyS, nowMs, signal, early) {
  const everyMs = everyS * 1000;
  const span = range(Math.floor(start / everyMs) * everyMs, Math.ceil(end / everyMs) * everyMs);
  const keep = end < nowMs - SETTLED_MS;
  const path = (series, what) => `series/${encodeURI(series.key)}/${what}?${span}`;
  const readings = Promise.all(track.map((series) => asked(`${path(series, "readings")}&every=${everyS}s`, signal, keep)));
  // The limits of a year take longer than its readings: those of all tracks are asked for before.
  const limits = Promise.resolve().then(() => asked(path(track[0], "bands"), signal, keep));
  limits.catch(() => {}); // told below, unless the readings fail first
  const edges = (series) => [Math.max(start, series.first ? Date.parse(series.first) : end) / 1000, Math.min(end, nowMs) / 1000];
  const answers = await readings;
  const lines = track.map((series, i) => ({ series, columns: withBreaks(answers[i], series.cadence_s, edges(series)) }));
  const soon = await Promise.race([limits, later(BANDS_PATIENCE_MS)]);
  if (!soon) early({ everyS, lines, bands: [], awaited: true });
  const { bands } = await limits;
  return { everyS, lines, bands: bands.map((one) => ({ ...one, start: Date.parse(one.start), end: Date.parse(one.end) })), awaited: false };
}

/** Every page of what happened, the newest page last. */
async function listed(what, name, span, keep, signal) {
  let rows = [];
  let path = `${what}?${span}`;
  for (let page = 0; page < MOST_PAGES; page += 1) {
    const answer = await asked(path, signal, keep);
    rows = [...(what === "excursions" ? answer[name].toReversed() : answer[name]), ...rows];
    if (!answer.next) return rows;
    path = `${what}?${span}&before=${encodeURIComponent(answer.next)}`;
  }
  throw new Error(`there are more than ${rows.length} ${name}; choose a shorter stretch.`);
}

/** What happened over a span: excursions, doses, and what people wrote. */
export async function readMarks([start, end], nowMs, signal) {
  const span = range(start, end);
  const keep = end < nowMs - SETTLED_MS;
  const lists = [["excursions", "excursions"], ["doses", "doses"], ["log", "entries"]];
  const [excursions, doses, written] = await Promise.all(lists.map(([what, name]) => listed(what, name, span, keep, signal)));
  const ms = (one, names) => Object.fromEntries(names.map((name) => [name, one[name] && Date.parse(one[name])]));
  return {
    excursions: excursions.map((one) => ({ ...one, ...ms(one, ["onset", "end"]) })),
    doses: doses.map((one) => ({ ...one, ...ms(one, ["start", "end"]) })),
    written: written.map((one, i) => ({ ...one, ...ms(one, ["time"]), number: i + 1 })),
  };
}
export const NOTHING = { excursions: [], doses: [], written: [] };
