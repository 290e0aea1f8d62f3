// The batches: where each stood from when to when, the light it had, and what it bears of energy, water, stocks and CO2.
import { useState } from "./vendor/preact-hooks.js";
import { API, ask } from "./feed.js";
import { html } from "./html.js";
import { Table } from "./table.js";
import { dayAndClock, number, plainDay, words } from "./text.js";
import { amount, Facts, known, Notes, partly } from "./told.js";

const HOURS = 24;
const MANY = 10_000; // mL or g, from which L or kg read better
const aDay = (light) => (light && light.covered_h > 0 ? (light.mol / light.covered_h) * HOURS : null);
const inside = (bands, quantity) => {
  const one = bands.find((band) => band.quantity === quantity);
  return one && one.covered_h > 0 ? `${number((100 * one.inside_h) / one.covered_h, 0)}\u00a0%` : "–";
};

function Stays({ record, zone }) {
  return html`<${Table} caption="Where it stood" heads=${["Zone", "Phase", "From", "To", "Light a day", "Air temperature in band", "Air VPD in band"]}
    rows=${record.stays.map((stay) => [stay.label, words(stay.phase), dayAndClock(Date.parse(stay.start), zone),
      stay.complete ? dayAndClock(Date.parse(stay.end), zone) : "still there",
      stay.light ? html`${amount(aDay(stay.light), 1, "mol m⁻² d⁻¹")}${stay.light.estimated && " (estimated)"}${partly(stay.hours ? stay.light.covered_h / stay.hours : null)}` : "not known",
      inside(stay.bands, "air_temperature"), inside(stay.bands, "vapour_pressure_deficit")])} />`;
}

function Had({ record }) {
  const { total, energy, use } = record;
  const of = (value, decimals, unit, coverage) => amount(value, decimals, unit) + (known(value) ? partly(coverage) : "");
  const large = (value, small, big, coverage) => (known(value) && value >= MANY ? of(value / 1000, 1, big, coverage) : of(value, 0, small, coverage));
  return html`<${Facts} caption="What it had in all" rows=${[
    ["Light", of(total.mol, 0, "mol m⁻²", total.mol_coverage)],
    known(total.degree_hours_k_h) && [`Warmth above ${number(record.base_temperature_c, 1)}\u00a0°C`, of(total.degree_hours_k_h / HOURS, 0, "K d", total.degree_hours_coverage)],
    ["Energy", of(energy.kwh, 0, "kWh", energy.coverage) + (known(energy.kwh_per_kg) ? `; ${amount(energy.kwh_per_kg, 1, "kWh")} a kg` : "")],
    ["Water drunk", of(use.water_l, 0, "L", use.water_coverage)],
    ...use.stocks.map((stock) => [stock.label, large(stock.used_ml, "mL", "L", stock.coverage)]),
    ["CO2 dosed", large(use.co2_g, "g", "kg", use.co2_coverage)],
    ["Plants", known(record.plants) ? record.plants : "not counted"],
    ["Harvest", known(record.harvest_kg) ? amount(record.harvest_kg, 1, "kg") : "not weighed yet"],
  ]} /><${Notes} texts=${[`Energy is shared ${energy.convention}. Water, stocks and CO2: ${use.convention}.`]} />`;
}

function Batch({ one, labels, zone }) {
  const [answer, setAnswer] = useState(null);
  const path = encodeURIComponent(one.batch);
  const opened = (event) => {
    if (!event.currentTarget.open) return;
    ask(`batches/${path}`).then((record) => setAnswer({ record })).catch((error) => setAnswer({ fault: error.message }));
  };
  return html`<details class="long" onToggle=${opened}>
    <summary><strong>${one.batch}</strong>: ${one.crop}, sown ${plainDay(one.sown.slice(0, 10))}; ${one.zones.length ? one.zones.map((name) => labels.get(name) ?? name).join(", then ") : "stood nowhere yet"}</summary>
    ${!answer && html`<p class="note">Reading …</p>`}
    ${answer?.fault && html`<p class="warning" role="alert">${answer.fault}</p>`}
    ${answer?.record && html`<${Stays} record=${answer.record} zone=${zone} /><${Had} record=${answer.record} />`}
    <p class="note">Report to keep: <a href=${`${API}report/batch/${path}`}>to print</a>, <a href=${`${API}report/batch/${path}?format=pdf`}>PDF</a>.</p>
  </details>`;
}

export function Batches({ feed, zone }) {
  const answer = feed.data("batches");
  const labels = new Map((feed.data("zones")?.zones ?? []).map((one) => [one.zone, one.label]));
  const rows = [...(answer?.batches ?? [])].sort((a, b) => (a.sown < b.sown ? 1 : -1));
  return html`<section id="batches" aria-labelledby="batches-title">
    <div class="head"><h2 id="batches-title">Batches</h2><p class="note">Plants sown together, the newest first, as farm.toml has them.</p></div>
    <div class="body">
      ${!answer && html`<p class="note">Not known yet.</p>`}
      ${answer && !rows.length && html`<p>No batch is described. A batch in farm.toml has its bands wherever it stands, and its own account here.</p>`}
      ${rows.map((one) => html`<${Batch} key=${one.batch} ...${{ one, labels, zone }} />`)}
    </div>
  </section>`;
}
