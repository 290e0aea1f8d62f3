// The timeline: choose a series and a range, read it by eye, by cursor or as a sentence.
import { useEffect, useRef, useState } from "./vendor/preact-hooks.js";
import { drawChart, withBreaks } from "./chart.js";
import { ask } from "./feed.js";
import { html } from "./html.js";
import { dayAndClock, FLAGS, lasting, limits, number, stateWord, withUnit } from "./text.js";
import { range, RANGES } from "./view.js";

const REFRESH_MS = 60_000;

async function load(view, series, nowMs, signal) {
  const { hours, every } = range(view.range);
  const end = view.end ?? nowMs;
  const start = end - hours * 3_600_000;
  const span = `start=${new Date(start).toISOString()}&end=${new Date(end).toISOString()}`;
  const key = encodeURI(series.key);
  const [readings, bands, found] = await Promise.all([
    ask(`series/${key}/readings?${span}&every=${every}`, signal),
    ask(`series/${key}/bands?${span}`, signal),
    ask(`excursions?${span}&series=${encodeURIComponent(series.key)}`, signal),
  ]);
  const stretches = bands.bands.map((one) => ({ ...one, start: Date.parse(one.start), end: Date.parse(one.end) }));
  return { series, columns: withBreaks(readings, series.cadence_s), bands: stretches, excursions: found.excursions, span: [start, end], everyS: readings.every_s };
}

// The stretches follow one another without a gap; a point may begin a little before the first of them.
const NO_BAND = { low: null, high: null, lit: null };
const bandAt = (bands, ms) => bands.find((one) => ms < one.end) ?? bands.at(-1) ?? NO_BAND;
const passes = (band, value) =>
  band.high !== null && value > band.high ? "above" : band.low !== null && value < band.low ? "below" : null;

/** The stretch in a sentence: what the chart shows, for those who do not see it. */
function summary({ series, columns, bands, everyS }) {
  let count = 0, sum = 0, low = Infinity, high = -Infinity, inside = 0, outside = 0, points = 0;
  const usual = Math.max(everyS, series.cadence_s ?? everyS);
  columns.value.forEach((value, i) => {
    if (value === null) return;
    points += 1;
    count += columns.count[i];
    sum += value * columns.count[i];
    low = Math.min(low, columns.low[i]);
    high = Math.max(high, columns.high[i]);
    const band = bandAt(bands, columns.time[i] * 1000);
    if (band.low === null && band.high === null) return;
    // Where the limits change within a stretch, its mean belongs to neither.
    if (bandAt(bands, (columns.time[i] + everyS) * 1000 - 1) !== band) return;
    // A point speaks for the time until the next one, but not for a gap.
    const next = columns.value[i + 1] ?? null;
    const lasts = next === null ? usual : Math.min(columns.time[i + 1] - columns.time[i], 3 * usual);
    if (passes(band, value)) outside += lasts;
    else inside += lasts;
  });
  if (!points) return "No readings in this range.";
  if (series.kind === "state") return `${Math.round((100 * sum) / count)} % of the readings say ${stateWord(series.quantity, 1)}.`;
  const numbers = `lowest ${withUnit(low, series)}, mean ${withUnit(sum / count, series)}, highest ${withUnit(high, series)}`;
  const limited = inside + outside;
  if (!limited) return `${numbers}. No limits are set for it in this range.`;
  const hours = (seconds) => number(seconds / 3600, 1);
  if (!outside) return `${numbers}. Inside its band in all of ${hours(limited)} h with readings and limits.`;
  return `${numbers}. Outside its band for about ${hours(outside)} of ${hours(limited)} h with readings and limits.`;
}

function readout({ series, columns, bands, everyS }, i, zone) {
  const value = columns.value[i];
  const ms = columns.time[i] * 1000;
  const when = dayAndClock(ms, zone);
  if (value === null || value === undefined) return `${when}: no usable reading`;
  if (series.kind === "state") return `${when}: ${series.label} ${stateWord(series.quantity, value)}`;
  const band = bandAt(bands, ms);
  const passed = passes(band, value);
  const range = limits({ ...series, ...band });
  const several = columns.count[i] > 1 ? ` (${number(columns.low[i], series.decimals)} to ${number(columns.high[i], series.decimals)} within ${lasting(everyS)})` : "";
  const parts = [`${when}: ${withUnit(value, series)}${several}`];
  if (range) parts.push(passed ? `${passed} its band, ${range}` : `inside its band, ${range}`);
  if (band.lit !== null) parts.push(band.lit ? "lights on" : "lights off");
  if (columns.flag[i] > 2) parts.push(`quality ${FLAGS[columns.flag[i]]}`);
  return parts.join(" · ");
}

function Plot({ shown, zone, nowMs }) {
  const node = useRef(null);
  const chart = useRef(null);
  const [cursor, setCursor] = useState(null);
  const [scheme, setScheme] = useState(0);
  const points = shown.columns.time.length;

  useEffect(() => {
    const dark = matchMedia("(prefers-color-scheme: dark)");
    const again = () => setScheme((n) => n + 1);
    dark.addEventListener("change", again);
    let width = node.current.clientWidth;
    const watcher = new ResizeObserver(() => {
      if (node.current && node.current.clientWidth !== width) {
        width = node.current.clientWidth;
        again();
      }
    });
    watcher.observe(node.current);
    return () => { dark.removeEventListener("change", again); watcher.disconnect(); };
  }, []);

  useEffect(() => {
    setCursor(null);
    chart.current = drawChart(node.current, { ...shown, zone, nowMs, onCursor: (i) => i !== null && i !== undefined && setCursor(i) });
    return () => chart.current.destroy();
  }, [shown, zone, scheme]);

  const at = cursor !== null && cursor < points ? cursor : points - 1;
  const move = (i) => {
    const u = chart.current;
    setCursor(i);
    u.setCursor({ left: u.valToPos(shown.columns.time[i], "x"), top: 10 }, false);
  };
  const text = points ? readout(shown, at, zone) : "";
  return html`<div class="plot" ref=${node} aria-hidden="true"></div>
    ${points > 0 && html`<div class="reader">
      <label for="cursor">Read a moment</label>
      <input id="cursor" type="range" min="0" max=${points - 1} step="1" value=${at} aria-valuetext=${text}
        onInput=${(event) => move(Number(event.target.value))} />
      <p class="readout" aria-hidden="true">${text}</p>
    </div>`}`;
}

function Picker({ list, view, change }) {
  const groups = Map.groupBy ? Map.groupBy(list, (one) => one.zone_label) : grouped(list);
  return html`<label class="field">Series
    <select value=${view.series} onChange=${(event) => change({ series: event.target.value })}>
      ${[...groups].map(([label, rows]) => html`<optgroup label=${label}>${rows.map((one) =>
        html`<option value=${one.key}>${one.zone_label}: ${one.label}${one.display_unit ? `, ${one.display_unit}` : ""}</option>`)}</optgroup>`)}
    </select></label>`;
}

function grouped(list) {
  const groups = new Map();
  for (const one of list) groups.set(one.zone_label, [...(groups.get(one.zone_label) ?? []), one]);
  return groups;
}

export function Timeline({ feed, zone, view, change }) {
  const list = feed.data("series")?.series ?? [];
  const series = list.find((one) => one.key === view.series) ?? null;
  const [shown, setShown] = useState(null);
  const [fault, setFault] = useState(null);
  const [minute, setMinute] = useState(0);

  useEffect(() => {
    const timer = setInterval(() => document.hidden || setMinute((n) => n + 1), REFRESH_MS);
    return () => clearInterval(timer);
  }, []);

  useEffect(() => {
    if (!series) return undefined;
    const stop = new AbortController();
    load(view, series, feed.now(), stop.signal)
      .then((found) => { setShown(found); setFault(null); })
      .catch((error) => stop.signal.aborted || setFault(error.message));
    return () => stop.abort();
  }, [series?.key, view.range, view.end, view.end ? 0 : minute]);

  const hours = range(view.range).hours;
  const pan = (direction) => {
    const end = (view.end ?? feed.now()) + direction * hours * 1_800_000;
    change({ end: end >= feed.now() - 60_000 ? null : end });
  };
  return html`<section id="timeline" aria-labelledby="timeline-title" class="full">
    <div class="head"><h2 id="timeline-title" tabindex="-1">Timeline</h2>
      <p class="note key">
        <span><i class="swatch band" aria-hidden="true"></i> its band</span>
        <span><i class="swatch night" aria-hidden="true"></i> lights off</span>
        <span><i class="swatch out" aria-hidden="true"></i> excursion, from the triangle on</span></p></div>
    <div class="body">
      <div class="controls">
        <${Picker} ...${{ list, view, change }} />
        <fieldset class="ranges"><legend>Range</legend>${RANGES.map((one) => html`<label>
          <input type="radio" name="range" value=${one.name} checked=${view.range === one.name} onChange=${() => change({ range: one.name })} />
          <span>${one.label}</span></label>`)}</fieldset>
        <div class="pan" role="group" aria-label="Move in time">
          <button type="button" onClick=${() => pan(-1)}>Earlier</button>
          <button type="button" disabled=${!view.end} onClick=${() => pan(1)}>Later</button>
          <button type="button" disabled=${!view.end} onClick=${() => change({ end: null })}>To now</button>
        </div>
      </div>
      ${fault && html`<p class="warning" role="alert">${fault}</p>`}
      ${!series && html`<p class="note">${list.length && view.series ? `There is no series ${view.series}.` : "Choose a series."}</p>`}
      ${series && shown && html`<figure>
        <figcaption><strong>${shown.series.zone_label}, ${shown.series.label}</strong>, ${dayAndClock(shown.span[0], zone)} to ${dayAndClock(shown.span[1], zone)}: ${summary(shown)}</figcaption>
        <${Plot} shown=${shown} zone=${zone} nowMs=${feed.now()} />
      </figure>`}
      ${series && !shown && !fault && html`<p class="note">Reading …</p>`}
    </div>
  </section>`;
}
