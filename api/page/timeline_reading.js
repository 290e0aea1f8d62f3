// Reading one moment off every track: a slider that the keyboard moves, and a table.
import { html } from "./html.js";
import { readAt } from "./summary.js";
import { Table } from "./table.js";
import { clockToSecond, dayAndClock, dayName, zoneName } from "./text.js";
import { named } from "./tracks.js";

const MINUTE_S = 60;
const UNDOUBTED = ["good", "not evaluated"];

/** A time with seconds only where stretches are shorter than a minute. */
const moment = (ms, everyS, zone) => (everyS < MINUTE_S ? `${dayName(ms, zone)}, ${clockToSecond(ms, zone)}` : dayAndClock(ms, zone));

function spoken(series, read) {
  if (!read) return `${named(series)}: no reading`;
  return `${named(series)}: ${read.text}${read.passed ? `, ${read.passed} its band` : read.limited && read.value !== null ? ", inside its band" : ""}`;
}

/** The newest reading of all that is shown: where reading begins. */
function newest(held, [start, end]) {
  const times = held.flatMap((one) => one.lines.map(({ columns }) => 1000 * columns.time.findLast((time, i) => columns.flag[i] !== null)));
  return Math.max(start, ...times.filter((ms) => ms < end));
}

export function Reading({ held, everyS, span, atMs, move, zone }) {
  const everyMs = everyS * 1000;
  const first = Math.floor(span[0] / everyMs);
  const steps = Math.max(1, Math.ceil(span[1] / everyMs) - first - 1);
  const step = Math.min(steps, Math.max(0, Math.floor((atMs ?? newest(held, span)) / everyMs) - first));
  const ms = (first + step) * everyMs;
  const lines = held.flatMap((one) => one.lines.map((line) => ({ series: line.series, read: readAt(line, one.bands, one.everyS, ms + everyMs - 1) })));
  const when = moment(ms, everyS, zone);
  const rows = lines.map(({ series, read }) => [
    named(series),
    read ? read.text : "no reading",
    read?.within || "–",
    read?.band ? html`<span class=${read.passed ? "outside" : ""}>${read.band}</span>` : "–",
    read ? html`<span class=${UNDOUBTED.includes(read.quality) ? "" : "outside"}>${read.quality}</span>, ${moment(read.at, everyS, zone)}` : "–",
  ]);
  return html`<div class="reader">
      <label for="cursor">Read a moment</label>
      <input id="cursor" type="range" min="0" max=${steps} step="1" value=${step}
        aria-valuetext=${`${when}. ${lines.map(({ series, read }) => spoken(series, read)).join(". ")}`}
        onInput=${(event) => move((first + Number(event.target.value)) * everyMs)} />
    </div>
    <div class="readout"><${Table} caption=${`At ${when} ${zoneName(ms, zone)} (${zone})`} numeric=${[1, 2]}
      heads=${["Series", "Value", "Lowest to highest", "Its band and light", "Quality, and of when"]} rows=${rows} /></div>`;
}
