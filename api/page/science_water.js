// The day sheet's water: root zone, stocks, probes, irrigation, filters, feed water and the balance.
import { html } from "./html.js";
import { Table } from "./table.js";
import { capital, number, plainDay } from "./text.js";
import { amount, at, between, due, Facts, known, Notes, Out, Part, partly, share, times, within } from "./told.js";

/** A unit a day as people read it; a drift of temperature is a difference, so in K. */
const aDay = (unit) => unit.replace("degC", "K").replace(/\/d$/, " a day");

function Reservoir({ one, named, zone }) {
  const { response, water, salt, uptake } = one;
  const fed = one.doses.filter((dose) => known(dose.ec_expected_ms_cm));
  const closes = (book) => (!known(book.closes) ? "" : book.closes ? "" : html` <${Out}>more than that explains<//>`);
  const rise = (found) => (known(found.ratio)
    ? `${within(times(found.ratio, 100), times(found.give_or_take, 100), 0, "%")}; of ${amount(found.doses, 0, "doses")}`
    : "not known: no dose stands free enough of others");
  return html`<${Facts} caption=${one.label} rows=${[
    ...one.drift.map((line) => [`Drift between doses: ${named(line.key).replace(`${one.label}, `, "")}`, within(line.per_day, line.give_or_take, 2, aDay(line.unit))
      + (known(line.per_day) ? `; from ${amount(line.covered_h, 1, "h")}` : "")]),
    one.stocks.length > 0 && ["Doses found", amount(one.doses.length, 0)],
    response && ["Rise of EC, as a share of what the stock should give", rise(response)],
    ...one.ph_response.map((line) => [`pH for each mL of ${line.stock}`, within(line.ph_per_ml, line.ph_per_ml_give_or_take, 4)]),
    water && ["Topped up", within(water.topped_up_l, water.topped_up_give_or_take_l, 1, "L")],
    water && ["Drunk, by the level", within(water.drunk_l, water.drunk_give_or_take_l, 1, "L")],
    water && ["What the water's book leaves open", html`${within(water.closing_error_l, water.closing_error_give_or_take_l, 1, "L")}${closes(water)}`],
    salt && known(salt.closing_error_ms_cm_l) && ["What the salt's book leaves open", html`${within(salt.closing_error_ms_cm_l, salt.closing_error_give_or_take_ms_cm_l, 0, "mS/cm L")}${closes(salt)}`],
    uptake && ["EC of what the plants took up", within(uptake.concentration_ms_cm, uptake.concentration_give_or_take_ms_cm, 2, "mS/cm")],
  ]} />
  ${fed.length > 0 && html`<${Table} caption=${`${one.label}: what each dose of nutrient did to EC`} heads=${["Dose", "Given", "EC rose by", "A full stock gives"]}
    rows=${fed.map((dose) => [`${at(dose.start, zone)} to ${at(dose.end, zone)}${dose.runs_on ? ", doser running on" : ""}`,
      amount(Object.values(dose.volumes_ml).reduce((sum, ml) => sum + ml, 0), 0, "mL"),
      known(dose.ec_step_ms_cm) ? within(dose.ec_step_ms_cm, dose.ec_step_give_or_take_ms_cm, 3, "mS/cm") : "not known",
      amount(dose.ec_expected_ms_cm, 3, "mS/cm")])} />`}
  ${one.stocks.length > 0 && html`<${Table} caption=${`${one.label}: stocks`} heads=${["Stock", "Used", "Usual use", "Left", "Lasts"]}
    rows=${one.stocks.map((stock) => [stock.label, amount(stock.used_ml, 0, "mL"), `${amount(stock.used_ml_per_day, 0, "mL")} a day, from ${amount(stock.days_counted, 0, "days")}`,
      known(stock.remaining_ml) ? amount(stock.remaining_ml, 0, "mL") : "not known: no refill is written down",
      known(stock.days_left) ? amount(stock.days_left, 0, "days") + between(stock.days_left_soonest, stock.days_left_latest, 0, "days")
        : known(stock.full_bottle_lasts_days) ? `a full one ${amount(stock.full_bottle_lasts_days, 0, "days")}` : "not known"])} />`}
  ${one.caution && html`<p class="note">${one.caution}</p>`}`;
}

function Probes({ rows, named }) {
  const calibrated = (one) => (known(one.calibrated) ? plainDay(one.calibrated.slice(0, 10)) : "none written down");
  const electrode = ({ electrode: it }) => it && `Electrode: ${it.condition}, slope ${amount(it.slope_percent, 1, "%")}, offset ${amount(it.offset_mv, 0, "mV")}`
    + (known(it.days_to_limit) ? `; ${number(it.limit_percent, 0)} % ${due(it.days_to_limit, it.days_to_limit_soonest, it.days_to_limit_latest)}` : "");
  const cell = ({ cell: it }) => it && `Cell: ${it.condition}, constant ${amount(it.constant_percent, 1, "%")} of what it began with, good to ± ${amount(it.limit_percent, 0, "%")}`;
  const samples = ({ samples: it }) => it && `Samples by hand: ${amount(it.count, 0)}, sensor less sample ${within(it.bias, it.bias_give_or_take, 2, it.unit)}; ${it.verdict}`;
  const state = (one) => [electrode(one), cell(one), samples(one)].filter(Boolean).join(". ") || "nothing written down";
  return html`<${Table} caption="Probes" heads=${["Probe", "Last calibration", "Correction", "Next is due", "Condition"]}
    rows=${rows.map((one) => [named(one.key), calibrated(one), known(one.scale) ? `× ${number(one.scale, 3)}, then ${one.offset < 0 ? "" : "+"}${number(one.offset, 3)}` : "none",
      !known(one.due_in_days) ? "not known" : one.due_in_days < 0 ? html`<${Out}>${amount(-one.due_in_days, 0, "days")} ago<//>` : due(one.due_in_days), state(one)])} />`;
}

export function RootZone({ rows, probes, named, zone, wide }) {
  return html`<${Part} title="Root zone, stocks and probes" wide=${wide}>
    ${rows.map((one) => html`<${Reservoir} one=${one} named=${named} zone=${zone} />`)}
    ${probes.length > 0 && html`<${Probes} rows=${probes} named=${named} />`}<//>`;
}

function Irrigation({ rows, zone }) {
  const cycles = (one) => {
    const told = amount(one.cycles, 0) + (known(one.planned_cycles) ? ` of ${one.planned_cycles} planned` : known(one.usual_cycles) ? `, usually ${number(one.usual_cycles, 0)}` : "");
    return html`${one.fewer_than_planned > 0 ? html`<${Out}>${told}<//>` : told}${partly(one.coverage)}`;
  };
  const wrong = rows.flatMap((one) => [
    ...one.missed.map((fault) => `${one.label}, ${at(fault.at, zone)}, missed: ${fault.reason}.`),
    ...one.faults.map((fault) => `${one.label}, ${at(fault.at, zone)}, ${fault.fault}: ${fault.reason}.`),
    ...(one.differs_from_siblings ? [`${one.label}: ${amount(one.ratio_to_siblings, 2)} times what the other lines brought.`] : []),
  ]);
  const unjudged = rows.filter((one) => one.starts_not_judged > 0);
  return html`<${Table} caption="Irrigation" heads=${["Line", "Cycles", "Water", "For each plant site", "Of the rated flow", "Faults"]}
    rows=${rows.map((one) => [one.label, cycles(one), known(one.litres_l) ? within(one.litres_l, one.litres_give_or_take_l, 0, "L") + partly(one.litres_coverage) : "no flow is measured",
      amount(one.per_plant_site_l, 1, "L"), share(one.share_of_rating), one.missed.length + one.faults.length ? html`<${Out}>${one.missed.length + one.faults.length}<//>` : "none"])} />
    ${wrong.length > 0 && html`<ul>${wrong.map((text) => html`<li>${text}</li>`)}</ul>`}
    <${Notes} texts=${[...unjudged.map((one) => `${one.label}: ${one.starts_not_judged} usual starts could not be judged, for want of readings.`),
      ...rows.filter((one) => known(one.return_lag_s)).map((one) => `${one.label}: the return flow follows after ${within(one.return_lag_s, one.return_lag_give_or_take_s, 0, "s")}.`)]} />`;
}

function Filters({ rows }) {
  return html`<${Table} caption="Filters" heads=${["Filter", "Pressure drop", "Grows by", "Limit", "Reaches it"]}
    rows=${rows.map((one) => [one.label, within(one.drop_kpa, one.drop_give_or_take_kpa, 1, "kPa"),
      known(one.per_day_kpa) ? `${amount(one.per_day_kpa, 1, "kPa")} a day${between(one.per_day_low_kpa, one.per_day_high_kpa, 1, "kPa")}` : "not known: too few days",
      known(one.limit_kpa) ? amount(one.limit_kpa, 0, "kPa") : "none set", due(one.due_in_d, one.due_earliest_d, one.due_latest_d) ?? "not in sight, or not known"])} />`;
}

function Floods({ rows, zone }) {
  const faults = (one) => (one.faults.length
    ? html`<${Out}>${one.faults.map((fault) => `${at(fault.at, zone)}: ${fault.reason}`).join("; ")}<//>` : "none");
  return html`<${Table} caption="Flood and drain" heads=${["Shelf", "Floods", "Fills in", "Water stands", "Drains in", "Faults"]}
    rows=${rows.map((one) => [one.label, amount(one.floods, 0) + partly(one.coverage), amount(one.fill_min, 0, "min"),
      amount(one.wet_min, 0, "min") + (known(one.usual_wet_min) ? `, usually ${amount(one.usual_wet_min, 0, "min")}` : ""), amount(one.drain_min, 0, "min"), faults(one)])} />`;
}

function FeedWater({ one }) {
  return html`<${Facts} caption="Feed water, by reverse osmosis" rows=${[
    ["Made", within(one.litres_l, one.litres_give_or_take_l, 1, "L") + partly(one.coverage)],
    known(one.output_l_min) && [`Output while running, in ${amount(one.running_min, 0, "min")}`, `${amount(one.output_l_min, 2, "L/min")}; ${amount(one.expected_l_min, 2, "L/min")} expected of feed water at ${amount(one.feed_temperature_degc, 1, "°C")}`],
    known(one.normalised_output_percent) && ["Output brought to 25 °C, as a share of the rating", within(one.normalised_output_percent, one.normalised_output_give_or_take_percent, 0, "%")],
    known(one.per_day_percent) && [`Change a day, from ${amount(one.trend_from_days, 0, "days")}`, amount(one.per_day_percent, 2, "%") + between(one.per_day_low_percent, one.per_day_high_percent, 2, "%")],
    known(one.clean_below_percent) && [`Falls below ${amount(one.clean_below_percent, 0, "%")}, when it is to be cleaned`, due(one.due_in_d, one.due_earliest_d, one.due_latest_d) ?? "not in sight, or not known"],
  ]} /><${Notes} texts=${one.unknown.map((text) => `Not known: ${text}.`)} />`;
}

const SIDES = { in: "in", out: "out", gained: "gained in the day" };

function Balance({ one }) {
  const litres = (term) => within(term.litres_l, term.give_or_take_l, 1, "L") + partly(term.coverage);
  return html`<${Facts} caption="Water balance, by the meters" rows=${[
    ...one.terms.map((term) => [`${capital(term.name)}, ${SIDES[term.side]}`, litres(term)]),
    ["Drunk: what is left over", litres(one.drunk)],
    ["Condensate", litres(one.condensate)],
    ["Drunk and not in the condensate: kept by plants, or lost with air", litres(one.drunk_less_condensate)],
  ]} /><${Notes} texts=${[...one.unknown.map((text) => `Not known: ${text}.`), ...one.assumed.map((text) => `Assumed: ${text}.`)]} />`;
}

export function Water({ sheet, zone, wide }) {
  const { irrigation = [], filters = [], flood_shelves: shelves = [], feed_water: feed = [], water_balance: balances = [] } = sheet;
  if (![irrigation, filters, shelves, feed, balances].some((one) => one.length)) return null;
  return html`<${Part} title="Irrigation, filters, feed water and water balance" wide=${wide}>
    ${irrigation.length > 0 && html`<${Irrigation} rows=${irrigation} zone=${zone} />`}
    ${filters.length > 0 && html`<${Filters} rows=${filters} />`}
    ${shelves.length > 0 && html`<${Floods} rows=${shelves} zone=${zone} />`}
    ${feed.map((one) => html`<${FeedWater} one=${one} />`)}
    ${balances.map((one) => html`<${Balance} one=${one} />`)}<//>`;
}
