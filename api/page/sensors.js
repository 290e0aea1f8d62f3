// The sensors: how long ago each was heard from, how often it should be, how good its readings were, and what is amiss.
import { html } from "./html.js";
import { Table } from "./table.js";
import { lasting, number, plainDay, stateWord, withUnit } from "./text.js";
import { known } from "./told.js";
import { useAnswer } from "./use_answer.js";

const LEAST = 0.005; // shares below it are told as "under 1 %"
const NBSP = "\u00a0";
const part = (share) => (share < LEAST ? `under 1${NBSP}%` : `${number(100 * share, 0)}${NBSP}%`);

/** How good a day's readings were, in words; null where all came and no test doubts one. */
function doubts(one) {
  if (!one) return null;
  const told = [["missing", "missing"], ["suspect", "suspect"], ["fail", "failed"]].filter(([name]) => one[`${name}_count`] > 0)
    .map(([name, word]) => `${part(one[`${name}_share`])} ${word}`);
  if (one.siblings?.disagrees_h > 0) told.push(`unlike its siblings for ${number(one.siblings.disagrees_h, 1)}${NBSP}h`);
  if (one.drift?.drifts) told.push("drifts away from its siblings");
  return told.length ? told.join(", ") : null;
}

export function Sensors({ feed }) {
  const series = (feed.data("series")?.series ?? []).filter((one) => one.described);
  const newest = new Map((feed.data("latest")?.latest ?? []).map((one) => [one.key, one]));
  const days = [...(feed.data("days")?.days ?? [])].sort();
  const day = days.at(-2) ?? days.at(-1); // the newest whole day
  const { answer, fault } = useAnswer(feed, day ? `days/${day}` : "");
  const quality = new Map((answer?.quality?.series ?? []).map((one) => [one.key, one]));
  const now = feed.now();
  const age = (one) => (one.last ? (now - Date.parse(one.last)) / 1000 : null);
  const silent = series.filter((one) => one.silent);
  const doubted = series.filter((one) => !one.silent && doubts(quality.get(one.key)));
  const well = series.filter((one) => !one.silent && !doubted.includes(one));
  const row = (one) => {
    const reading = newest.get(one.key);
    return [`${one.zone_label}, ${one.label}`, !known(reading?.value) ? "–" : one.kind === "state" ? stateWord(one.quantity, reading.value) : withUnit(reading.value, one),
      one.silent ? html`<strong class="outside">${one.last ? `silent for ${lasting(age(one))}` : "never heard from"}</strong>` : `${lasting(age(one))} ago`,
      known(one.cadence_s) ? `every ${lasting(one.cadence_s)}` : "–",
      quality.has(one.key) ? doubts(quality.get(one.key)) ?? "whole, and not doubted" : "–", html`<code>${one.key}</code>`];
  };
  const table = (caption, rows) => html`<${Table} caption=${caption} heads=${["Sensor", "Newest", "Heard", "Should report", day ? `Readings of ${plainDay(day)}` : "Readings", "Key"]} rows=${rows.map(row)} />`;
  const told = !series.length ? "Not known yet" : [`${series.length} series are described`, silent.length ? `${silent.length} ${silent.length === 1 ? "is" : "are"} silent` : "none is silent",
    answer && (doubted.length ? `readings of ${doubted.length} were doubted or missing` : "no reading was doubted")].filter(Boolean).join("; ");
  return html`<section id="sensors" aria-labelledby="sensors-title" class="full">
    <div class="head"><h2 id="sensors-title">Sensors</h2><p class="note">Silent is who was not heard from for three of its cadences.</p></div>
    <div class="body">
      ${fault && html`<p class="warning" role="alert">${fault}</p>`}
      <p class="told">${told}.</p>
      ${silent.length > 0 && html`${table(`Silent: ${silent.length}`, silent)}<p class="note">Look at the sensor, its power and its name; a name that nobody described stands further down, if it arrives.</p>`}
      ${doubted.length > 0 && table(`Doubted or missing readings: ${doubted.length}`, doubted)}
      ${well.length > 0 && html`<details class="long"><summary>${well.length} heard from${answer ? " and not doubted" : ""}</summary>${table("Heard from", well)}</details>`}
    </div>
  </section>`;
}
