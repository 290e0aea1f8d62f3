// What happened, beside the readings: doses and what people wrote, on a line of their own and in words.
import { EDGE, GUTTER } from "./chart.js";
import { html } from "./html.js";
import { colours } from "./shading.js";
import { dayAndClock, lasting, number, withUnit } from "./text.js";
import { sentence } from "./written.js";

const NBSP = "\u00a0";
const ROW = 20; // CSS pixels
const CLOSE = 18; // CSS pixels: entries nearer to one another share a label
const MOST_TOLD = 40;
export const CROWDED = 60; // marks: with more of them each is a hairline, and none stands on the tracks

/** A dose in words. */
export function doseText(one) {
  const given = one.stocks.map((stock) => `${stock.label} ${number(stock.volume_ml, 0)}${NBSP}mL`).join(", ");
  const moved = [
    one.ec_step_ms_cm !== null && `EC by ${number(one.ec_step_ms_cm, 2)}${NBSP}mS/cm`,
    one.ph_step_ph !== null && `pH by ${number(one.ph_step_ph, 2)}`,
  ].filter(Boolean);
  const lasted = one.end - one.start > 120_000 ? ` over ${lasting((one.end - one.start) / 1000)}` : "";
  return `${one.zone_label}: ${given || "a dose, of what is not counted"}${lasted}${moved.length ? `; moved ${moved.join(" and ")}` : ""}`;
}

/** An excursion in words. */
export function excursionText(one, zone) {
  const limit = one.onset_limit ?? one.limit;
  const end = one.end ? `until ${dayAndClock(one.end, zone)}` : "still open";
  return `${one.zone_label}, ${one.label} ${one.side === "high" ? "above" : "below"} ${withUnit(limit, one)}, ${end}; furthest ${withUnit(one.extreme, one)}`;
}

export const writtenText = (one, named) => `${one.author}: ${sentence(one, named)}`;

/** Entries that lie so close that one label has to do for them: 3–5. */
function labels(written, x) {
  const found = [];
  for (const one of written) {
    const at = x(one.time);
    const before = found.at(-1);
    if (before && at - before.at < CLOSE) before.last = one.number;
    else found.push({ at, first: one.number, last: one.number });
  }
  return found.map((one) => ({ at: one.at, text: one.first === one.last ? `${one.first}` : `${one.first}–${one.last}` }));
}

/** Rows above the tracks: doses as wedges, entries by their numbers; none of what there is nothing of. */
export function drawMarks(canvas, width, { doses, written }, [start, end]) {
  const rows = [doses.length && "doses", written.length && "entries"].filter(Boolean);
  const height = rows.length * ROW;
  canvas.width = width * devicePixelRatio;
  canvas.height = height * devicePixelRatio;
  canvas.style.width = `${width}px`;
  canvas.style.height = `${height}px`;
  if (!rows.length) return;
  const colour = colours();
  const ctx = canvas.getContext("2d");
  const x = (ms) => GUTTER + ((ms - start) / (end - start)) * (width - GUTTER - EDGE);
  ctx.scale(devicePixelRatio, devicePixelRatio);
  ctx.font = `12px ${getComputedStyle(document.body).fontFamily}`;
  ctx.textBaseline = "middle";
  rows.forEach((row, i) => {
    const middle = i * ROW + ROW / 2;
    ctx.textAlign = "right";
    ctx.fillStyle = colour.muted;
    ctx.fillText(row, GUTTER - 6, middle);
    ctx.fillStyle = colour.hair;
    ctx.fillRect(GUTTER, (i + 1) * ROW - 1, width - GUTTER - EDGE, 1);
    if (row === "doses") drawDoses(ctx, doses.filter((one) => one.start >= start), x, middle, colour);
    else drawEntries(ctx, labels(written, x), middle, colour);
  });
}

function drawDoses(ctx, doses, x, middle, colour) {
  ctx.fillStyle = colour.ink;
  for (const one of doses) {
    const at = x(one.start);
    if (doses.length > CROWDED) {
      ctx.fillRect(at, middle - 5, 1, 10);
      continue;
    }
    ctx.beginPath();
    ctx.moveTo(at - 4, middle - 4);
    ctx.lineTo(at + 4, middle - 4);
    ctx.lineTo(at, middle + 5);
    ctx.fill();
  }
}

function drawEntries(ctx, texts, middle, colour) {
  ctx.textAlign = "center";
  for (const { at, text } of texts) {
    const wide = Math.max(14, ctx.measureText(text).width + 6);
    ctx.fillStyle = colour.paper;
    ctx.strokeStyle = colour.muted;
    ctx.beginPath();
    ctx.rect(at - wide / 2, middle - 7.5, wide, 15);
    ctx.fill();
    ctx.stroke();
    ctx.fillStyle = colour.ink;
    ctx.fillText(text, at, middle + 0.5);
  }
}

function Told({ title, rows, zone, ordered, at, text }) {
  if (!rows.length) return null;
  const shown = rows.slice(-MOST_TOLD);
  const items = shown.map((one) => html`<li key=${one.id ?? one.start} value=${ordered ? one.number : undefined}>${dayAndClock(at(one), zone)}: ${text(one)}</li>`);
  const more = rows.length > shown.length && html`<p class="note">The newest ${MOST_TOLD} of ${number(rows.length, 0)}; show a shorter stretch for the others.</p>`;
  return html`<h3>${title}</h3>${more}${ordered ? html`<ol>${items}</ol>` : html`<ul>${items}</ul>`}`;
}

/** All of it as lists, closed at first: what the marks stand for, and what a screen reader reads. */
export function Happened({ marks, zone, named }) {
  const { excursions, doses, written } = marks;
  const count = (n, one, many) => `${number(n, 0)} ${n === 1 ? one : many}`;
  const parts = [count(excursions.length, "excursion", "excursions"), count(doses.length, "dose", "doses"), count(written.length, "entry", "entries")];
  return html`<details class="long happened"><summary>What happened meanwhile: ${parts.join(", ")}</summary>
    <${Told} title="What people wrote" rows=${written} ordered=${true} zone=${zone} at=${(one) => one.time} text=${(one) => writtenText(one, named)} />
    <${Told} title="Excursions of the series shown" rows=${excursions} zone=${zone} at=${(one) => one.onset} text=${(one) => excursionText(one, zone)} />
    <${Told} title="Doses" rows=${doses} zone=${zone} at=${(one) => one.start} text=${doseText} />
  </details>`;
}
