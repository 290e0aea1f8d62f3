// What the timeline shows as CSV (RFC 4180): one row a stretch, times with their offset, units in the header.
import { steadyBand } from "./summary.js";
import { isoTime } from "./text.js";

const END = "\r\n";
const DIGITS = 12; // a mean of binary numbers has noise beyond them

// As a data set's CSV has it (handover/tables.py, with its sources): what a spreadsheet takes for a formula, and where one
// begins, at a cell's beginning or after what begins another cell for who splits the file otherwise than it was written.
const RISKY = "[\\s\\u00a0]*[=+\\-@\\uff1d\\uff0b\\uff0d\\uff20\\x00]|[\\t\\r\\n\\x00]|'";
const AT_FIRST = new RegExp(`^(?:${RISKY})`);
const WITHIN = new RegExp(`[;\\t\\r\\n"](?=${RISKY})`, "g");

/** A cell of which no spreadsheet takes any part for a formula; numbers stay numbers. */
export function cell(value) {
  if (value === null || value === undefined) return "";
  if (typeof value === "number") return String(Number(value.toPrecision(DIGITS)));
  const text = (AT_FIRST.test(value) ? "'" : "") + value.replace(WITHIN, "$&'");
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

const lengthText = (s) => (s % 3600 === 0 ? `${s / 3600} h` : s % 60 === 0 ? `${s / 60} min` : `${s} s`);

/** The columns of one track: of each series what is drawn, and the limits that are shaded. */
function columnsOf({ lines, bands, everyS }) {
  const columns = [];
  for (const { series, columns: held } of lines) {
    const at = new Map(held.time.map((time, i) => [time, i]));
    const of = (name) => (time) => { const i = at.get(time); return i === undefined ? null : held[name][i]; };
    const unit = ` [${series.unit}]`;
    for (const [name, head] of [["value", `mean${unit}`], ["low", `lowest${unit}`], ["high", `highest${unit}`], ["count", "readings"], ["flag", "worst flag (QARTOD)"]]) {
      columns.push({ head: `${series.key} ${head}`, of: of(name) });
    }
  }
  const first = lines[0].series;
  if (bands.some((one) => one.low !== null || one.high !== null)) {
    for (const side of ["low", "high"]) {
      columns.push({ head: `${first.key} band ${side} [${first.unit}]`, of: (time) => steadyBand(bands, time * 1000, (time + everyS) * 1000)?.[side] });
    }
  }
  return columns;
}

/** Text for a file; ``happened`` has what stands beside the readings: { time, text }. */
export function asCsv(tracks, [start, end], zone, happened) {
  const everyS = tracks[0].everyS;
  const stretch = (ms) => Math.floor(ms / 1000 / everyS) * everyS;
  const times = new Set();
  for (const { lines } of tracks) {
    for (const { columns } of lines) columns.time.forEach((time, i) => columns.flag[i] !== null && times.add(time));
  }
  const beside = new Map();
  for (const one of happened) {
    const time = stretch(one.time);
    times.add(time);
    beside.set(time, [...(beside.get(time) ?? []), one.text]);
  }
  const columns = tracks.flatMap(columnsOf);
  const head = [`start of each ${lengthText(everyS)} (clock of ${zone}, with its offset from UTC)`, ...columns.map((one) => one.head), "what happened"];
  const rows = [...times].filter((time) => (time + everyS) * 1000 > start && time * 1000 < end).sort((a, b) => a - b)
    .map((time) => [isoTime(time * 1000, zone), ...columns.map((one) => one.of(time)), (beside.get(time) ?? []).join("; ")]);
  return [head, ...rows].map((row) => row.map(cell).join(",") + END).join("");
}
