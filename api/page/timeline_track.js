// One track on the page: its name and unit, what it says in words, and its chart.
import { useEffect, useLayoutEffect, useMemo, useRef } from "./vendor/preact-hooks.js";
import { drawChart } from "./chart.js";
import { html } from "./html.js";
import { sentences } from "./summary.js";
import { dayAndClock, lasting } from "./text.js";
import { named, unitOf } from "./tracks.js";
import { Workings } from "./workings.js";

const DASHES = [undefined, "7 4", "2 3"];

function Plot({ id, shown, marks, span, zone, nowMs, labelled, look, charts, cursor, onCursor, onBrush }) {
  const node = useRef(null);
  const does = useRef({});
  does.current = { onCursor, onBrush };
  useLayoutEffect(() => {
    const keys = shown.lines.map(({ series }) => series.key);
    const zones = new Set(shown.lines.map(({ series }) => series.zone));
    const chart = drawChart(node.current, {
      ...shown, span, zone, nowMs, labelled, cursor, shared: "timeline",
      excursions: marks.excursions.filter((one) => keys.includes(one.series)),
      doses: marks.doses.filter((one) => zones.has(one.zone)),
      written: marks.written,
      onCursor: (ms) => does.current.onCursor(ms),
      onBrush: (from, to) => does.current.onBrush(from, to),
    });
    charts.current[id] = chart;
    return () => { delete charts.current[id]; chart.destroy(); };
  }, [shown, marks, span[0], span[1], zone, labelled, look]);
  return html`<div class="plot" ref=${node} aria-hidden="true"></div>`;
}

/** A line as it is drawn, where a track has several. */
const Sample = ({ n }) => html`<svg class=${`sample line-${n}`} viewBox="0 0 28 8" width="28" height="8" aria-hidden="true"><line x1="0" y1="4" x2="28" y2="4" stroke-dasharray=${DASHES[n]} /></svg>`;

/** When a series began, where that lies within the span. */
export const beginning = (series, span, zone) => {
  const first = series.first ? Date.parse(series.first) : NaN;
  return first > span[0] && first < span[1] ? dayAndClock(first, zone) : null;
};

/** What is silent is said to be, whatever the chart may look like. */
function silence(series, span, nowMs, zone) {
  if (!series.last) return "Nothing has come yet.";
  const last = Date.parse(series.last);
  if (!series.silent || last > span[1]) return null;
  return `Silent for ${lasting((nowMs - last) / 1000)}, since ${dayAndClock(last, zone)}.`;
}

const heading = (told) => (new Set(told.map((one) => one.label)).size === 1
  ? `${told[0].label}: ${told.map((one) => one.zone_label).join(", ")}` : told.map(named).join("; "));

export function Track({ id, found, members, only, top, slow, span, zone, nowMs, act, ...plot }) {
  const { shown, fault, waits } = found;
  const told = shown?.lines.map(({ series }) => series) ?? members;
  const title = told.map(named).join("; ");
  // The cursor moves often, and a year has many points.
  const words = useMemo(() => shown?.lines.map((line) => sentences(line, shown.bands, shown.everyS, { begins: beginning(line.series, span, zone), awaited: shown.awaited }).join(" ")),
    [shown, span[0], span[1], zone]);
  const joined = told.length > 1;
  return html`<figure class=${`track${waits && shown && slow ? " waits" : ""}${joined ? " joined" : ""}`} aria-busy=${Boolean(waits)}>
    <figcaption>
      <h3>${joined ? heading(told) : title} <span class="unit">[${unitOf(told[0])}]</span></h3>
      ${fault && html`<p class="warning">Not read: ${fault}${shown && " What is drawn is older."}</p>`}
      ${!shown && !fault && html`<p class="note">Reading …</p>`}
      ${shown?.lines.map((line, n) => html`<p class="says">${joined && html`<${Sample} n=${n} /> <strong>${named(line.series)}.</strong> `}${words[n]}${
        silence(line.series, span, nowMs, zone) && html` <strong class="outside">${silence(line.series, span, nowMs, zone)}</strong>`}</p>`)}
      ${joined && shown?.bands.some((one) => one.low !== null || one.high !== null) && html`<p class="note">Shaded: the band of ${named(told[0])}.</p>`}
      <${Workings} of=${told.filter((one) => one.origin === "derived")} about=${title} />
      <p class="acts">
        ${!top && html`<button type="button" class="plain" aria-label=${`Move up: ${title}`} onClick=${act.up}>Up</button>`}
        ${!only && html`<button type="button" class="plain" aria-label=${`Remove: ${title}`} onClick=${act.remove}>Remove</button>`}
      </p>
    </figcaption>
    ${shown ? html`<${Plot} ...${{ ...plot, id, shown, span, zone, nowMs }} />` : html`<div class="plot empty" aria-hidden="true"></div>`}
  </figure>`;
}

/** A number that grows when colours or room change, so that charts are drawn anew. */
export function useLook(node, setLook) {
  useEffect(() => {
    const dark = matchMedia("(prefers-color-scheme: dark)");
    const again = () => setLook((n) => n + 1);
    let width = node.current?.clientWidth;
    const watcher = new ResizeObserver(() => {
      if (node.current && node.current.clientWidth !== width) {
        width = node.current.clientWidth;
        again();
      }
    });
    if (node.current) watcher.observe(node.current);
    dark.addEventListener("change", again);
    return () => { dark.removeEventListener("change", again); watcher.disconnect(); };
  }, []);
}
