// What the timeline and the day sheet show, kept in the address so that a link opens the same.

export const RANGES = [
  { name: "6h", label: "6 h", hours: 6, every: "30s", everyS: 30 },
  { name: "24h", label: "24 h", hours: 24, every: "2m", everyS: 120 },
  { name: "3d", label: "3 d", hours: 72, every: "5m", everyS: 300 },
  { name: "7d", label: "7 d", hours: 168, every: "15m", everyS: 900 },
  { name: "30d", label: "30 d", hours: 720, every: "1h", everyS: 3600 },
];
const DAY = /^\d{4}-\d\d-\d\d$/;
/** How many days a span of the air's chart is long. */
export const inDays = (span) => ({ "7d": 7, "30d": 30 })[span] ?? 1;
export const range = (name) => RANGES.find((one) => one.name === name) ?? RANGES[1];

// Which parts of the page are open: as the address says, else these where there is room for them.
const WIDE = "(min-width: 62rem)";
const OPEN_WHERE_WIDE = ["timeline", "air"];
export const isWide = () => matchMedia(WIDE).matches;
const openParts = (view) => view.open?.split(",") ?? (isWide() ? OPEN_WHERE_WIDE : []);
export const isOpen = (view, part) => openParts(view).some((one) => one === part || one === "all");

/** What the address then says, once a part is opened or folded away. */
export function opened(view, part, open) {
  const parts = openParts(view).filter((one) => one !== part && one !== "none");
  if (open && !parts.includes("all")) parts.push(part);
  return parts.join(",") || "none";
}

export function readView(hash = location.hash) {
  const asked = new URLSearchParams(hash.replace(/^#/, ""));
  const end = Date.parse(asked.get("end") ?? "");
  return {
    series: asked.get("series") ?? "",
    range: range(asked.get("range")).name,
    end: Number.isNaN(end) ? null : end,
    day: DAY.test(asked.get("day") ?? "") ? asked.get("day") : "",
    air: asked.get("air") ?? "",
    airspan: DAY.test(asked.get("airspan") ?? "") || ["7d", "30d"].includes(asked.get("airspan")) ? asked.get("airspan") : "24h",
    joined: asked.has("joined"),
    open: /^[a-z,-]+$/.test(asked.get("open") ?? "") ? asked.get("open") : null,
  };
}

export function link(view) {
  const parts = new URLSearchParams();
  if (view.series) parts.set("series", view.series);
  if (view.range) parts.set("range", view.range);
  if (view.end) parts.set("end", new Date(view.end).toISOString());
  if (view.day) parts.set("day", view.day);
  if (view.air) parts.set("air", view.air);
  if (view.airspan && view.airspan !== "24h") parts.set("airspan", view.airspan);
  if (view.joined) parts.set("joined", "yes");
  if (view.open) parts.set("open", view.open);
  return "#" + parts.toString().replaceAll("%2F", "/").replaceAll("%3A", ":").replaceAll("%2C", ",");
}

/** The view of one series around a stretch of time: the shortest range that holds it with room before it. */
export function around(view, series, startMs, endMs, nowMs) {
  const end = endMs ?? nowMs;
  const room = Math.max((end - startMs) * 0.3, 30 * 60_000);
  const until = Math.min(nowMs, end + room);
  const needed = (until - startMs + room) / 3_600_000;
  const fits = RANGES.find((one) => one.hours >= needed) ?? RANGES.at(-1);
  return { ...view, series, range: fits.name, end: nowMs - until < 60_000 ? null : until };
}
