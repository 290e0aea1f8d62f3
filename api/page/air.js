// Where a zone's air was: an hour a mark on a psychrometric chart, what the plan wants, and what would wet a surface.
import { useEffect, useRef, useState } from "./vendor/preact-hooks.js";
import { AirDrawing, Shape } from "./air_drawing.js";
import { html } from "./html.js";
import { Table } from "./table.js";
import { dayAndClock, dayName, limits, number, plainDay, words } from "./text.js";
import { amount, known } from "./told.js";
import { useAnswer } from "./use_answer.js";
import { inDays } from "./view.js";

const HOUR_MS = 3_600_000;
const HOURLY = 50; // hours, above which the table has days
const RATIO = "g/kg";
const STATES = [[true, "lights on"], [false, "lights off"], [null, "lights not known"]];

const range = ([low, high], unit, decimals) => limits({ low, high, decimals, display_unit: unit });

/** The plan's words for one state of the lights. */
function wanted(band) {
  return [range(band.temperature_degc, "°C", 1), range(band.relative_humidity_percent, "% RH", 0), range(band.vpd_kpa, "kPa", 2)].filter(Boolean).join(", ");
}

const within = (value, [low, high]) => !known(value) || ((!known(low) || value >= low) && (!known(high) || value <= high));
const bandOf = (chart, lit) => chart.bands.find((one) => one.lit === null || one.lit === lit);

/** Whether each hour's means left the plan's limits; null where none hold. */
function standings({ hours, ...chart }) {
  return hours.time.map((_, i) => {
    const band = bandOf(chart, hours.lit[i]);
    if (!band) return null;
    return !(within(hours.temperature_degc[i], band.temperature_degc) && within(hours.relative_humidity_percent[i], band.relative_humidity_percent)
      && within(hours.vpd_kpa[i], band.vpd_kpa));
  });
}

/** The lines at which a surface is wet: its coldest hour shown, and for the coldest of tonight that too. */
function surfaceLines({ surfaces }, isNow) {
  const rows = surfaces.map((one) => ({
    name: `${one.label}: wet from ${amount(one.coldest_g_kg, 1, RATIO)}, at its coldest, ${amount(one.coldest_degc, 1, "°C")}`,
    short: `${one.label.split(/[,(]/)[0].trim()}, ${amount(one.coldest_degc, 1, "°C")}`, g_kg: one.coldest_g_kg,
  }));
  const nights = isNow ? surfaces.filter((one) => known(one.tonight_degc)) : [];
  const coldest = nights.sort((a, b) => a.tonight_degc - b.tonight_degc)[0];
  if (coldest) rows.push({
    name: `Coldest tonight, ${coldest.label}: ${amount(coldest.tonight_degc, 1, "°C")} expected, wet from ${amount(coldest.tonight_g_kg, 1, RATIO)}`,
    short: `tonight, ${amount(coldest.tonight_degc, 1, "°C")}`, g_kg: coldest.tonight_g_kg, tonight: true,
  });
  return rows;
}

const mean = (values) => (values.length ? values.reduce((a, b) => a + b, 0) / values.length : null);

function summary(chart, outside) {
  const { hours } = chart;
  if (!hours.time.length) return "No hour of this stretch has readings of both sensors.";
  const told = STATES.map(([state, name]) => {
    const at = hours.time.map((_, i) => i).filter((i) => hours.lit[i] === state);
    if (!at.length) return null;
    const of = (column) => at.map((i) => hours[column][i]).filter(known);
    const judged = at.filter((i) => outside[i] !== null);
    const out = judged.filter((i) => outside[i]).length;
    const stands = !judged.length ? "" : out ? `; ${out} of ${judged.length} outside what the plan wants` : "; all as the plan wants";
    return `${at.length} ${at.length === 1 ? "hour" : "hours"}${state === null ? "" : ` with ${name}`}, on average ${amount(mean(of("temperature_degc")), 1, "°C")}, `
      + `${amount(mean(of("relative_humidity_percent")), 0, "% RH")}, ${amount(mean(of("humidity_ratio_g_kg")), 1, RATIO)}, air VPD ${amount(mean(of("vpd_kpa")), 2, "kPa")}${stands}`;
  });
  return `${told.filter(Boolean).join(". ")}.`;
}

/** Whether the air ever held so much water that a surface at its coldest would have been wet by it. */
function wetness(chart) {
  const most = Math.max(...chart.hours.humidity_ratio_g_kg);
  return chart.surfaces.filter((one) => known(one.coldest_g_kg) && chart.hours.time.length).map((one) => {
    const room = one.coldest_g_kg - most;
    return room > 0 ? `${one.label}: even the dampest hour had ${number(room, 1)} ${RATIO} less than would wet it at its coldest`
      : `${one.label}: the dampest hour had ${number(-room, 1)} ${RATIO} more than wets it at its coldest, which need not have been that hour`;
  });
}

function readout(chart, i, zone, outside, nowMs) {
  const { hours } = chart;
  const parts = [`${dayAndClock(Date.parse(hours.time[i]), zone)}, the hour ${Date.parse(hours.time[i]) + HOUR_MS > nowMs ? "so far" : "from then"}: ${amount(hours.temperature_degc[i], 1, "°C")}`,
    amount(hours.relative_humidity_percent[i], 0, "% RH"), amount(hours.humidity_ratio_g_kg[i], 1, RATIO), `air VPD ${amount(hours.vpd_kpa[i], 2, "kPa")}`,
  ];
  if (hours.lit[i] !== null) parts.push(hours.lit[i] ? "lights on" : "lights off");
  if (outside[i] !== null) parts.push(outside[i] ? "outside what the plan wants" : "as the plan wants");
  return parts.join(" · ");
}

/** The same as a table: an hour a row, or of a longer stretch a day and state of the lights a row. */
function Figures({ chart, zone }) {
  const { hours } = chart;
  const short = hours.time.length <= HOURLY;
  const groups = new Map();
  hours.time.forEach((time, i) => {
    const ms = Date.parse(time);
    const state = STATES.find(([one]) => one === hours.lit[i])[1];
    const key = short ? dayAndClock(ms, zone) : `${dayName(ms, zone)}, ${state}`;
    groups.set(key, [...(groups.get(key) ?? []), i]);
  });
  const of = (at, column) => mean(at.map((i) => hours[column][i]).filter(known));
  return html`<details class="long"><summary>The same as a table</summary>
    <${Table} caption=${short ? "Air, hour by hour" : "Air, means of each day's hours"} numeric=${[1, 2, 3, 4, 5]}
      heads=${["When", short ? "Lights" : "Hours", "Temperature, °C", "RH, %", "Water, g/kg", "Air VPD, kPa"]}
      rows=${[...groups].map(([key, at]) => [key, short ? STATES.find(([one]) => one === hours.lit[at[0]])[1].replace("lights ", "") : at.length,
        number(of(at, "temperature_degc"), 1), number(of(at, "relative_humidity_percent"), 0), number(of(at, "humidity_ratio_g_kg"), 2), number(of(at, "vpd_kpa"), 2)])} /></details>`;
}

function Key({ chart }) {
  const sign = (lit) => html`<svg class="air-drawing" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true"><${Shape} lit=${lit} x=${8} y=${8} r=${4.5} /></svg>`;
  const swatch = (band) => html`<svg class="air-drawing" viewBox="0 0 24 14" width="24" height="14" aria-hidden="true"><rect class=${band.lit === false ? "wanted dark" : "wanted"} x="1" y="1" width="22" height="12" /></svg>`;
  return html`<p class="note key">
    <span>${sign(true)} an hour, lights on</span><span>${sign(false)} lights off</span>
    <span><svg class="air-drawing" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true"><g class="out"><${Shape} lit=${true} x=${8} y=${8} r=${4.5} /></g></svg> ringed: its means outside the plan</span>
    ${chart.bands.map((band) => html`<span>${swatch(band)} wanted${band.lit === null ? "" : band.lit ? ", lights on" : ", lights off"}: ${wanted(band)}</span>`)}
    <span><svg class="air-drawing" viewBox="0 0 24 10" width="24" height="10" aria-hidden="true"><line class="deficit" x1="0" x2="24" y1="5" y2="5" /></svg> equal air VPD</span>
    <span><svg class="air-drawing" viewBox="0 0 24 10" width="24" height="10" aria-hidden="true"><line class="humidity" x1="0" x2="24" y1="5" y2="5" /></svg> equal humidity</span></p>`;
}

function Drawn({ chart, zone, isNow, joined, nowMs }) {
  const node = useRef(null);
  const [width, setWidth] = useState(0);
  const [picked, setPicked] = useState(null);
  useEffect(() => {
    const measure = () => node.current && setWidth(Math.floor(node.current.clientWidth));
    const watcher = new ResizeObserver(measure);
    watcher.observe(node.current);
    measure();
    return () => watcher.disconnect();
  }, []);
  useEffect(() => setPicked(null), [chart.zone, chart.start]);
  const count = chart.hours.time.length;
  const outside = standings(chart);
  const at = picked !== null && picked < count ? picked : null;
  const text = count ? readout(chart, at ?? count - 1, zone, outside, nowMs) : "";
  const about = [...wetness(chart), `Lines are for ${number(chart.air_pressure_kpa, 1)} kPa, ${chart.air_pressure_measured ? "as measured" : "usual at this elevation"}`];
  return html`<div role="group" aria-labelledby="air-told">
    <p id="air-told" class="told"><strong>${chart.label}</strong>, ${dayAndClock(Date.parse(chart.start), zone)} to ${dayAndClock(Date.parse(chart.end), zone)}: ${summary(chart, outside)}</p>
    <${Key} chart=${chart} />
    <div class="air-plot" ref=${node}>${width > 0 && html`<${AirDrawing} ...${{ chart, width, outside, joined, isNow, picked: at, onPick: setPicked, surfaces: surfaceLines(chart, isNow) }} />`}</div>
    ${count > 0 && html`<div class="reader own">
      <label for="air-hour">Read an hour</label>
      <input id="air-hour" type="range" min="0" max=${count - 1} step="1" value=${at ?? count - 1} aria-valuetext=${text} onInput=${(event) => setPicked(Number(event.target.value))} />
      <p class="readout" aria-hidden="true">${text}</p></div>`}
    <p class="note">${about.join(". ")}.</p>
    ${count > 0 && html`<${Figures} chart=${chart} zone=${zone} />`}
  </div>`;
}

/** The zones whose air has both sensors, by what is worked out from them. */
function zonesWithAir(list) {
  const found = new Map();
  for (const one of list) if (one.quantity === "humidity_ratio") found.set(one.zone, one.zone_label);
  return [...found];
}

export function Air({ feed, zone, view, change }) {
  const zones = zonesWithAir(feed.data("series")?.series ?? []);
  const days = [...(feed.data("days")?.days ?? [])].sort().reverse();
  const place = view.air; // none: the interface chooses
  const isDay = view.airspan.includes("-");
  const when = isDay ? `day=${view.airspan}` : `start=-${inDays(view.airspan)}d`;
  const { answer: chart, fault } = useAnswer(feed, `air-chart?${when}${place && `&zone=${encodeURIComponent(place)}`}`);
  const choices = isDay && !days.includes(view.airspan) ? [view.airspan, ...days] : days;
  return html`<section id="air" aria-labelledby="air-title" class="full">
    <div class="head"><h2 id="air-title" tabindex="-1">Where the air was</h2>
      ${chart?.phase && html`<p class="note">limits of ${chart.crop}, ${words(chart.phase)}, the phase at the end</p>`}</div>
    <div class="body">
      <div class="controls">
        <label class="field">Zone <select value=${place || chart?.zone} onChange=${(event) => change({ air: event.target.value })}>
          ${zones.map(([name, label]) => html`<option value=${name}>${label}</option>`)}</select></label>
        <label class="field">Stretch <select value=${view.airspan} onChange=${(event) => change({ airspan: event.target.value })}>
          <option value="24h">the last 24 hours</option><option value="7d">the last 7 days</option><option value="30d">the last 30 days</option>
          <optgroup label="One day">${choices.map((one) => html`<option value=${one}>${plainDay(one)}</option>`)}</optgroup></select></label>
        <p class="ticks"><label><input type="checkbox" checked=${view.joined} onChange=${(event) => change({ joined: event.target.checked })} /> Join the hours in their order</label></p>
      </div>
      ${fault && html`<p class="warning" role="alert">${fault}</p>`}
      ${!chart && !fault && html`<p class="note">${zones.length || !feed.data("series") ? "Reading …" : "No zone has both a temperature and a humidity sensor."}</p>`}
      ${chart && html`<${Drawn} ...${{ chart, zone, isNow: !isDay, joined: view.joined, nowMs: feed.now() }} />`}
    </div>
  </section>`;
}
