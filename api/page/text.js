// Numbers, lengths of time and times as people read them.

const MINUS = "\u2212";
const NBSP = "\u00a0";

let tongue = "en-GB";
const shapes = new Map();

/** From now on numbers are written as in a place: the locale of farm.toml. */
export function speak(locale) {
  if (!locale || locale === tongue) return;
  tongue = locale;
  shapes.clear();
}

function shape(least, most, grouped) {
  const key = `${least} ${most} ${grouped}`;
  if (!shapes.has(key)) {
    shapes.set(key, new Intl.NumberFormat(tongue, {
      minimumFractionDigits: least, maximumFractionDigits: most, useGrouping: grouped, numberingSystem: "latn",
    }));
  }
  return shapes.get(key);
}

const signed = (value, text) => (value < 0 && /[1-9]/.test(text) ? MINUS + text : text);

/** A number with a fixed count of decimals and a true minus sign; a dash where there is none. */
export function number(value, decimals = 1) {
  if (value === null || value === undefined) return "–";
  const size = Math.abs(value);
  return signed(value, shape(decimals, decimals, size >= 10_000).format(size));
}

/** A number with the decimals that somebody wrote. */
export const asWritten = (value) =>
  (Math.abs(value) < 1e15 ? signed(value, shape(0, 12, false).format(Math.abs(value))) : String(value));

/** A unit behind its number: no line breaks before it, or within it. */
export const behind = (unit) => (unit ? NBSP + unit.replaceAll(" ", NBSP) : "");

/** A sentence of the server, whose percentages stay whole. */
export const whole = (sentence) => sentence.replace(/(\d) %/g, `$1${NBSP}%`);

export const withUnit = (value, { decimals, display_unit: unit }) => number(value, decimals) + behind(unit);

/** Limits as one phrase: 18.0–24.0 °C, above 1.0 K, below 80 %. */
export function limits(row) {
  const { low, high, decimals } = row;
  const tail = row.short ? "" : behind(row.display_unit);
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
export const clockToSecond = (ms, zone) => format(zone, { ...CLOCK, second: "2-digit" }).format(ms);
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

/** How far a place's clock is ahead of UTC at an instant. */
export function aheadMs(ms, zone) {
  const parts = format(zone, { year: "numeric", month: "numeric", day: "numeric", hour: "numeric", minute: "numeric", second: "numeric", hourCycle: "h23" }).formatToParts(ms);
  const of = (type) => Number(parts.find((part) => part.type === type).value);
  return Date.UTC(of("year"), of("month") - 1, of("day"), of("hour"), of("minute"), of("second")) - Math.floor(ms / 1000) * 1000;
}

/** What a place's clock shows, as 2026-03-01T13:00:00. */
export const wallTime = (ms, zone) => new Date(ms + aheadMs(ms, zone)).toISOString().slice(0, 19);

/** The instant at which a place's clock shows a time; the earlier of two, and NaN for what is no time. */
export function instantOf(wall, zone) {
  const shown = Date.parse(`${wall}Z`);
  if (Number.isNaN(shown)) return NaN;
  const around = [shown - 86_400_000, shown + 86_400_000].map((ms) => shown - aheadMs(ms, zone));
  return around.sort((a, b) => a - b).find((ms) => ms + aheadMs(ms, zone) === shown) ?? around[1];
}

/** A time with its offset, as 2026-03-01T13:00:00+01:00. */
export function isoTime(ms, zone) {
  const minutes = Math.round(aheadMs(ms, zone) / 60_000);
  const two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  return `${wallTime(ms, zone)}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(Math.abs(minutes) % 60)}`;
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
