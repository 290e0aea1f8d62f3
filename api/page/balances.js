// Water, stocks, energy and CO2 day by day, and for how long each stock lasts.
import { DaysShown, DayStrips } from "./day_strips.js";
import { html } from "./html.js";
import { Table } from "./table.js";
import { number, plainDay } from "./text.js";
import { amount, between, known, Out, within } from "./told.js";
import { useAnswer } from "./use_answer.js";

const SOON_DAYS = 7; // our choice: an order and its delivery

const average = (values) => { const all = values.filter(known); return all.length ? all.reduce((a, b) => a + b, 0) / all.length : null; };

function told(day, currency) {
  if (!day) return "no day sheet";
  return [
    known(day.feed_water_l) && `feed water ${amount(day.feed_water_l, 1, "L")}`,
    known(day.drunk_l) && `drunk ${within(day.drunk_l, day.drunk_give_or_take_l, 1, "L")}`,
    known(day.condensate_l) && `condensate ${amount(day.condensate_l, 1, "L")}`,
    ...day.stocks.filter((one) => one.used_ml > 0).map((one) => `${one.label} ${amount(one.used_ml, 0, "mL")}`),
    known(day.energy_kwh) && `energy ${amount(day.energy_kwh, 1, "kWh")}${known(day.energy_cost) ? ` for ${amount(day.energy_cost, 2, currency)}` : ""}`,
    known(day.lamps_kwh) && `of it lamps about ${amount(day.lamps_kwh, 1, "kWh")}`,
    known(day.co2_dosed_g) && `CO2 ${amount(day.co2_dosed_g, 0, "g")}`,
    !day.complete && "the day so far"].filter(Boolean).join("; ") || "nothing is known";
}

function Stocks({ stocks }) {
  const lasts = (one) => {
    if (!known(one.days_left)) return known(one.full_bottle_lasts_days) ? `a full one ${amount(one.full_bottle_lasts_days, 0, "days")}` : "not known";
    const text = amount(one.days_left, 0, "days") + between(one.days_left_soonest, one.days_left_latest, 0, "days");
    return one.days_left < SOON_DAYS ? html`<${Out}>${text}<//>` : text;
  };
  return html`<${Table} caption="Stocks: what is left" heads=${["Stock", "Left", "Usual use a day", "Lasts", "Refilled"]}
    rows=${stocks.map((one) => [one.label, known(one.remaining_ml) ? amount(one.remaining_ml / 1000, 1, "L") : "not known: no refill is written down",
      amount(one.used_ml_per_day, 0, "mL"), lasts(one), one.refilled ? plainDay(one.refilled.slice(0, 10)) : "–"])} />`;
}

export function Balances({ feed, zone, view, change }) {
  const { answer, fault } = useAnswer(feed, `balances?days=${view.days}`);
  const days = answer?.days ?? [];
  const whole = days.filter((one) => one.complete);
  const currency = answer?.currency ?? "";
  const bar = (title, unit, pick, beside = () => null) => ({ title, unit, decimals: 0, bars: true, height: 56, values: days.map((day) => ({ mean: pick(day), beside: beside(day) })) });
  const poured = (day) => (day.stocks.every((one) => known(one.used_ml)) && day.stocks.length ? day.stocks.reduce((sum, one) => sum + one.used_ml, 0) : null);
  const strips = [
    bar("Water drunk, and feed water as a line", "L", (day) => day.drunk_l, (day) => day.feed_water_l),
    bar("Stocks, all of them", "mL", poured),
    bar("Energy, and lamps as a line", "kWh", (day) => day.energy_kwh, (day) => day.lamps_kwh),
    bar("CO2 dosed, and leaked as a line", "g", (day) => day.co2_dosed_g, (day) => day.co2_leaked_g),
  ].filter((strip) => strip.values.some((one) => known(one.mean)));
  const means = [["water drunk", average(whole.map((one) => one.drunk_l)), 1, "L"], ["condensate", average(whole.map((one) => one.condensate_l)), 1, "L"], ["energy", average(whole.map((one) => one.energy_kwh)), 0, "kWh"],
    ["at a cost of", average(whole.map((one) => one.energy_cost)), 2, currency], ["CO2", average(whole.map((one) => one.co2_dosed_g)), 0, "g"]].filter(([, value]) => known(value));
  return html`<section id="balances" aria-labelledby="balances-title" class="full">
    <div class="head"><h2 id="balances-title">Water, stocks and energy</h2><p class="note">By the meters; a part that is not known is left out, never guessed.</p></div>
    <div class="body">
      <div class="controls"><${DaysShown} view=${view} change=${change} /></div>
      ${fault && html`<p class="warning" role="alert">${fault}</p>`}
      ${!answer && !fault && html`<p class="note">Reading …</p>`}
      ${answer && !days.length && html`<p>No day has been summed up yet.</p>`}
      ${means.length > 0 && html`<p class="told">On a whole day, on average: ${means.map(([name, value, decimals, unit]) => `${name} ${amount(value, decimals, unit)}`).join(", ")}.</p>`}
      ${answer?.stocks.length > 0 && html`<${Stocks} stocks=${answer.stocks} />`}
      ${strips.length > 0 && html`<${DayStrips} id="read-balances" ...${{ days: days.map((one) => one.day), strips, zone }} readout=${(i) => told(days[i], currency)} />`}
      ${days.length > 0 && html`<details class="long"><summary>The same as a table</summary><${Table} caption="What went in and out, day by day" numeric=${[1, 2, 3, 4, 5, 6, 7]}
        heads=${["Day", "Feed water, L", "Drunk, L", "Condensate, L", "Stocks, mL", "Energy, kWh", "Lamps, kWh", "CO2, g"]}
        rows=${[...days].reverse().map((day) => [plainDay(day.day), number(day.feed_water_l, 1), number(day.drunk_l, 1), number(day.condensate_l, 1), number(poured(day), 0), number(day.energy_kwh, 1), number(day.lamps_kwh, 1), number(day.co2_dosed_g, 0)])} /></details>`}
    </div>
  </section>`;
}
