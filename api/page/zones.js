// Each zone against its band.
import { html } from "./html.js";
import { capital, FLAGS, lasting, limits, number, stateWord, withUnit, words } from "./text.js";
import { isWide, link, upToNow } from "./view.js";
import { Workings, workedOut } from "./workings.js";

const WIDTH = 96;
const LEFT = 26;
const RIGHT = 70;

/** Where a value lies against its limits, between 0 and the mark's width. */
export function place(value, low, high) {
  const open = (limit) => limit === null || limit === undefined;
  let x;
  if (!open(low) && !open(high)) x = LEFT + ((value - low) / (high - low)) * (RIGHT - LEFT);
  else if (!open(low)) x = LEFT + ((value - low) / (Math.abs(low) || 1)) * (RIGHT - LEFT);
  else x = RIGHT + ((value - high) / (Math.abs(high) || 1)) * (RIGHT - LEFT);
  return Math.min(WIDTH - 7, Math.max(7, x));
}

/** How far a sum has come on its way to the target, from nothing at the mark's left end. */
const reached = (value, low, high) => (value < low ? 1 + (value / low) * (LEFT - 1) : place(value, low, high));

/** The band as a bar on a line, the value as a shape: dot inside, triangle outside, ring when silent, bar while it adds up. */
export function Mark({ row, stale }) {
  const { low, high, value } = row;
  const standing = stale ? "silent" : row.standing;
  if ((low === null && high === null) || value === null) return html`<span class="mark"></span>`;
  const from = low === null ? 1 : LEFT;
  const to = high === null ? WIDTH - 1 : RIGHT;
  const x = place(value, low, high);
  const shape = {
    inside: html`<circle class="dot" cx=${x} cy="9" r="4.5" />`,
    high: html`<path class="out" d=${`M${x + 7} 9 ${x - 5} 2V16Z`} />`,
    low: html`<path class="out" d=${`M${x - 7} 9 ${x + 5} 2V16Z`} />`,
    silent: html`<circle class="ring" cx=${x} cy="9" r="4" />`,
    at_rest: html`<circle class="ring" cx=${x} cy="9" r="4" />`,
    so_far: html`<rect class="dot" x="1" y="7" width=${Math.max(1, reached(value, low, high) - 1)} height="4" />`,
  }[standing];
  return html`<svg class="mark" viewBox=${`0 0 ${WIDTH} 18`} width=${WIDTH} height="18" aria-hidden="true">
    <line class="scale" x1="1" y1="9" x2=${WIDTH - 1} y2="9" />
    <rect class="band" x=${from} y="4" width=${to - from} height="10" />
    ${low !== null && html`<line class="limit" x1=${LEFT} y1="2" x2=${LEFT} y2="16" />`}
    ${high !== null && html`<line class="limit" x1=${RIGHT} y1="2" x2=${RIGHT} y2="16" />`}
    ${shape}
  </svg>`;
}

const STANDING = { inside: "inside", low: "below", high: "above", no_band: "", silent: "silent", at_rest: "at rest", so_far: "so far" };

/** A light day that is over is news of that day: told beside the light so far, and no standing of now. */
function LastDay({ row }) {
  const { last_day: last } = row;
  if (!last) return null;
  const stands = STANDING[last.standing] && html`, <b class=${last.standing === "inside" ? "" : "outside"}>${STANDING[last.standing]}</b>`;
  return html`<span class="last-day">last whole day ${last.mol === null ? "not known" : number(last.mol, row.decimals)}${stands}</span> `;
}

/** What the value may be off by, in its own unit; one decimal more where it would round to nothing. */
function Give({ row, give }) {
  const decimals = give < 0.5 * 10 ** -row.decimals ? row.decimals + 1 : row.decimals;
  return html`<span class="hidden">give or take </span><span aria-hidden="true">±\u00a0</span>${number(give, decimals)}`;
}

function Row({ row, give, elapsed, stale, view }) {
  const age = row.age_s === null ? null : row.age_s + elapsed;
  const silent = row.standing === "silent";
  const old = silent || row.standing === "at_rest"; // the last value, not a fresh one
  const range = limits({ ...row, short: true }); // the unit stands beside the value
  const adds = row.standing === "so_far";
  const standing = adds && row.value >= row.low ? "so far, enough" : STANDING[row.standing];
  const said = stale && standing && !old ? `was ${standing}` : standing;
  const banded = row.low !== null || row.high !== null;
  return html`<tr role="row" class=${`row ${row.standing}${banded ? "" : " plain"}`}>
    <th role="rowheader" scope="row"><a href=${link(upToNow(view, row.key))} data-shows="timeline">${row.label}</a></th>
    <td role="cell" class="value"><span class="number">${number(row.value, row.decimals)}</span> <span class="unit">${row.value !== null && row.display_unit}</span></td>
    <td role="cell" class="marked"><${Mark} row=${row} stale=${stale} /></td>
    <td role="cell" class="said">
      ${(said || range) && html`<span>${said && html`<strong>${said}</strong>`} ${range}</span> `}
      <${LastDay} row=${row} />
      ${row.flag > 2 && html` <em>${FLAGS[row.flag] ?? "unknown"} reading</em>`}
      <span class="age">${row.value !== null && give > 0 && html`<${Give} row=${row} give=${give} />, `}${age === null ? "no reading yet" : old ? `last ${silent ? "heard" : "told"} ${lasting(age)} ago` : `${lasting(age)} ago`}</span>
    </td>
  </tr>`;
}

function States({ rows, elapsed }) {
  if (!rows.length) return null;
  return html`<p class="states">${rows.map((row) => html`<span class=${row.standing}>${row.label} <b>${
    stateWord(row.quantity, row.value)}</b>${row.standing === "silent" && html` <em>silent${
    row.age_s === null ? "" : ` for ${lasting(row.age_s + elapsed)}`}</em>`}</span>`)}</p>`;
}

const LIGHT = { true: "lights on", false: "lights off", null: "" };

const isBanded = (row) => row.low !== null || row.high !== null;
const WORTH_A_WORD = ["low", "high", "silent"];

/** How a zone stands, in a few words: what is outside or silent by name, and how many are inside. */
function verdict(rows) {
  const named = WORTH_A_WORD.map((standing) => {
    const several = rows.filter((row) => row.standing === standing).map((row) => row.label);
    const shown = several.length > 3 ? [...several.slice(0, 2), `${several.length - 2} more`] : several;
    return several.length && `${shown.join(", ")} ${STANDING[standing]}`;
  }).filter(Boolean);
  const inside = rows.filter((row) => row.standing === "inside").length;
  const adds = !named.length && rows.some((row) => row.standing === "so_far");
  const rest = !inside ? (adds ? "its light day is under way" : "") : named.length ? `${inside} inside` : inside === 1 ? "inside its band" : `all ${inside} inside their bands`;
  return capital([...named, rest].filter(Boolean).join("; ")) || "No limits are set here";
}

const AT_A_GLANCE = 4;
/** The first few values, for a zone that is folded; named where the unit does not tell which it is. */
export function glance(rows) {
  const shown = rows.filter((row) => row.value !== null && row.standing !== "silent").slice(0, AT_A_GLANCE);
  const isTold = (row, i) => row.display_unit && shown.findIndex((one) => one.display_unit === row.display_unit) === i;
  return shown.map((row, i) => `${isTold(row, i) ? "" : `${row.label} `}${withUnit(row.value, row)}${row.standing === "so_far" ? " so far" : ""}`).join(" · ");
}

function Rows({ name, rows, gives, elapsed, stale, view }) {
  return html`<table role="table" class="rows">
    <caption class="hidden">${name}</caption>
    <thead role="rowgroup" class="hidden"><tr role="row">${["Series", "Now", "Mark", "Standing, limits and age"].map(
      (head) => html`<th role="columnheader" scope="col">${head}</th>`)}</tr></thead>
    <tbody role="rowgroup">${rows.map((row) => html`<${Row} key=${row.key} ...${{ row, give: gives.get(row.key), elapsed, stale, view }} />`)}</tbody>
  </table>`;
}

function Zone({ zone, gives, elapsed, stale, view, list }) {
  const levels = zone.series.filter((row) => row.kind !== "state");
  const first = levels.filter((row) => isBanded(row) || row.standing === "silent").sort((a, b) => isBanded(b) - isBanded(a));
  const others = levels.filter((row) => !first.includes(row));
  const unwell = zone.series.some((row) => WORTH_A_WORD.includes(row.standing));
  const states = zone.series.filter((row) => row.kind === "state");
  const grows = [zone.crop, zone.phase && words(zone.phase)].filter(Boolean).join(", ");
  const kind = capital(words(zone.kind));
  const about = [grows || (kind === zone.label ? "" : kind), LIGHT[zone.lit]].filter(Boolean).join(" · ");
  const title = `zone-${zone.zone}`;
  return html`<article class="zone" aria-labelledby=${title}>
    <h3 id=${title}>${zone.label}</h3>
    ${about && html`<p class="note">${about}</p>`}
    ${zone.series.length > 0 && html`<details class="zone-rows" open=${isWide() || unwell}>
      <summary class=${unwell ? "unwell" : ""}>${stale ? "When last heard: " : ""}${verdict(zone.series)} <span class="note glance">${glance(first.length ? first : others)}</span></summary>
      <${States} rows=${states} elapsed=${elapsed} />
      ${first.length > 0 && html`<${Rows} name=${`${zone.label}: newest readings against their limits`} rows=${first} ...${{ gives, elapsed, stale, view }} />`}
      ${others.length > 0 && html`<details class="others" open=${!first.length && isWide()}><summary>${others.length} ${first.length ? "more" : "readings"}, without limits</summary>
        <${Rows} name=${`${zone.label}: newest readings without limits`} rows=${others} ...${{ gives, elapsed, stale, view }} /></details>`}
      <${Workings} of=${workedOut(levels, list)} about=${zone.label} />
    </details>`}
    ${!zone.series.length && html`<p class="note">Nothing is measured here.</p>`}
  </article>`;
}

export function Zones({ feed, view }) {
  const answer = feed.data("zones");
  const elapsed = feed.age("zones");
  const stale = feed.isOld("zones"); // nobody knows how things stand now
  const gives = new Map((feed.data("latest")?.latest ?? []).map((one) => [one.key, one.uncertainty]));
  return html`<section id="zones" aria-labelledby="zones-title" class="full">
    <div class="head"><h2 id="zones-title">Each zone against its band</h2>
      <p class="note key"><span><svg class="mark" viewBox="0 0 18 18" width="14" height="14" aria-hidden="true"><circle class="dot" cx="9" cy="9" r="5" /></svg> inside</span>
      <span><svg class="mark" viewBox="0 0 18 18" width="14" height="14" aria-hidden="true"><path class="out" d="M16 9 4 2V16Z" /></svg> outside, pointing away</span>
      <span><svg class="mark" viewBox="0 0 18 18" width="14" height="14" aria-hidden="true"><rect class="dot" x="2" y="7" width="14" height="4" /></svg> adds up until its light day ends</span>
      <span><svg class="mark" viewBox="0 0 18 18" width="14" height="14" aria-hidden="true"><circle class="ring" cx="9" cy="9" r="5" /></svg> silent, or at rest with its pump: the last value, not a fresh one</span>
      <span>± give or take, in the value's unit (temperatures: K)</span></p></div>
    <div class=${`body zones${stale ? " stale" : ""}`}>
      ${!answer && html`<p class="note">Not known yet: the server has not answered.</p>`}
      ${answer && stale && html`<p class="warning">These values are ${lasting(elapsed)} old; the server does not answer.</p>`}
      ${answer?.zones.map((zone) => html`<${Zone} key=${zone.zone} ...${{ zone, gives, elapsed, stale, view }} list=${feed.data("series")?.series ?? []} />`)}
    </div>
  </section>`;
}
