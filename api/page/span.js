// Stretches of time: how long they may be, moved and zoomed, and how finely they are read.

const MINUTE_MS = 60_000;
const HOUR_MS = 60 * MINUTE_MS;
const DAY_MS = 24 * HOUR_MS;
const PRESENT_MS = MINUTE_MS + 1000; // what ends within it shows the present: it is read anew each minute
const SHORTEST_MS = 2 * MINUTE_MS;
const LONGEST_MS = 399 * DAY_MS; // the interface tells bands and doses of at most 400 days at once

export const RANGES = [
  { name: "hour", label: "Hour", ms: HOUR_MS },
  { name: "day", label: "Day", ms: DAY_MS },
  { name: "week", label: "Week", ms: 7 * DAY_MS },
  { name: "month", label: "Month", ms: 30 * DAY_MS },
  { name: "year", label: "Year", ms: 365 * DAY_MS },
];
export const USUAL_MS = DAY_MS;
const DAYS_DRAWN_MS = 100 * DAY_MS; // beyond it the courses of single days would be one block of ink

// All of them divide a day: what is summed up by the store beforehand fits into them.
const STEPS_S = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400];

/** The shortest stretch to sum up over, in seconds, that needs no more points than there is room for; of long spans, days. */
export const everyS = (ms, points) => (ms > DAYS_DRAWN_MS ? STEPS_S.at(-1) : STEPS_S.find((one) => ms / 1000 / one <= points) ?? STEPS_S.at(-1));

export const inLimits = (ms) => Math.min(LONGEST_MS, Math.max(SHORTEST_MS, ms));

/** From when to when a view shows, while it is nowMs. */
export const spanOf = (view, nowMs) => (view.from === null ? [nowMs - view.last, nowMs] : [view.from, view.to]);

/** A span as a view holds it: one that reaches now goes on with the time. */
function held(start, ms, nowMs) {
  const end = Math.min(start + ms, nowMs);
  return end >= nowMs - PRESENT_MS ? { from: null, to: null, last: ms } : { from: end - ms, to: end, last: ms };
}

/** Moved by a share of its length, never beyond now. */
export const moved = ([start, end], share, nowMs) => held(start + (end - start) * share, end - start, nowMs);

/** So long, about its middle; what shows the present goes on showing it. */
export function resized([start, end], ms, nowMs) {
  const wanted = inLimits(ms);
  const follows = end >= nowMs - PRESENT_MS;
  return held(follows ? nowMs - wanted : (start + end - wanted) / 2, wanted, nowMs);
}

/** From one instant to another; in order, and no longer or shorter than can be shown. */
export function between(oneMs, otherMs) {
  const from = Math.min(oneMs, otherMs);
  const ms = inLimits(Math.abs(otherMs - oneMs));
  return { from, to: from + ms, last: ms };
}

/** As long as it is, with its beginning or its end at an instant. */
export const startingAt = ([start, end], ms, nowMs) => held(ms, end - start, nowMs);
export const upToNow = ([start, end]) => ({ from: null, to: null, last: end - start });
