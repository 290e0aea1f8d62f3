// The day sheet's light: what each zone got and when, how even it fell, and how the lamps wear.
import { html } from "./html.js";
import { Table } from "./table.js";
import { clock, number, plainDay, words } from "./text.js";
import { amount, at, between, known, Notes, Out, Part, share, within } from "./told.js";

const NBSP = "\u00a0";
const MINUTE_FROM = 1;

export function LightDays({ days }) {
  const shift = (minutes, less, more) => (!known(minutes) ? "" : Math.abs(minutes) < MINUTE_FROM ? ", as planned"
    : `, ${number(Math.abs(minutes), 0)}${NBSP}min ${minutes > 0 ? more : less}`);
  const on = (day) => (known(day.lights_on_local)
    ? day.lights_on_local.slice(0, 5) + shift(day.lights_on_shift_min, "early", "late")
    : known(day.usual_lights_on_local) ? `not seen; usually ${day.usual_lights_on_local.slice(0, 5)}` : "not known");
  const lit = (day) => amount(day.lit_h, 1, "h") + (known(day.lit_h) && day.lit_from === "lights_on" ? " by the switch" : "")
    + shift(day.length_shift_min, "short", "long");
  return html`<${Table} caption="Light days that began on this day" numeric=${[4]}
    heads=${["Zone", "Daily light integral", "Target", "Lit, against the plan", "Coverage", "Lights on, against the plan"]}
    rows=${days.map((day) => [day.estimated ? `${day.label} (estimated, not measured)` : day.label,
      amount(day.mol, 1, "mol m⁻² d⁻¹") + (known(day.mol_plus_or_minus) ? `, give or take ${number(day.mol_plus_or_minus, 1)}` : ""),
      day.target ? html`${number(day.target[0], 1)} to ${number(day.target[1], 1)}, <${Standing} day=${day} />` : "none set",
      lit(day), share(day.coverage), on(day)])} />`;
}

function Standing({ day: { mol, target, complete } }) {
  if (!known(mol)) return "not known";
  if (mol >= target[0] && mol <= target[1]) return "met";
  if (mol < target[0] && !complete) return "not yet met";
  return html`<${Out}>${mol > target[1] ? "over" : "short"}<//>`;
}

export function Lamps({ rows, evenness, places, zone, wide }) {
  const trend = ({ trend: one }) => (!one ? "too few days to tell"
    : `${amount(one.percent_per_1000_h, 2, "%")} in 1000${NBSP}h${between(one.low, one.high, 2, "%")}${one.significant ? "" : "; not to be told from none"}`);
  const reaches = ({ trend: one }) => (!one || !one.reaches_on ? "–"
    : `${amount(one.reaches_percent, 0, "%")} by ${plainDay(one.reaches_on)}, at the soonest ${one.reaches_earliest ? plainDay(one.reaches_earliest) : "not known"}`);
  const losses = ({ steps }) => (!known(steps) ? "not known: nothing to compare with" : !steps.length ? "none"
    : html`<${Out}>${steps.map((one) => `${within(one.change_percent, one.plus_or_minus_percent, 0, "%")}, between ${at(one.between, zone)} and ${clock(Date.parse(one.and), zone)}`).join("; ")}<//>`);
  return html`<${Part} title="Lamps" wide=${wide}>
    <${Table} caption="Lamp output, as a share of what it was at commissioning" heads=${["Lamps", "Output", "Trend", "Reaches", "Sudden changes"]}
      rows=${rows.map((one) => [one.label, within(one.output_percent, one.plus_or_minus_percent, 0, "%"), trend(one), reaches(one), losses(one)])} />
    <${Notes} texts=${evenness.map((one) => (one.zones_known < 2 ? null
      : `Between ${one.zones_known} of ${one.zones.length} zones with ${words(one.crop)}, ${words(one.phase)}: the least lit got ${share(one.min_over_mean)} of the mean of ${amount(one.mean_mol, 1, "mol m⁻² d⁻¹")} (${places(one.lowest_zone)}).`))} /><//>`;
}
