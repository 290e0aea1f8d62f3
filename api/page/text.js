// Numbers, lengths of time and times as people read them.

const MINUS = "\u2212";
const NBSP = "\u00a0";

/** A number with a fixed count of decimals and a true minus sign; a dash where there is none. */
export function number(value, decimals = 1) {
  if (value === null || value === undefined) return "–";
  const text = Math.abs(value).toLocaleString("en", {
    minimumFractionDigits: decimals,
    maximumFractionDigits: decimals,
    useGrouping: Math.abs(value) >= 10000,
  });
  return value < 0 && Number(text.replaceAll(",", "")) !== 0 ? MINUS + text : text;
}

export const withUnit = (value, { decimals, display_unit: unit }) =>
  number(value, decimals) + (unit ? NBSP + unit : "");

/** Limits as one phrase: 18.0–24.0 °C, above 1.0 K, below 80 %. */
export function limits(row) {
  const { low, high, decimals } = row;
  const unit = row.short ? "" : row.display_unit;
  const tail = unit ? NBSP + unit : "";
  const none = (limit) => limit === null || limit === undefined;
  if (none(low) && none(high)) return "";
  if (none(low)) return `up to ${number(high, decimals)}${tail}`;
  if (none(high)) return `from ${number(low, decimals)}${tail}`;
  return `${number(low, decimals)} to ${number(high, decimals)}${tail}`;
}

/** A length of time in its two largest units. */
export function lasting(seconds) {
  const s = Math.max(0, Math.round(seconds));
  if (s < 90) return `${s}${NBSP}s`;
  const minutes = Math.round(s / 60);
  if (minutes < 60) return `${minutes}${NBSP}min`;
  const pair = (whole, unit, rest, small) =>
    rest ? `${whole}${NBSP}${unit} ${rest}${NBSP}${small}` : `${whole}${NBSP}${unit}`;
  if (minutes < 48 * 60) return pair(Math.floor(minutes / 60), "h", minutes % 60, "min");
  const hours = Math.round(minutes / 60);
  return pair(Math.floor(hours / 24), "d", hours % 24, "h");
}

const formats = new Map();
function format(zone, options) {
  const key = zone + JSON.stringify(options);
  if (!formats.has(key)) formats.set(key, new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...options }));
  return formats.get(key);
}

const CLOCK = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
export const clock = (ms, zone) => format(zone, CLOCK).format(ms);
export const dayMonth = (ms, zone) => format(zone, { day: "numeric", month: "short" }).format(ms);
export const dayName = (ms, zone) =>
  format(zone, { weekday: "short", day: "numeric", month: "short" }).format(ms).replace(",", "");
export const dayAndClock = (ms, zone) => `${dayName(ms, zone)}, ${clock(ms, zone)}`;
export const zoneName = (ms, zone) =>
  format(zone, { timeZoneName: "short" }).formatToParts(ms).find((part) => part.type === "timeZoneName").value;

/** The calendar day at a place, as 2026-03-01. */
export function isoDay(ms, zone) {
  const parts = format(zone, { year: "numeric", month: "2-digit", day: "2-digit" }).formatToParts(ms);
  const of = (type) => parts.find((part) => part.type === type).value;
  return `${of("year")}-${of("month")}-${of("day")}`;
}

/** A calendar day written as 2026-03-01. */
export function plainDay(day) {
  return format("UTC", { weekday: "short", day: "numeric", month: "short", year: "numeric" })
    .format(Date.parse(`${day}T00:00:00Z`)).replace(",", "");
}

export const words = (name) => name.replaceAll("_", " ");
export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

const STATES = { _open: ["closed", "open"], _closed: ["open", "closed"], _present: ["absent", "present"] };
/** An on/off state in words: each quantity's own. */
export function stateWord(quantity, value) {
  if (value === null || value === undefined) return "unknown";
  const pair = Object.entries(STATES).find(([ending]) => quantity.endsWith(ending));
  return (pair ? pair[1] : ["off", "on"])[value >= 0.5 ? 1 : 0];
}

export const FLAGS = { 1: "good", 2: "not evaluated", 3: "suspect", 4: "failed", 9: "missing" };
