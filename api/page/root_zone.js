// The root zone day by day: solution, doses, top-ups, what was drunk and taken up, and the history of its probes.
import { DaysShown, DayStrips } from "./day_strips.js";
import { html } from "./html.js";
import { Table } from "./table.js";
import { dayAndClock, number, plainDay } from "./text.js";
import { amount, known, within } from "./told.js";
import { useAnswer } from "./use_answer.js";
import { Workings } from "./workings.js";

const STRIPS = [["solution_ec", "EC at 25 °C", "mS/cm", 2], ["solution_ph", "pH", "", 2]];

const of = (day, quantity) => day?.solution.find((one) => one.quantity === quantity) ?? null;
const roleOf = (dose, stocks) => (Object.keys(dose.volumes_ml).some((name) => stocks[name] === "nutrient") ? "nutrient" : "ph");
const poured = (dose, stocks, role) => Object.entries(dose.volumes_ml).reduce((sum, [name, ml]) => sum + ((stocks[name] === "nutrient") === (role === "nutrient") ? ml : 0), 0);

function told(day, stocks) {
  if (!day) return "no day sheet";
  const doses = (role) => day.doses.filter((dose) => poured(dose, stocks, role) > 0);
  const given = (role, name) => { const several = doses(role); return several.length ? `${several.length} ${several.length === 1 ? "dose" : "doses"} of ${name}, ${amount(several.reduce((sum, one) => sum + poured(one, stocks, role), 0), 0, "mL")}` : ""; };
  const solution = STRIPS.map(([quantity, label, unit, decimals]) => {
    const one = of(day, quantity);
    return one && known(one.mean) ? `${label} ${amount(one.mean, decimals, unit)} (${number(one.low, decimals)} to ${number(one.high, decimals)})` : "";
  });
  return [...solution, given("nutrient", "nutrient"), given("ph", "acid or base"),
    known(day.topped_up_l) && `topped up ${within(day.topped_up_l, day.topped_up_give_or_take_l, 1, "L")}`,
    known(day.drunk_l) && `drunk ${within(day.drunk_l, day.drunk_give_or_take_l, 1, "L")}`,
    known(day.uptake_ms_cm) && `taken up at ${within(day.uptake_ms_cm, day.uptake_give_or_take_ms_cm, 2, "mS/cm")}`,
    !day.complete && "the day so far"].filter(Boolean).join("; ");
}

function summary(one, days) {
  const parts = STRIPS.map(([quantity, label, unit, decimals]) => {
    const band = one.bands.find((each) => each.quantity === quantity);
    const means = days.map((day) => of(day, quantity)?.mean).filter(known);
    if (!means.length) return "";
    const out = band ? means.filter((mean) => (known(band.low) && mean < band.low) || (known(band.high) && mean > band.high)).length : 0;
    const limits = band && known(band.low) && known(band.high) ? `, ${number(band.low, decimals)} to ${number(band.high, decimals)} wanted` : "";
    return `${label} ${number(Math.min(...means), decimals)} to ${amount(Math.max(...means), decimals, unit)} as days' means${limits}${band ? (out ? `, ${out} of ${means.length} days outside` : ", all inside") : ""}`;
  });
  const drunk = days.filter((day) => day?.complete).map((day) => day.drunk_l).filter(known);
  if (drunk.length) parts.push(`By the fall of its level ${amount(drunk.reduce((a, b) => a + b, 0) / drunk.length, 1, "L")} were drunk on a whole day, on average`);
  return `${parts.filter(Boolean).join(". ")}.`;
}

function Reservoir({ one, dates, zone }) {
  const byDay = new Map(one.days.map((day) => [day.day, day]));
  const days = dates.map((date) => byDay.get(date));
  const strips = STRIPS.map(([quantity, title, unit, decimals]) => ({ title, unit, decimals, height: 84, band: one.bands.find((each) => each.quantity === quantity), values: days.map((day) => of(day, quantity)) }));
  strips.push({ title: "Drunk, and topped up as a line", unit: "L", decimals: 0, bars: true, height: 56, values: days.map((day) => day && { mean: day.drunk_l, beside: day.topped_up_l }) });
  strips.push({ title: "EC of what the plants took up", unit: "mS/cm", decimals: 2, height: 56,
    values: days.map((day) => day && known(day.uptake_ms_cm) ? { mean: day.uptake_ms_cm, low: day.uptake_ms_cm - day.uptake_give_or_take_ms_cm, high: day.uptake_ms_cm + day.uptake_give_or_take_ms_cm } : null) });
  const every = (pick) => one.days.flatMap(pick).map((each) => Date.parse(each.start));
  const moments = [
    { name: "Nutrient doses", sign: "tick", moments: every((day) => day.doses.filter((dose) => roleOf(dose, one.stocks) === "nutrient")) },
    { name: "Acid or base alone", sign: "ring", moments: every((day) => day.doses.filter((dose) => roleOf(dose, one.stocks) === "ph")) },
    { name: "Top-ups", sign: "drop", moments: every((day) => day.top_ups) },
  ].map((row) => ({ ...row, name: row.name }));
  const mean = (day, quantity, decimals) => { const found = of(day, quantity); return found && known(found.mean) ? `${number(found.mean, decimals)} (${number(found.low, decimals)} to ${number(found.high, decimals)})` : "–"; };
  const ml = (day, role) => number(day.doses.reduce((sum, dose) => sum + poured(dose, one.stocks, role), 0), 0);
  return html`<h3>${one.label}</h3>
    <p class="told">${summary(one, days)}</p>
    <${DayStrips} id=${`read-${one.zone}`} ...${{ days: dates, strips, moments, zone }} readout=${(i) => told(days[i], one.stocks)}
      about="A dot is a day's mean, its line from the lowest to the highest; a triangle lies outside its band, shaded. A tick is a dose of nutrient, a ring one of acid or base alone, a drop a top-up." />
    <details class="long"><summary>The same as a table</summary><${Table} caption=${`${one.label}, day by day`} numeric=${[3, 4, 5, 6]}
      heads=${["Day", "EC, mS/cm", "pH", "Nutrient, mL", "Acid and base, mL", "Topped up, L", "Drunk, L", "Taken up, mS/cm", "EC drift, mS/cm a day"]}
      rows=${[...one.days].reverse().map((day) => [plainDay(day.day), mean(day, "solution_ec", 2), mean(day, "solution_ph", 2), ml(day, "nutrient"), ml(day, "ph"),
        number(day.topped_up_l, 1), number(day.drunk_l, 1), known(day.uptake_ms_cm) ? within(day.uptake_ms_cm, day.uptake_give_or_take_ms_cm, 2) : "–", number(day.ec_drift_ms_cm_d, 2)])} /></details>`;
}

function Probe({ one, zone }) {
  const rows = [...one.calibrations].reverse();
  const health = (row) => (known(row.slope_percent) ? `slope ${amount(row.slope_percent, 1, "%")} of Nernst, offset ${amount(row.offset_mv, 1, "mV")}`
    : known(row.constant_percent) ? `cell constant ${amount(row.constant_percent, 1, "%")} of what it began with` : "not told: calibrated in its own unit");
  return html`<${Table} caption=${`${one.label}: ${rows.length} ${rows.length === 1 ? "calibration" : "calibrations"}, the newest first`} heads=${["When", "By", "Probe", "Condition", "Correction from then on"]}
    rows=${rows.map((row) => [dayAndClock(Date.parse(row.time), zone), row.author, health(row), row.condition ?? "–",
      known(row.scale) ? `× ${number(row.scale, 3)}, then ${row.offset < 0 ? "" : "+"}${number(row.offset, 3)}` : known(row.slope_percent) ? "as before: in mV only after one in mV" : "as before: its buffers give no line"])} />`;
}

export function RootZoneDays({ feed, zone, view, change }) {
  const { answer, fault } = useAnswer(feed, `root-zone?days=${view.days}`);
  return html`<section id="root-zone" aria-labelledby="root-zone-title" class="full">
    <div class="head"><h2 id="root-zone-title">Root zone</h2><p class="note">Doses and top-ups as they were found in the readings.</p></div>
    <div class="body">
      <div class="controls"><${DaysShown} view=${view} change=${change} /></div>
      ${fault && html`<p class="warning" role="alert">${fault}</p>`}
      ${!answer && !fault && html`<p class="note">Reading …</p>`}
      ${answer && !answer.reservoirs.length && html`<p>No reservoir is described, or no day has been summed up yet.</p>`}
      ${answer?.reservoirs.map((one) => html`<${Reservoir} key=${one.zone} one=${one} dates=${answer.days} zone=${zone} />`)}
      ${answer?.reservoirs.length > 0 && html`<${Workings} of=${[{ quantity: "ec_drift", name: "EC drift" }]} about="EC drift" />`}
      ${answer && html`<h3>History of the probes</h3>`}
      ${answer && !answer.probes.length && html`<p>No calibration is written down. Write one down below, and what it says of the probe stands here.</p>`}
      ${answer?.probes.map((one) => html`<${Probe} key=${one.key} one=${one} zone=${zone} />`)}
    </div>
  </section>`;
}
