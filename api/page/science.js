// The parts of the day sheet that the science makes: walls, lamps, CO2, climate, energy, root zone, water, quality.
import { html } from "./html.js";
import { Table } from "./table.js";
import { capital, clock, dayAndClock, lasting, number, words } from "./text.js";

const NBSP = "\u00a0";
const known = (value) => value !== null && value !== undefined;
const amount = (value, decimals, unit) => (known(value) ? number(value, decimals) + (unit ? NBSP + unit : "") : "not known");
/** A value with its give or take, as "0.4 K, give or take 0.6 K". */
const within = (value, take, decimals, unit) =>
  amount(value, decimals, unit) + (known(value) && known(take) ? `, give or take ${amount(take, decimals, unit)}` : "");
const share = (part) => (known(part) ? `${number(100 * part, 0)}${NBSP}%` : "not known");
const partly = (coverage) => (known(coverage) && coverage < 0.95 ? ` (of ${share(coverage)} of the time)` : "");
const read = (unit) => unit.replace("degC", "°C");
const list = (names) => names.join(", ");

/** One part, closed on a narrow screen; nothing where the farm has nothing of the kind. */
function Part({ title, wide, children }) {
  return html`<details class="long" open=${wide}><summary>${title}</summary>${children}</details>`;
}

const Facts = ({ caption, rows }) => html`<${Table} caption=${caption} heads=${["What", "Found"]} rows=${rows.filter(Boolean)} />`;

function Surfaces({ rows, zone, wide }) {
  const night = ({ night: one }) => (!one || !known(one.margin_k) ? "too little is known"
    : within(one.margin_k, one.margin_give_or_take_k, 1, "K"));
  return html`<${Part} title="Walls and other surfaces" wide=${wide}><${Table} caption="Surfaces: margin above the dew point, wet time and mould"
    heads=${["Surface", "Lowest margin", "At", "Wet for sure", "Perhaps wet", "Mould index", "Margin in the night to come"]}
    rows=${rows.map((one) => [one.label, within(one.lowest_margin_k, one.lowest_margin_give_or_take_k, 1, "K") + partly(one.coverage),
      one.lowest_margin_at ? clock(Date.parse(one.lowest_margin_at), zone) : "–", amount(one.surely_wet_h, 1, "h"), amount(one.perhaps_wet_h, 1, "h"),
      `${amount(one.mould_index, 2)} of ${number(one.mould_limit, 0)}`, night(one)])} />
    <p class="note">From the mould index 3 on mould can be seen. The night to come is reckoned from the nights before.</p><//>`;
}

function Lamps({ rows, evenness, wide }) {
  const trend = ({ trend: one }) => (!one ? "too few days"
    : `${within(one.percent_per_1000_h, null, 2, "%")} in 1000${NBSP}h${one.significant ? "" : ", not to be told from none"}`);
  return html`<${Part} title="Lamps" wide=${wide}>
    <${Table} caption="Lamp output against commissioning" heads=${["Lamps", "Output", "Trend", "Sudden losses"]}
      rows=${rows.map((one) => [one.label, within(one.output_percent, one.plus_or_minus_percent, 0, "%"), trend(one),
        one.steps === null ? "not known" : one.steps.length ? html`<strong class="outside">${one.steps.length}</strong>` : "none"])} />
    ${evenness.map((one) => html`<p>Between ${one.zones_known} zones with ${words(one.crop)}, ${words(one.phase)}: the lowest light integral is
      ${" "}${share(one.min_over_mean)} of the mean (${words(one.lowest_zone)}).</p>`)}<//>`;
}

function CarbonDioxide({ rows, zone, wide }) {
  const average = (one) => (!known(one?.ppm) ? "not known"
    : html`${one.standing === "below" ? "" : html`<strong class="outside">${one.standing} the limit: </strong>`}${amount(one.ppm, 0, "ppm")}, limit ${amount(one.limit_ppm, 0, "ppm")}${partly(one.coverage)}`);
  const near = (row) => [row.highest, row.average_8h, row.average_15min].some((one) => known(one?.standing) && one.standing !== "below");
  return html`<${Part} title="CO2: exposure, leaks and what became of the gas" wide=${wide}>${rows.map((row) => {
    const gas = row.enrichment;
    return html`<${Facts} caption=${`${row.label}, ${row.zone}`} rows=${[
      row.lit && ["In band while lit", `${amount(row.lit.inside_h, 1, "h")} of ${amount(row.lit.covered_h, 1, "h")}`],
      ["Highest average over 8 h", average(row.average_8h)],
      ["Highest average over 15 min", average(row.average_15min)],
      row.highest && ["Highest reading", `${amount(row.highest.ppm, 0, "ppm")}${row.highest.at ? ` at ${clock(Date.parse(row.highest.at), zone)}` : ""}`],
      gas && ["Air changes an hour", within(gas.air_changes_per_h, gas.air_changes_give_or_take_per_h, 2, "/h")],
      gas && ["Dosed", within(gas.dosed_g, gas.dosed_give_or_take_g, 0, "g") + (known(gas.dosed_cost) ? `, ${number(gas.dosed_cost, 2)} ${gas.currency}` : "")],
      gas && ["Leaked", within(gas.leaked_g, gas.leaked_give_or_take_g, 0, "g") + (known(gas.leaked_cost) ? `, ${number(gas.leaked_cost, 2)} ${gas.currency}` : "")],
      gas && ["The rest: plants, and what is not known", within(gas.rest_g, gas.rest_give_or_take_g, 0, "g")],
      gas && ["With the valve stuck open the air would reach", amount(gas.valve_stuck_open_ppm, 0, "ppm")],
    ]} />${row.caution && html`<p class=${near(row) ? "warning" : "note"}>${row.caution}</p>`}`;
  })}<//>`;
}

function Energy({ energy, wide }) {
  const peaks = energy.peaks;
  return html`<${Part} title="Energy" wide=${wide}><${Facts} caption="Energy and peaks" rows=${[
    ["Energy", amount(energy.kwh, 1, "kWh") + partly(energy.coverage) + (known(energy.cost) ? `, ${number(energy.cost, 2)} ${energy.currency}` : "")],
    peaks && ["Highest average over 15 min", amount(peaks.average_15min?.power_w, 0, "W")],
    peaks && ["Highest average over 3 h", amount(peaks.average_3h?.power_w, 0, "W")],
    peaks && known(peaks.continuous_rating_w) && ["May be carried for hours", `${amount(peaks.continuous_rating_w, 0, "W")} (${share(peaks.continuous_share)} of the breaker)`],
    ...(energy.lamps ?? []).map((one) => [`Lamps ${words(one.name)}, estimated`, amount(one.estimated_kwh, 1, "kWh")]),
  ]} />${peaks?.caution && html`<p class="warning">${peaks.caution}</p>`}<//>`;
}

function Climate({ climate, named, wide }) {
  return html`<${Part} title="Air conditioner, recovery and evenness" wide=${wide}>
    ${climate.air_conditioners.map((unit) => html`<${Facts} caption="Air conditioner" rows=${[
      unit.cycling && ["Starts an hour, share of the time running", `${amount(unit.cycling.starts_per_hour, 1)}, ${share(unit.cycling.duty)}`],
      unit.cycling && ["Mean run and rest", `${lasting(unit.cycling.mean_on_s ?? 0)}, ${lasting(unit.cycling.mean_off_s ?? 0)}`],
      unit.water?.by_condensate && ["Water removed, by the drain", within(unit.water.by_condensate.kg, unit.water.by_condensate.give_or_take, 1, "kg")],
      unit.water?.by_air && ["Water removed, by the air", within(unit.water.by_air.kg, unit.water.by_air.give_or_take, 1, "kg")],
      unit.water?.agreement && ["Do the two agree?", unit.water.agreement.agree ? "yes" : html`<strong class="outside">no: look at the drain, and at the sensors before and behind the coil</strong>`],
      unit.water?.against_first_weeks && ["Water an hour of running, against the first weeks", within(100 * unit.water.against_first_weeks.ratio, 100 * unit.water.against_first_weeks.ratio_give_or_take, 1, "%")],
      unit.heat && ["Heat removed", within(unit.heat.total?.kwh, unit.heat.total?.give_or_take, 1, "kWh")],
      unit.heat && ["Sensible share of it", `${share(unit.heat.sensible_heat_ratio)} (${words(unit.heat.convention)})`],
      unit.electricity?.cooling_per_electricity && ["Cooling for each kWh", amount(unit.electricity.cooling_per_electricity.kwh_per_kwh, 1, "kWh")],
    ]} />`)}
    ${climate.recovery.length > 0 && html`<${Table} caption="How soon the air was right after lights-on" heads=${["Series", "After"]}
      rows=${climate.recovery.map((one) => [named(one.key), known(one.recovery_h) ? amount(one.recovery_h, 1, "h") : "not within the time looked at"])} />`}
    ${climate.evenness.length > 0 && html`<${Table} caption="Evenness between rows" heads=${["What", "Lights", "Usual range", "More than the sensors explain?"]}
      rows=${climate.evenness.map((one) => [capital(words(one.quantity)), one.light, amount(one.range_median, 2, one.unit), one.distinguishable ? "yes" : "no"])} />`}<//>`;
}

function RootZone({ rows, probes, named, wide }) {
  return html`<${Part} title="Root zone, stocks and probes" wide=${wide}>${rows.map((one) => html`
    <${Facts} caption=${one.label} rows=${[
      ...one.drift.map((line) => [`Drift between doses, ${named(line.key).split(", ").slice(1).join(", ")}`, within(line.per_day, line.give_or_take, 2, read(line.unit).replace("/d", " a day"))]),
      ["Doses found", amount(one.doses?.length, 0)],
      one.response && ["Rise of EC against what the stock should give", within(100 * one.response.ratio, 100 * one.response.give_or_take, 0, "%")],
      one.water && ["Topped up", within(one.water.topped_up_l, one.water.topped_up_give_or_take_l, 1, "L")],
      one.water && ["Drunk, by the level", within(one.water.drunk_l, one.water.drunk_give_or_take_l, 1, "L")],
      one.water && ["Water book closes within", `${within(one.water.closing_error_l, one.water.closing_error_give_or_take_l, 1, "L")}`],
      one.uptake && ["Taken up with each litre", within(one.uptake.concentration_ms_cm, one.uptake.concentration_give_or_take_ms_cm, 2, "mS/cm")],
      ...one.stocks.map((stock) => [`${stock.label}: used, and days left`, `${amount(stock.used_ml, 0, "mL")}, ${known(stock.days_left) ? `${number(stock.days_left, 0)} days` : "not known: write its refill down"}`]),
    ]} />${one.caution && html`<p class="note">${one.caution}</p>`}`)}
    ${probes.length > 0 && html`<${Table} caption="Probes" heads=${["Probe", "Last calibration", "Correction", "Due in"]}
      rows=${probes.map((one) => [one.label, one.calibrated ? one.calibrated.slice(0, 10) : "none written down",
        known(one.scale) ? `× ${number(one.scale, 3)}, ${number(one.offset, 3)}` : "none", known(one.due_in_days) ? `${number(one.due_in_days, 0)} days` : "not known"])} />`}<//>`;
}

function Water({ sheet, zone, wide }) {
  const faults = (line) => (line.missed ?? []).length + (line.faults ?? []).length;
  return html`<${Part} title="Irrigation, filters, feed water and water balance" wide=${wide}>
    ${sheet.irrigation.length > 0 && html`<${Table} caption="Irrigation" heads=${["Line", "Cycles", "Water", "For each plant", "Of the rating", "Missed, short, weak or stuck"]}
      rows=${sheet.irrigation.map((one) => [one.label, `${number(one.cycles, 0)}${known(one.planned_cycles) ? ` of ${one.planned_cycles}` : ""}`,
        within(one.litres_l, one.litres_give_or_take_l, 0, "L"), amount(one.per_plant_site_l, 1, "L"), share(one.share_of_rating),
        faults(one) ? html`<strong class="outside">${faults(one)}</strong>` : "none"])} />`}
    ${sheet.filters.length > 0 && html`<${Table} caption="Filters" heads=${["Filter", "Pressure drop", "A day", "Limit", "Due in"]}
      rows=${sheet.filters.map((one) => [one.label, within(one.drop_kpa, one.drop_give_or_take_kpa, 0, "kPa"), amount(one.per_day_kpa, 1, "kPa"),
        amount(one.limit_kpa, 0, "kPa"), known(one.due_in_d) ? `${number(one.due_in_d, 0)} days` : "not to be told"])} />`}
    ${sheet.flood_shelves.length > 0 && html`<${Table} caption="Flood and drain" heads=${["Shelf", "Floods", "What went wrong"]}
      rows=${sheet.flood_shelves.map((one) => [one.label, amount(one.floods, 0),
        one.faults.length ? html`<strong class="outside">${list(one.faults.map((fault) => fault.reason))}</strong>` : "nothing"])} />`}
    ${sheet.feed_water.map((one) => html`<${Facts} caption="Feed water" rows=${[
      ["Made", within(one.litres_l, one.litres_give_or_take_l, 0, "L") + partly(one.coverage)],
      ["Output at 25 °C, of the rating", within(one.normalised_output_percent, one.normalised_output_give_or_take_percent, 0, "%")],
      ["Feed temperature", amount(one.feed_temperature_degc, 1, "°C")],
    ]} />`)}
    ${sheet.water_balance.map((one) => html`<${Facts} caption="Water balance, by the meters" rows=${[
      ...one.terms.map((term) => [`${capital(term.name)} (${term.side})`, within(term.litres_l, term.give_or_take_l, 1, "L")]),
      ["Drunk: what is left over", within(one.drunk?.litres_l, one.drunk?.give_or_take_l, 1, "L")],
    ]} />${[...one.assumed, ...one.unknown].length > 0 && html`<p class="note">${capital(list([...one.assumed, ...one.unknown]))}.</p>`}`)}<//>`;
}

function Quality({ quality, named, wide }) {
  const doubted = quality.series.filter((one) => one.suspect_count || one.fail_count || one.missing_count
    || one.siblings?.disagrees_h > 0 || one.drift?.drifts);
  const whom = (one) => [one.siblings?.disagrees_h > 0 && `unlike its siblings for ${amount(one.siblings.disagrees_h, 1, "h")}`,
    one.drift?.drifts && "drifts"].filter(Boolean).join(", ") || "–";
  return html`<${Part} title="How good the readings were" wide=${wide}>
    ${doubted.length === 0 && html`<p>All ${quality.series.length} series came whole, and no test doubts a reading.</p>`}
    ${doubted.length > 0 && html`<${Table} caption=${`${doubted.length} of ${quality.series.length} series with doubts or gaps`} numeric=${[1, 2, 3, 4]}
      heads=${["Series", "Good", "Suspect", "Failed", "Missing", "Against others"]}
      rows=${doubted.map((one) => [named(one.key), share(one.good_share), share(one.suspect_share), share(one.fail_share), share(one.missing_share), whom(one)])} />`}
    ${quality.impossible.map((one) => html`<p>Cannot be: ${words(one.what)} (${named(one.key)}), for ${amount(one.lasted_h, 1, "h")}.</p>`)}<//>`;
}

export function Science({ sheet, list: series, zone, wide }) {
  const labels = new Map(series.map((one) => [one.key, `${one.zone_label}, ${one.label}`]));
  const named = (key) => labels.get(key) ?? key;
  const water = ["irrigation", "filters", "flood_shelves", "feed_water", "water_balance"];
  return html`
    ${sheet.surfaces?.length > 0 && html`<${Surfaces} rows=${sheet.surfaces} zone=${zone} wide=${wide} />`}
    ${sheet.lamps?.length > 0 && html`<${Lamps} rows=${sheet.lamps} evenness=${sheet.light_evenness ?? []} wide=${wide} />`}
    ${sheet.carbon_dioxide?.length > 0 && html`<${CarbonDioxide} rows=${sheet.carbon_dioxide} zone=${zone} wide=${wide} />`}
    ${sheet.climate && sheet.climate.air_conditioners.length + sheet.climate.recovery.length + sheet.climate.evenness.length > 0
      && html`<${Climate} climate=${sheet.climate} named=${named} wide=${wide} />`}
    ${(sheet.root_zone?.length > 0 || sheet.probes?.length > 0) && html`<${RootZone} rows=${sheet.root_zone ?? []} probes=${sheet.probes ?? []} named=${named} wide=${wide} />`}
    ${water.every((name) => sheet[name]) && water.some((name) => sheet[name].length > 0) && html`<${Water} sheet=${sheet} zone=${zone} wide=${wide} />`}
    ${known(sheet.energy?.kwh) && html`<${Energy} energy=${sheet.energy} wide=${wide} />`}
    ${sheet.quality && html`<${Quality} quality=${sheet.quality} named=${named} wide=${wide} />`}`;
}
