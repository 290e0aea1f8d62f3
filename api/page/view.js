// What the timeline and the day sheet show, kept in the address so that a link opens the same.
import { between, inLimits, USUAL_MS } from "./span.js";

const DAY = /^\d{4}-\d\d-\d\d$/;
/** How many days a span of the air's chart is long. */
export const inDays = (span) => ({ "7d": 7, "30d": 30 })[span] ?? 1;

export const MOST_TRACKS = 10;
export const MOST_LINES = 3; // in one track: as many as can be told apart by their strokes
const LEAST_ON_TOP = 4; // tracks that a link to one series leaves
const KEY = /^[a-z0-9_-]+(\/[a-z0-9_-]+){1,2}$/;
const UNITS_S = { d: 86_400, h: 3600, m: 60, s: 1 };

const ROOM_BEFORE_MS = 30 * 60_000;
const PRESENT_MS = 60_000;

/** A length of time as 24h: in the largest unit that gives a whole number. */
function lengthText(ms) {
  const seconds = Math.round(ms / 1000);
  const [unit, size] = Object.entries(UNITS_S).find(([, one]) => seconds % one === 0);
  return `${seconds / size}${unit}`;
}

function lengthMs(text) {
  const match = /^(\d{1,9})([smhd])$/.exec(text ?? "");
  return match ? inLimits(Number(match[1]) * UNITS_S[match[2]] * 1000) : null;
}

/** The tracks from the top: each a list of the keys of its series. */
function readTracks(text) {
  const tracks = (text ?? "").split(",").map((one) => [...new Set(one.split(":"))].filter((key) => KEY.test(key)).slice(0, MOST_LINES));
  return tracks.filter((one) => one.length).slice(0, MOST_TRACKS);
}

// Which parts of the page are open: as the address says; else what it speaks of, and these where there is room for them.
const WIDE = "(min-width: 62rem)";
const OPEN_WHERE_WIDE = ["timeline", "air"];
const SPEAKS_OF = { tracks: "timeline", series: "timeline", from: "timeline", end: "timeline", day: "day", found: "excursions", air: "air", airspan: "air", joined: "air" };
export const isWide = () => matchMedia(WIDE).matches;
const openParts = (view) => view.open?.split(",") ?? [...new Set([...(isWide() ? OPEN_WHERE_WIDE : []), ...view.spokenOf])];
export function isOpen(view, part) {
  const parts = openParts(view);
  return parts.includes(part) || (parts.includes("all") && !parts.includes(`-${part}`));
}

/** What the address then says, once a part is opened or folded away. */
export function opened(view, part, open) {
  const parts = openParts(view).filter((one) => ![part, `-${part}`, "none"].includes(one));
  if (!parts.includes("all")) parts.push(...(open ? [part] : []));
  else if (!open) parts.push(`-${part}`);
  return parts.join(",") || "none";
}

export function readView(hash = location.hash) {
  const asked = new URLSearchParams(hash.replace(/^#/, ""));
  const time = (name) => Date.parse(asked.get(name) ?? "");
  const last = lengthMs(asked.get("last")) ?? lengthMs(asked.get("range")) ?? USUAL_MS; // range, series and end: in older links
  const [from, to, end] = [time("from"), time("to"), time("end")];
  let span = { from: null, to: null, last };
  if (from < to) span = between(from, to);
  else if (!Number.isNaN(end)) span = between(end - last, end);
  return {
    tracks: readTracks(asked.get("tracks") ?? asked.get("series")),
    ...span,
    day: DAY.test(asked.get("day") ?? "") ? asked.get("day") : "",
    air: asked.get("air") ?? "",
    airspan: DAY.test(asked.get("airspan") ?? "") || ["7d", "30d"].includes(asked.get("airspan")) ? asked.get("airspan") : "24h",
    days: [7, 14, 30, 92].includes(Number(asked.get("days"))) ? Number(asked.get("days")) : 14,
    joined: asked.has("joined"),
    found: /^[0-9a-f]{10}$/.test(asked.get("found") ?? "") ? asked.get("found") : "",
    open: /^[a-z,-]+$/.test(asked.get("open") ?? "") ? asked.get("open") : null,
    spokenOf: Object.keys(SPEAKS_OF).filter((name) => asked.has(name)).map((name) => SPEAKS_OF[name]),
  };
}

export function link(view) {
  const parts = new URLSearchParams();
  const time = (ms) => new Date(ms).toISOString().replace(".000Z", "Z");
  if (view.tracks.length) parts.set("tracks", view.tracks.map((one) => one.join(":")).join(","));
  if (view.from === null) parts.set("last", lengthText(view.last));
  else {
    parts.set("from", time(view.from));
    parts.set("to", time(view.to));
  }
  if (view.day) parts.set("day", view.day);
  if (view.air) parts.set("air", view.air);
  if (view.airspan && view.airspan !== "24h") parts.set("airspan", view.airspan);
  if (view.joined) parts.set("joined", "yes");
  if (view.days && view.days !== 14) parts.set("days", view.days);
  if (view.open) parts.set("open", view.open);
  if (view.found) parts.set("found", view.found);
  return "#" + parts.toString().replaceAll("%2F", "/").replaceAll("%3A", ":").replaceAll("%2C", ",");
}

/** One finding with its evidence. */
export const atFinding = (view, id) => ({ ...view, open: opened(view, "excursions", true), found: id });

/** The view with one series in its uppermost track; where that makes many tracks, the lowest one goes. */
export function onTop(view, key) {
  const others = view.tracks.filter((one) => one.join() !== key);
  return { ...view, tracks: [[key], ...others].slice(0, Math.max(LEAST_ON_TOP, view.tracks.length)) };
}

/** One series up to the present. */
export const upToNow = (view, key) => ({ ...onTop(view, key), from: null, to: null });

/** One series around a stretch of time, with some room on either side of it; without a series, the tracks there are. */
export function around(view, key, startMs, endMs, nowMs) {
  const end = endMs ?? nowMs;
  const room = Math.max((end - startMs) * 0.3, ROOM_BEFORE_MS);
  const until = Math.min(nowMs, end + room);
  const span = between(startMs - room, until);
  const follows = nowMs - until < PRESENT_MS;
  return { ...(key ? onTop(view, key) : view), ...(follows ? { from: null, to: null, last: Math.ceil(span.last / 60_000) * 60_000 } : span) };
}
