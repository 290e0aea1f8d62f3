// How each worked-out number comes about, in short: formula, what goes in, source. The one table of it on the page; the
// whole, with validity and checks, is docs/science.md, under the name of the function.
import { html } from "./html.js";

/** By quantity, or by what a section calls it: formula, inputs, source, and the function that works it out. */
export const WORKINGS = {
  vapour_pressure_deficit: ["es(T) × (1 − RH/100)", "air temperature, relative humidity", "es: ASHRAE Fundamentals 2017, ch. 1, eq. 5 and 6", "air_vapour_pressure_deficit"],
  leaf_vapour_pressure_deficit: ["es(leaf) − RH/100 × es(air)", "leaf temperature, or air temperature and the zone’s leaf_offset_k; relative humidity", "es: ASHRAE Fundamentals 2017, ch. 1, eq. 5 and 6", "leaf_vapour_pressure_deficit"],
  dew_point_temperature: ["the temperature at which es is RH/100 × es(T): the exact inverse, solved by Newton’s method", "air temperature, relative humidity", "es: ASHRAE Fundamentals 2017, ch. 1, eq. 5 and 6", "dew_point_temperature"],
  humidity_ratio: ["W = 0.621945 e / (p − e), with e = RH/100 × es(T)", "air temperature, relative humidity, air pressure (measured, else of the elevation)", "ASHRAE Fundamentals 2017, ch. 1, eq. 20", "humidity_ratio"],
  surface_temperature: ["Te + f (Ti − Te), with f = 1 − Rsi / (Rsi + R + Rse)", "temperatures on both sides of the wall, its R-value and films", "ISO 6946 and ISO 13788", "wall_surface_temperature"],
  condensation_margin: ["surface temperature − dew point; at or below 0 water forms", "surface temperature, air temperature, relative humidity", "definition; dew point as above", "condensation_margin"],
  surface_relative_humidity: ["100 e / es(surface), at most 100", "air temperature, relative humidity, surface temperature", "ISO 13788", "surface_relative_humidity"],
  mould_index: ["grows by k1 k2 / (7 tm) a day above a critical humidity, and declines in dry hours", "humidity at the surface and its temperature, hour by hour; the material’s class", "Hukka and Viitanen 1999, classes of Ojanen et al. 2010; limit 3.0: ASHRAE 160, from memory", "mould_index"],
  moisture_removal_rate: ["V / v × (W1 − W2)", "air flow through the coil, temperature and humidity before and after it", "water balance of the air; v: ASHRAE Fundamentals 2017, ch. 1, eq. 26", "moisture_removal_rate"],
  co2_average_8h: ["(Ca Ta + Cb Tb + …) over the 8 h before", "CO2, each reading until the next, at most three cadences", "29 CFR 1910.1000(d)(1)(i)", "eight_hour_average"],
  co2_average_15min: ["the same over the 15 min before", "CO2, each reading until the next, at most three cadences", "29 CFR 1910.1000(d)(1)(i)", "fifteen_minute_average"],
  air_change_rate: ["least squares of C = L + D exp(−A t); A is the rate", "CO2 while it falls in the dark, with nothing dosed and all shut", "the decay of ASTM E741, from memory, with the balance of a room that has a constant source", "air_change_rate_with_source"],
  daily_light_integral: ["10⁻⁶ × the integral of PPFD over the seconds of a light day, by trapezoids", "PPFD, or where none is measured the lamps’ PPFD at commissioning while they are on", "definition", "light_integral"],
  photoperiod: ["the time for which the lights were on in a light day", "the lights’ switch, else PPFD above a threshold", "definition", "photoperiod"],
  lamp_output: ["median PPFD of full light over the PPFD at commissioning", "PPFD, ramps and dimmed time left out; commissioning_ppfd of farm.toml", "our choice, no source", "lit_output"],
  "ppfd/estimated": ["the lamps’ PPFD at commissioning while they are on", "the lights’ switch, commissioning_ppfd of farm.toml", "definition; no sensor saw it", "held_light_integral"],
  dissolved_oxygen_saturation: ["100 × measured / saturated oxygen", "dissolved oxygen, solution temperature, air pressure", "Benson and Krause, in APHA Standard Methods 4500-O", "saturated_dissolved_oxygen"],
  filter_pressure_drop: ["dp × (q_ref / q)², at 0.7 to 1.3 of the reference flow", "pressure before and after the filter, flow", "turbulent loss", "normalised_pressure_drop"],
  normalised_output: ["100 × output × TCF / rating, 1/TCF = exp(k (1/298 − 1/(273 + T)))", "output while it runs, feed temperature, the unit’s rating", "correction of thin-film membranes, k from memory", "normalised_output_share"],
  flow_rate: ["what a counter counted between two readings, over the time between them", "the counter’s readings", "definition", "rate"],
  electrical_power: ["what a meter counted between two readings, over the time between them", "the energy meter’s readings", "definition", "rate"],
  ec_drift: ["a straight line through each stretch without a dose or top-up; slope × time, over a day", "EC at 25 °C, doses and top-ups as found in the readings", "least squares; intervals widened for readings alike after Santer et al. 2000, from memory", "lines_between"],
};

/** What is known of how a series came about: nothing where it was measured. */
const key = ({ quantity, key: name }) => (name?.endsWith("/estimated") && WORKINGS[`${quantity}/estimated`] ? `${quantity}/estimated` : quantity);

/** The worked-out numbers among some series, each told once. */
export function Workings({ of, about = "" }) {
  const told = new Map(of.filter((one) => WORKINGS[key(one)]).map((one) => [key(one), one.name ?? one.label]));
  if (!told.size) return null;
  return html`<details class="workings"><summary>How ${told.size === 1 ? "it is" : "these are"} worked out${about && html`<span class="hidden">: ${about}</span>`}</summary>
    <dl>${[...told].map(([name, label]) => {
      const [formula, inputs, source, by] = WORKINGS[name];
      return html`<dt>${label.split(",")[0]}</dt><dd><span class="formula">${formula}</span><br />From: ${inputs}.<br />Source: ${source}. In docs/science.md: <code>${by}</code>.</dd>`;
    })}</dl></details>`;
}

/** Those of some series that are worked out and not measured. */
export const workedOut = (series, list) => {
  const origin = new Map(list.map((one) => [one.key, one.origin]));
  return series.filter((one) => origin.get(one.key) === "derived");
};
