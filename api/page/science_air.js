// The day sheet's air: walls, CO2, the air conditioner, and how even and how soon right the air was.
import { html } from "./html.js";
import { Table } from "./table.js";
import { capital, lasting, number, words } from "./text.js";
import { amount, at, Facts, known, Notes, Out, Part, partly, share, someShare, times, within } from "./told.js";

const SECONDS_PER_HOUR = 3600;

export function Surfaces({ rows, zone, wide }) {
  const lowest = (one) => within(one.lowest_margin_k, one.lowest_margin_give_or_take_k, 1, "K")
    + (known(one.lowest_margin_at) ? `, at ${at(one.lowest_margin_at, zone)}` : "") + partly(one.coverage);
  const wet = (one) => {
    const [least, most] = [one.surely_wet_h, one.perhaps_wet_h].map((h) => amount(h, 1, "h"));
    const told = `${amount(one.wet_h, 1, "h")}${known(one.wet_h) && least !== most ? `; at least ${least}, at most ${most}` : ""}`;
    return one.surely_wet_h > 0 ? html`<${Out}>${told}<//>` : told;
  };
  const mould = (one) => amount(one.mould_index, 2) + (known(one.mould_index_change) ? ` (${one.mould_index_change < 0 ? "" : "+"}${number(one.mould_index_change, 2)})` : "");
  const night = ({ night: one }) => (!one ? "too little is known"
    : `${known(one.wet_probability) ? `wet with ${someShare(one.wet_probability)}: ` : ""}${within(one.margin_k, one.margin_give_or_take_k, 1, "K")}, at ${within(one.coldest_outdoors_degc, null, 0, "°C")} outdoors; from ${one.nights} nights`);
  return html`<${Part} title="Walls and other surfaces" wide=${wide}><${Table} caption="Margin above the dew point, wet time and mould"
    heads=${["Surface", "Lowest margin", "Wet", "Mould index (change)", "Lowest margin in the night to come"]}
    rows=${rows.map((one) => [one.label, lowest(one), wet(one), mould(one), night(one)])} />
    <${Notes} texts=${[`At a mould index of ${number(rows[0].mould_limit, 0)} or more mould can be seen. At a margin of 0 K or less water condenses.`]} /><//>`;
}

const STANDS = { near: "near the limit: ", above: "above the limit: " };

export function CarbonDioxide({ rows, zone, places, wide }) {
  const average = (one) => {
    if (!known(one.ppm)) return known(one.at_least_ppm) ? `not known; at least ${amount(one.at_least_ppm, 0, "ppm")}` : "not known";
    const told = `${within(one.ppm, one.give_or_take_ppm, 0, "ppm")}; limit ${amount(one.limit_ppm, 0, "ppm")}${partly(one.coverage)}`;
    if (STANDS[one.standing]) return html`<${Out}>${STANDS[one.standing]}${told}<//>`;
    return one.standing === "unknown" ? `${told}; not sure to be below it` : told;
  };
  const lit = (one) => `${amount(one.inside_h, 1, "h")} of ${amount(one.covered_h, 1, "h")}; below ${amount(one.below_h, 1, "h")}, above ${amount(one.above_h, 1, "h")}`;
  const cost = (value, currency) => (known(value) ? `; ${amount(value, 2, currency)}` : "");
  const rate = (gas) => {
    if (known(gas.air_changes_per_h)) return within(gas.air_changes_per_h, gas.air_changes_give_or_take_per_h, 2, "an hour");
    const doubts = [...new Set(gas.decays.flatMap((one) => one.doubts))];
    return `not known: ${doubts.length ? doubts.join("; ") : "no stretch of falling CO2 to tell it from"}`;
  };
  const near = (row) => [row.highest, row.average_8h, row.average_15min].some((one) => STANDS[one.standing]);
  return html`<${Part} title="CO2: exposure, leaks and what became of the gas" wide=${wide}>${rows.map((row) => {
    const gas = row.enrichment;
    return html`<${Facts} caption=${`${places(row.zone)}, ${row.label}`} rows=${[
      row.lit && ["In band while lit", lit(row.lit)],
      ["Highest average over 8 h", average(row.average_8h)],
      ["Highest average over 15 min", average(row.average_15min)],
      [`Highest reading${known(row.highest.at) ? `, at ${at(row.highest.at, zone)}` : ""}`, average(row.highest)],
      row.limits_by && ["Limits are those of", row.limits_by],
      gas && ["Air changes", rate(gas)],
      gas && [`Dosed, valve open for ${amount(gas.valve_open_h, 1, "h")}`, within(gas.dosed_g, gas.dosed_give_or_take_g, 0, "g") + partly(gas.dosed_coverage) + cost(gas.dosed_cost, gas.currency)],
      gas && ["Leaked", within(gas.leaked_g, gas.leaked_give_or_take_g, 0, "g") + partly(gas.leaked_coverage) + cost(gas.leaked_cost, gas.currency)],
      gas && ["More in the room at the end", amount(gas.stored_g, 0, "g")],
      gas && ["The rest: plants, doors, and error", within(gas.rest_g, gas.rest_give_or_take_g, 0, "g")],
      gas && ["With the valve stuck open the air would reach", amount(gas.valve_stuck_open_ppm, 0, "ppm")],
    ]} />
    <${Notes} texts=${[row.read_its_end && `The sensor showed the end of its range, ${amount(row.reads_up_to_ppm, 0, "ppm")}: the true level may have been higher.`,
      !row.pressure_corrected && "Not corrected for air pressure.",
      gas && gas.not_watched.length > 0 && `No series tells of ${gas.not_watched.map(words).join(", ")}: what it lets out counts as a leak.`]} />
    ${row.caution && html`<p class=${near(row) ? "warning" : "note"}>${row.caution}</p>`}`;
  })}<//>`;
}

function AirConditioner({ unit: { cycling, water, heat, electricity } }) {
  const cooling = electricity?.cooling_per_electricity;
  const weeks = water.against_first_weeks;
  return html`<${Facts} caption="Air conditioner" rows=${[
    cycling && ["Starts an hour, share of the time running", `${amount(cycling.starts_per_hour, 1)}, ${share(cycling.duty)}${partly(cycling.coverage)}`],
    cycling && ["Mean run and rest", [cycling.mean_on_s, cycling.mean_off_s].map((s) => (known(s) ? lasting(s) : "not known")).join(", ")],
    cycling && known(cycling.short_offs) && [`Rests shorter than ${lasting(cycling.min_off_s)}`, cycling.short_offs ? html`<${Out}>${cycling.short_offs}<//>` : "none"],
    water.by_condensate && ["Water taken out, by the drain's meter", within(water.by_condensate.kg, water.by_condensate.give_or_take, 1, "kg") + partly(water.by_condensate.coverage)],
    water.by_air && ["Water taken out, by the air's states", within(water.by_air.kg, water.by_air.give_or_take, 1, "kg") + partly(water.by_air.coverage)],
    water.agreement && ["Do the two agree?", water.agreement.agree ? "yes"
      : html`<${Out}>no, they differ<//> by ${within(water.agreement.difference_kg, water.agreement.give_or_take_kg, 1, "kg")}: look at the drain, and at the sensors before and behind the coil`],
    water.per_run_hour && ["Water an hour of running", within(water.per_run_hour.kg_per_h, water.per_run_hour.give_or_take, 2, "kg")],
    weeks && ["The same, as a share of the first weeks'", within(times(weeks.ratio, 100), times(weeks.ratio_give_or_take, 100), 0, "%")],
    heat && ["Heat taken out", within(heat.total.kwh, heat.total.give_or_take, 1, "kWh") + partly(heat.total.coverage)],
    heat && ["Sensible share of it", share(heat.sensible_heat_ratio)],
    electricity && [`Electricity, by ${electricity.from}`, within(electricity.used.kwh, electricity.used.give_or_take, 1, "kWh") + partly(electricity.used.coverage)],
    cooling && ["Cooling for each kWh", within(cooling.kwh_per_kwh, cooling.give_or_take, 1, "kWh")],
  ]} />`;
}

function Vapour({ balance }) {
  const kilograms = (one) => one ? within(one.kg, one.give_or_take, 1, "kg") + partly(one.coverage) : "not known";
  return html`<${Facts} caption="Water in the room's air" rows=${[
    [`Taken out by the coil, by the ${balance.removed_by === "air" ? "air's states" : "drain's meter"}`, kilograms(balance.removed)],
    ["Leaked away with the air", kilograms(balance.vented)],
    ["Held more at the end of the day", amount(balance.stored_kg, 2, "kg")],
    ["So plants and wet surfaces gave to the air", kilograms(balance.given_off)],
  ]} />`;
}

function Recovery({ rows, zone, places }) {
  const quantities = [...new Set(rows.map((one) => one.key.split("/")[1]))];
  const each = new Map();
  for (const one of rows) {
    const name = `${one.zone} ${one.lights_on}`;
    each.set(name, [...(each.get(name) ?? []), one]);
  }
  const after = (one) => {
    const to = one.until === "band" || !known(one.settled) ? ""
      : ` (no band: within ${amount(one.settled_within, 2, one.settled_within_unit)} of where it settled)`;
    if (known(one.recovery_h)) return (one.recovery_h < 1 / 120 ? "at once" : one.recovery_h < 1 ? amount(60 * one.recovery_h, 0, "min") : lasting(one.recovery_h * SECONDS_PER_HOUR)) + to;
    return (one.complete ? `not within ${amount(one.window_h, 1, "h")}` : `not yet, ${amount(one.window_h, 1, "h")} on`) + to + partly(one.coverage);
  };
  return html`<${Table} caption="How soon the air was back in its band after lights-on"
    heads=${["Zone, lights on", ...quantities.map((one) => capital(words(one)))]}
    rows=${[...each.values()].map((several) => [`${places(several[0].zone)}, ${at(several[0].lights_on, zone)}`,
      ...quantities.map((quantity) => several.filter((one) => one.key.split("/")[1] === quantity).map(after).join("; ") || "–")])} />`;
}

export function Climate({ climate, zone, places, wide }) {
  return html`<${Part} title="Air conditioner, recovery and evenness" wide=${wide}>
    ${climate.air_conditioners.map((unit) => html`<${AirConditioner} unit=${unit} />`)}
    ${climate.vapour_balance && html`<${Vapour} balance=${climate.vapour_balance} />`}
    ${climate.recovery.length > 0 && html`<${Recovery} rows=${climate.recovery} zone=${zone} places=${places} />`}
    ${climate.evenness.length > 0 && html`<${Table} caption="How far apart the rows were"
      heads=${["What", "Usually", "At most, 95 % of the time", "What the sensors alone may make", "More than the sensors explain?"]}
      rows=${climate.evenness.map((one) => [`${capital(words(one.quantity))}, ${one.light}`, amount(one.range_median, 2, one.unit) + partly(one.coverage),
        amount(one.range_p95, 2, one.unit), amount(one.range_of_sensors, 2, one.unit), one.distinguishable ? "yes" : "no"])} />`}<//>`;
}
