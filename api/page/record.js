// What the watch wrote: excursions and the day sheet.
import { useState } from "./vendor/preact-hooks.js";
import { API } from "./feed.js";
import { Likely } from "./findings.js";
import { html } from "./html.js";
import { Science } from "./science.js";
import { Table } from "./table.js";
import { clock, dayAndClock, dayName, isoDay, lasting, number, plainDay, withUnit } from "./text.js";
import { useAnswer } from "./use_answer.js";
import { around, link } from "./view.js";
import { Written } from "./written.js";

/** The limit that was passed at the onset, and the furthest value with the limit that held then, if another. */
const passed = (one, as) => `${one.side === "high" ? "above" : "below"} ${withUnit(one.onset_limit ?? one.limit, as)}`;
const furthest = (one, as) => withUnit(one.extreme, as)
  + ((one.onset_limit ?? one.limit) === one.limit ? "" : `, when ${withUnit(one.limit, as)} was the limit`);

export const RECENT = "excursions?start=-7d";
const FEW = 12;

export function Excursions({ feed, zone, view }) {
  const [all, setAll] = useState(false);
  const answer = feed.data(RECENT);
  const now = feed.now();
  const rank = (one) => (one.end ? 0 : 1);
  const rows = [...(answer?.excursions ?? [])].sort((a, b) => rank(b) - rank(a) || Date.parse(b.onset) - Date.parse(a.onset));
  const open = rows.filter((one) => !one.end).length;
  const shown = all ? rows : rows.slice(0, Math.max(FEW, open));
  const cells = (one) => [
    html`<a href=${link(around(view, one.series, Date.parse(one.onset), one.end && Date.parse(one.end), now))} data-shows="timeline">${one.zone_label}, ${one.label}</a>`,
    passed(one, one),
    html`<span class="unbroken">${dayName(Date.parse(one.onset), zone)}</span>, ${clock(Date.parse(one.onset), zone)}`,
    one.end ? lasting(one.duration_s) : html`<strong>open</strong>, ${lasting((now - Date.parse(one.onset)) / 1000)} so far`,
    furthest(one, one),
    html`<${Likely} feed=${feed} excursion=${one.id} view=${view} />`,
  ];
  return html`<section id="excursions" aria-labelledby="excursions-title">
    <div class="head"><h2 id="excursions-title">Excursions</h2><p class="note">Stretches outside a band that lasted. Open ones first, then the last seven days${answer?.next ? `; the newest ${answer.excursions.length} of them` : ""}.</p></div>
    <div class="body">
      ${!answer && html`<p class="note">Not known yet.</p>`}
      ${answer && !rows.length && html`<p>None in the last seven days.</p>`}
      ${rows.length > 0 && html`<${Table} caption=${`${open} open, ${rows.length - open} ended in the last seven days`}
        heads=${["Where", "Passed", "Began", "Lasted", "Furthest", "Likely cause"]} numeric=${[4]} rows=${shown.map(cells)} />`}
      ${rows.length > shown.length && html`<p><button type="button" onClick=${() => setAll(true)}>Show all ${rows.length}</button></p>`}
    </div>
  </section>`;
}

const share = (part) => (part === null || part === undefined ? "–" : `${number(100 * part, 0)}\u00a0%`);
const hours = (h) => (h === null || h === undefined ? "–" : `${number(h, 1)}\u00a0h`);
const WORTH_TELLING_H = 0.05;
const WHOLE = 0.99;
const outside = (h) => (h >= WORTH_TELLING_H ? html`<strong class="outside">${hours(h)}</strong>` : hours(h));

/** What was outside its band in a zone, and for how long, in a few words. */
function digest({ label, series }) {
  const banded = series.filter((row) => row.band);
  const all = banded.map((row) => [row.label, (row.band.below_h ?? 0) + (row.band.above_h ?? 0)]);
  const out = all.filter(([, h]) => h >= WORTH_TELLING_H);
  if (out.length) return html`${label}: <strong class="outside">${out.map(([what, h]) => `${what} ${hours(h)} outside`).join(", ")}</strong>`;
  if (!banded.length) return `${label}: no limits are set here`;
  const seldom = all.some(([, h]) => h > 0) ? `nothing outside for ${lasting(3600 * WORTH_TELLING_H)}` : "never outside";
  return `${label}: ${seldom}${banded.every((row) => row.coverage >= WHOLE) ? "" : ", as far as readings speak for it"}`;
}

function Sheet({ sheet, list, zone, view }) {
  const wide = matchMedia("(min-width: 48rem)").matches;
  const known = (key) => list.find((one) => one.key === key);
  const shape = (row) => known(row.key) ?? { decimals: 1, display_unit: row.unit };
  const heads = ["Series", "Mean", "Lowest to highest", "Inside", "Below", "Above", "Coverage"];
  const seriesRow = (row) => {
    const as = shape(row);
    return [row.label, withUnit(row.mean, as), `${number(row.low, as.decimals)} to ${number(row.high, as.decimals)}`,
      hours(row.band?.inside_h), outside(row.band?.below_h), outside(row.band?.above_h), share(row.coverage)];
  };
  const zones = sheet.zones.filter((one) => one.series.length);
  const excursionRow = (one) => {
    const series = known(one.series);
    const as = series ?? { decimals: 1, display_unit: "" };
    const lasted = one.end ? (Date.parse(one.end) - Date.parse(one.onset)) / 1000 : null;
    return [series ? `${series.zone_label}, ${series.label}` : one.series,
      passed(one, as), dayAndClock(Date.parse(one.onset), zone),
      lasted === null ? "open" : lasting(lasted), furthest(one, as)];
  };
  return html`
    <p class="note">${sheet.complete ? "The whole day" : "The day so far"}, from ${dayAndClock(Date.parse(sheet.start), zone)} to ${dayAndClock(Date.parse(sheet.end), zone)}. Coverage is the share of the time that readings speak for.</p>
    <${Science} sheet=${sheet} list=${list} zone=${zone} wide=${wide} view=${view} />
    <${Written} sheet=${sheet} list=${list} zone=${zone} wide=${wide} />
    <details class="long" open=${wide}><summary>Time in band, zone by zone</summary>
      ${wide ? html`<${Table} caption="Time in band" heads=${heads} numeric=${[1, 2, 3, 4, 5, 6]} groups=${zones.map((one) => [one.label, one.series.map(seriesRow)])} />`
    : zones.map((one) => html`<details key=${one.zone} class="long"><summary>${digest(one)}</summary>
        <${Table} caption=${`Time in band, ${one.label}`} heads=${heads} numeric=${[1, 2, 3, 4, 5, 6]} rows=${one.series.map(seriesRow)} /></details>`)}</details>
    ${sheet.excursions.length > 0 && html`<details class="long" open=${wide}><summary>Excursions of the day: ${sheet.excursions.length}</summary>
      <${Table} caption="Excursions of the day" heads=${["Where", "Passed", "Began", "Lasted", "Furthest"]}
        numeric=${[4]} rows=${sheet.excursions.map(excursionRow)} /></details>`}
    ${sheet.totals.length > 0 && html`<${Table} caption="Totals" numeric=${[1]} heads=${["What", "Total"]}
      rows=${sheet.totals.map((row) => [row.label, withUnit(row.total, shape(row))])} />`}
    ${sheet.cautions.map((text) => html`<p class="note">${text}</p>`)}`;
}

/** One report to keep, as a page to print and as PDF. */
function Report({ what, path }) {
  const address = `${API}report/${path}`;
  return html`${what} (<a href=${address} aria-label=${`Report of ${what}, to print`}>to print</a>, <a href=${`${address}?format=pdf`} aria-label=${`Report of ${what}, PDF`}>PDF</a>)`;
}

function Reports({ day, batches }) {
  return html`<p class="note">Reports to keep: <${Report} what="this day" path=${`day/${day}`} />, <${Report} what="its week" path=${`week/${day}`} />${batches.map((one) => html`, <${Report} key=${one.batch} what=${`batch ${one.batch}`} path=${`batch/${encodeURIComponent(one.batch)}`} />`)}.</p>`;
}

export function DaySheet({ feed, zone, view, change }) {
  const days = [...(feed.data("days")?.days ?? [])].sort().reverse();
  const today = isoDay(feed.now(), zone);
  const day = view.day || days.find((one) => one < today) || days[0] || ""; // the newest whole day
  const { answer: sheet, fault } = useAnswer(feed, day ? `days/${day}` : "");
  const choices = !day || days.includes(day) ? days : [day, ...days];
  return html`<section id="day" aria-labelledby="day-title">
    <div class="head"><h2 id="day-title">Day sheet</h2>
      ${days.length > 0 && html`<label class="field">Day <select value=${day} onChange=${(event) => change({ day: event.target.value })}>
        ${choices.map((one) => html`<option value=${one}>${plainDay(one)}</option>`)}</select></label>`}</div>
    <div class="body">
      ${!days.length && !view.day && html`<p class="note">${feed.data("days") ? "No day has been summed up yet." : "Not known yet: the server has not answered."}</p>`}
      ${fault && html`<p class="warning" role="alert">${fault}</p>`}
      ${sheet && html`<${Reports} day=${day} batches=${feed.data("batches")?.batches ?? []} />`}
      ${sheet && html`<${Sheet} sheet=${sheet} list=${feed.data("series")?.series ?? []} zone=${zone} view=${view} />`}
    </div>
  </section>`;
}
