// Light by row and day: each zone's integral against the plan's target.
import { html } from "./html.js";
import { DaysShown } from "./day_strips.js";
import { dayName, number, withUnit } from "./text.js";
import { known } from "./told.js";
import { useAnswer } from "./use_answer.js";
import { Mark } from "./zones.js";

const AS = { decimals: 1, display_unit: "mol m⁻² d⁻¹" };
const WORDS = { low: "below its target", high: "above its target", inside: "met" };

function Cell({ one }) {
  if (!one || !known(one.mol)) return html`<td class="n">–</td>`;
  const row = { low: one.target_low, high: one.target_high, value: one.mol, standing: one.standing ?? "silent" };
  const said = !one.complete ? "so far" : one.standing ? WORDS[one.standing] : known(one.target_low) || known(one.target_high) ? "in part" : "no target";
  return html`<td class=${one.standing ?? "part"}><span class="number">${number(one.mol, 1)}</span><span class="hidden"> ${said}</span>
    <${Mark} row=${row} />${one.estimated && html`<span class="note"> estimated</span>`}</td>`;
}

/** What stands out, in a sentence a zone. */
function sentences(zones) {
  return zones.map(({ label, days }) => {
    const whole = days.filter((one) => one.standing);
    const out = whole.filter((one) => one.standing !== "inside");
    const target = days.findLast?.((one) => known(one.target_low)) ?? days.at(-1);
    const wanted = known(target.target_low) ? `, ${number(target.target_low, 1)} to ${number(target.target_high, 1)} wanted` : "";
    const sum = whole.reduce((all, one) => all + one.mol, 0) / (whole.length || 1);
    if (!whole.length) return `${label}: no whole light day with a target`;
    return `${label}: ${withUnit(sum, AS)} on average${wanted}; ${out.length ? `${out.length} of ${whole.length} days missed it` : whole.length === 1 ? "met" : `met on all ${whole.length} days`}`;
  });
}

export function Light({ feed, view, change }) {
  const { answer, fault } = useAnswer(feed, `light-days?days=${view.days}`);
  const zones = answer?.zones ?? [];
  const days = [...(answer?.days ?? [])].reverse();
  const of = (zone, day) => zone.days.find((one) => one.day === day);
  return html`<section id="light" aria-labelledby="light-title" class="full">
    <div class="head"><h2 id="light-title">Light by row and day</h2>
      <p class="note key"><span>a light day stands at the day it began; mol m⁻² d⁻¹</span><span>ring: it lasts still, or is known in part</span></p></div>
    <div class="body">
      <div class="controls"><${DaysShown} view=${view} change=${change} /></div>
      ${fault && html`<p class="warning" role="alert">${fault}</p>`}
      ${!answer && !fault && html`<p class="note">Reading …</p>`}
      ${answer && !zones.length && html`<p>No zone has light days yet.</p>`}
      ${zones.length > 0 && html`
        <ul class="plain-list">${sentences(zones).map((text) => html`<li>${text}.</li>`)}</ul>
        <div class="sideways" role="region" aria-label="Light by row and day, table" tabindex="0"><table class="grid">
          <caption class="hidden">Daily light integral, mol m⁻² d⁻¹</caption>
          <thead><tr><th scope="col">Day</th>${zones.map((zone) => html`<th scope="col">${zone.label}</th>`)}</tr></thead>
          <tbody>${days.map((day) => html`<tr key=${day}><th scope="row">${dayName(Date.parse(`${day}T12:00:00Z`), "UTC")}</th>${zones.map((zone) => html`<${Cell} one=${of(zone, day)} />`)}</tr>`)}</tbody>
        </table></div>`}
    </div>
  </section>`;
}
