// A track in words: what it shows, for those who do not see it, and what it says at one moment.
import { FLAGS, lasting, limits, number, stateWord, withUnit } from "./text.js";

const NBSP = "\u00a0";
const NO_BAND = { low: null, high: null, lit: null, start: null };

/** The limits that held at an instant: the stretches follow one another without a gap. */
export function bandAt(bands, ms) {
  let from = 0, to = bands.length - 1;
  if (to < 0) return NO_BAND;
  while (from < to) {
    const middle = (from + to) >> 1;
    if (ms < bands[middle].end) to = middle;
    else from = middle + 1;
  }
  return bands[from];
}

/** The limits that held over a whole stretch, lights or none; nothing where they changed: a mean then belongs to neither. */
export function steadyBand(bands, fromMs, toMs) {
  const first = bandAt(bands, fromMs);
  let lit = first.lit;
  for (let one = first; one.end < toMs;) {
    one = bandAt(bands, one.end);
    if (one.low !== first.low || one.high !== first.high) return null;
    if (one.lit !== lit) lit = null;
    if (one === bands.at(-1)) break;
  }
  return { ...first, lit };
}

const passes = (band, value) =>
  band.high !== null && value > band.high ? "above" : band.low !== null && value < band.low ? "below" : null;

/** Lowest, mean and highest, seconds inside and outside the band, gaps and doubts. */
export function figures({ columns }, bands, everyS) {
  const found = { readings: 0, sum: 0, low: Infinity, high: -Infinity, insideS: 0, outsideS: 0, doubted: 0, failed: 0, unsteady: 0 };
  const usual = Math.max(everyS, columns.usualS);
  columns.value.forEach((value, i) => {
    const flag = columns.flag[i];
    if (flag === 3) found.doubted += 1;
    if (flag > 3) found.failed += 1;
    if (value === null) return;
    found.readings += columns.count[i];
    found.sum += value * columns.count[i];
    found.low = Math.min(found.low, columns.low[i]);
    found.high = Math.max(found.high, columns.high[i]);
    const band = steadyBand(bands, columns.time[i] * 1000, (columns.time[i] + everyS) * 1000);
    if (!band) found.unsteady += 1;
    if (!band || (band.low === null && band.high === null)) return;
    // A point speaks for the time until the next one, but not for a gap.
    const next = columns.value[i + 1] ?? null;
    const until = columns.time[i] + (next === null ? usual : Math.min(columns.time[i + 1] - columns.time[i], 3 * usual));
    const lasts = Math.max(0, Math.min(until, columns.edges[1]) - Math.max(columns.time[i], columns.edges[0]));
    if (passes(band, value)) found.outsideS += lasts;
    else found.insideS += lasts;
  });
  found.mean = found.readings ? found.sum / found.readings : null;
  found.gapS = columns.gaps.reduce((sum, [from, to]) => sum + to - from, 0);
  return found;
}

const hours = (seconds) => (seconds < 360_000 ? `${number(seconds / 3600, 1)}${NBSP}h` : lasting(seconds));
/** A share that is not the whole never reads as the whole. */
function mostly(share) {
  const percent = 100 * share;
  if (percent > 99.95) return `more than ${number(99.9, 1)}${NBSP}%`;
  return `${number(percent, percent > 99 || (percent < 1 && percent > 0) ? 1 : 0)}${NBSP}%`;
}
const several = (count, one, many) => `${number(count, 0)}${NBSP}${count === 1 ? one : many}`;

/** One series over the span shown, in sentences. */
export function sentences(line, bands, everyS, { begins, awaited } = {}) {
  const { series, columns } = line;
  const found = figures(line, bands, everyS);
  if (!found.readings) {
    return [found.failed ? "No usable readings in this range: all of them failed a test or are missing." : "No readings in this range."];
  }
  const told = [];
  if (series.kind === "state") told.push(`${found.mean === 1 ? `${number(100, 0)}${NBSP}%` : mostly(found.mean)} of the readings say ${stateWord(series.quantity, 1)}.`);
  else {
    told.push(`Lowest ${withUnit(found.low, series)}, mean ${withUnit(found.mean, series)}, highest ${withUnit(found.high, series)}.`);
    const limited = found.insideS + found.outsideS;
    if (awaited) told.push("Its band is still being read.");
    else if (!limited && found.unsteady) told.push("Its limits change within each stretch: a shorter range tells of its band.");
    else if (!limited) told.push("No limits are set for it.");
    else if (!found.outsideS) told.push(`Inside its band in all of ${hours(limited)} with readings and limits.`);
    else if (!found.insideS) told.push(`Outside its band in all of ${hours(limited)} with readings and limits.`);
    else told.push(`Inside its band for about ${mostly(found.insideS / limited)} of ${hours(limited)} with readings and limits.`);
  }
  if (begins) told.push(`Readings begin ${begins}.`);
  if (columns.gaps.length) told.push(`${several(columns.gaps.length, "gap", "gaps")}, ${lasting(found.gapS)} in all.`);
  const places = everyS > columns.usualS ? ["stretch", "stretches"] : ["reading", "readings"];
  if (found.doubted) told.push(`${several(found.doubted, ...places)} suspect.`);
  if (found.failed) told.push(`${several(found.failed, ...places)} failed or missing.`);
  return told;
}

/** What a series says at an instant: the newest point before it that still speaks for it, or none. */
export function readAt({ series, columns }, bands, everyS, ms) {
  let from = 0, to = columns.time.length;
  while (from < to) {
    const middle = (from + to) >> 1;
    if (columns.time[middle] * 1000 <= ms) from = middle + 1;
    else to = middle;
  }
  const i = from - 1;
  const speaksS = everyS + (columns.usualS > everyS ? 3 * columns.usualS : 0);
  if (i < 0 || ms / 1000 - columns.time[i] >= speaksS || columns.flag[i] === null) return null;
  const value = columns.value[i];
  const at = columns.time[i] * 1000;
  const steady = steadyBand(bands, at, at + everyS * 1000);
  const changes = steady === null;
  const band = steady ?? NO_BAND;
  const passed = value === null || changes ? null : passes(band, value);
  const phrase = limits({ ...series, ...band });
  return {
    at, value, passed,
    text: value === null ? "no usable value" : series.kind === "state" ? stateText(series, value) : withUnit(value, series),
    within: columns.count[i] > 1 && series.kind !== "state" ? `${number(columns.low[i], series.decimals)} to ${number(columns.high[i], series.decimals)}` : "",
    band: changes ? "limits change within it" : [
      phrase && value !== null ? `${passed ?? "inside"}: ${phrase}` : phrase,
      band.lit === null ? "" : band.lit ? "lights on" : "lights off",
    ].filter(Boolean).join(", "),
    limited: Boolean(phrase) && !changes,
    quality: FLAGS[columns.flag[i]] ?? "unknown",
  };
}

/** A state, or which share of a stretch it held. */
const stateText = ({ quantity }, value) =>
  (value === 0 || value === 1 ? stateWord(quantity, value) : `${stateWord(quantity, 1)} for ${number(100 * value, 0)}${NBSP}% of it`);
