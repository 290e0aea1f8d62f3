// The one table of the page.
import { html } from "./html.js";

/** A table that becomes a list of labelled values on a narrow screen. */
export function Table({ caption, heads, rows, groups, numeric = [] }) {
  const line = (cells) => html`<tr role="row">${cells.map((cell, i) => i
    ? html`<td role="cell" class=${numeric.includes(i) ? "n" : ""} data-label=${heads[i]}>${cell}</td>`
    : html`<th role="rowheader" scope="row">${cell}</th>`)}</tr>`;
  return html`<table role="table" class=${heads.length === 2 ? "stack pair" : "stack"}>
    <caption>${caption}</caption>
    <thead role="rowgroup"><tr role="row">${heads.map((head, i) => html`<th role="columnheader" scope="col" class=${numeric.includes(i) ? "n" : ""}>${head}</th>`)}</tr></thead>
    ${(groups ?? [[null, rows]]).map(([name, members]) => html`<tbody role="rowgroup">
      ${name && html`<tr role="row" class="group"><th role="rowheader" scope="rowgroup" colspan=${heads.length}>${name}</th></tr>`}
      ${members.map(line)}</tbody>`)}
  </table>`;
}
