// How well the alarms do: the figures of ISA-18.2 over thirty days, asked for when somebody looks.
import { useState } from "./vendor/preact-hooks.js";
import { ask } from "./feed.js";
import { html } from "./html.js";
import { Table } from "./table.js";
import { capital, number } from "./text.js";

const DAYS = 30;
const NBSP = "\u00a0";
const percent = (part, decimals = 0) => `${number(100 * part, decimals)}${NBSP}%`;

function Often({ title, heads, rows }) {
  return rows.length ? html`<${Table} caption=${title} heads=${heads} rows=${rows} numeric=${[1, 2]} />` : html`<p>${title}: none.</p>`;
}

function Figures({ found }) {
  const { benchmarks: usual } = found;
  const shares = Object.entries(found.by_priority).map(([name, count]) => `${name} ${count}`).sort();
  return html`
    <p>${found.alarms} alarms in ${DAYS} days; ${found.suppressed} more were suppressed by design.</p>
    <${Table} caption="ISA-18.2's figures, and its benchmarks for one person at a plant's desk"
      heads=${["What", "Found", "Benchmark"]} numeric=${[1]} rows=${[
        ["Alarms a day", number(found.per_day), `acceptable up to ${usual.acceptable_per_day}, the most that can be managed ${usual.manageable_per_day}`],
        ["Most in an hour", found.most_in_an_hour, `acceptable up to ${usual.acceptable_per_hour} on average`],
        ["Most in ten minutes", found.most_in_ten_minutes, "more than 10 begin a flood"],
        ["Time in flood", percent(found.time_in_flood, 2), `at most ${percent(usual.most_time_in_flood)}; ${found.floods.length} floods`],
        ["By priority", shares.join(", ") || "none", `highest ${percent(usual.share_highest)}, high ${percent(usual.share_high)}, the rest ${percent(usual.share_rest)}`],
      ]} />
    <${Often} title="Most frequent" heads=${["Which", "Times", "Share"]} rows=${found.most_frequent.map((one) => [capital(one.text), one.times, percent(one.share)])} />
    <${Often} title="Chattering" heads=${["Which", "Times"]} rows=${found.chattering.map((one) => [capital(one.text), one.times])} />
    <${Often} title="Standing now, for more than a day" heads=${["Which", "For"]} rows=${found.stale.map((one) => [capital(one.text), `${number(one.hours, 0)}${NBSP}h`])} />
    <p class="note">A small farm should lie far below the benchmarks. An alarm that is frequent, and that nobody acts on, wants another limit, a longer delay, or to be off.</p>`;
}

/** The figures under a heading that opens; asked anew each time it is opened. */
export function Performance() {
  const [answer, setAnswer] = useState(null);
  const opened = (event) => {
    if (!event.target.open) return;
    ask(`alarms/performance?start=-${DAYS}d`).then((found) => setAnswer({ found })).catch((error) => setAnswer({ fault: error.message }));
  };
  return html`<details class="long" onToggle=${opened}><summary>How well the alarms do, over ${DAYS} days</summary>
    ${!answer && html`<p class="note">Not known yet.</p>`}
    ${answer?.fault && html`<p class="warning" role="alert">${answer.fault}</p>`}
    ${answer?.found && html`<${Figures} found=${answer.found} />`}
  </details>`;
}
