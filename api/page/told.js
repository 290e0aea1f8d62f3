// How figures of the day sheet are told: value, unit, give or take, coverage, and what is not known.
import { html } from "./html.js";
import { Table } from "./table.js";
import { behind, clock, number } from "./text.js";

const NBSP = "\u00a0";
const WELL_COVERED = 0.95; // below it the coverage is told beside the figure

export const known = (value) => value !== null && value !== undefined;
export const share = (part) => (known(part) ? `${number(100 * part, 0)}${NBSP}%` : "not known");
/** A share of which it is told that it is little, where that is so. */
export const someShare = (part) => (part < 0.005 ? `under 1${NBSP}%` : share(part));
/** A figure in another unit: null stays null, where a product would make it 0. */
export const times = (value, factor) => (known(value) ? value * factor : null);
export const amount = (value, decimals, unit) =>
  (known(value) ? number(value, decimals) + behind(unit) : "not known");

/** A value with its give or take, as "0.4 K, give or take 0.6 K"; a give or take that rounds to nothing says so. */
export function within(value, take, decimals, unit) {
  if (!known(value) || !known(take)) return amount(value, decimals, unit);
  const least = 10 ** -decimals;
  const told = take > 0 && take < least / 2 ? `less than ${amount(least, decimals, unit)}` : amount(take, decimals, unit);
  return `${amount(value, decimals, unit)}, give or take ${told}`;
}

export const partly = (coverage) =>
  (known(coverage) && coverage < WELL_COVERED ? ` (of ${share(coverage)} of the time)` : "");
export const at = (time, zone) => (known(time) ? clock(Date.parse(time), zone) : "not known");
/** From where to where; nothing where both are told alike. */
export const between = (low, high, decimals, unit) =>
  (known(low) && known(high) && number(low, decimals) !== number(high, decimals) ? ` (${number(low, decimals)} to ${amount(high, decimals, unit)})` : "");
/** When something is due, with the soonest and the latest. */
export const due = (days, soonest, latest) =>
  (known(days) ? `in ${amount(days, 0, "days")}${between(soonest, latest, 0, "days")}` : null);
export const Out = ({ children }) => html`<strong class="outside">${children}</strong>`;

/** One part, closed on a narrow screen. */
export function Part({ title, wide, children }) {
  return html`<details class="long" open=${wide}><summary>${title}</summary>${children}</details>`;
}

/** A table of what was found, a row a fact; rows that do not apply are left out. */
export function Facts({ caption, rows }) {
  return html`<${Table} caption=${caption} heads=${["What", "Found"]} rows=${rows.filter(Boolean)} />`;
}

export const Notes = ({ texts }) => texts.filter(Boolean).map((text) => html`<p class="note">${text}</p>`);
