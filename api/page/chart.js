// One series over time: its band and dark hours behind it, its excursions along the axis.
import uPlot from "./vendor/uPlot.js";
import { clock, dayMonth, number } from "./text.js";

const DAY_S = 86_400;
const DENSE = 2_000; // points: from here on a hairline shows more of them, and is drawn in half the time

/** Columns for drawing: a missing stretch longer than three cadences becomes a break in the line. */
export function withBreaks(answer, cadenceS) {
  const xs = answer.time.map((time) => Date.parse(time) / 1000);
  const everyS = answer.every_s ?? 0;
  const steps = xs.slice(1).map((x, i) => x - xs[i]).sort((a, b) => a - b);
  const usual = cadenceS ?? Math.max(everyS, steps[Math.floor(steps.length / 2)] ?? 0);
  const longest = everyS + 3 * usual;
  const columns = { time: [], low: [], high: [], value: [], flag: [], count: [] };
  const push = (x, i) => {
    columns.time.push(x);
    for (const name of ["value", "low", "high", "flag", "count"]) columns[name].push(i === null ? null : (answer[name] ?? answer.value)[i]);
  };
  xs.forEach((x, i) => {
    if (i && x - xs[i - 1] > longest) push(xs[i - 1] + Math.max(everyS, 1), null);
    push(x, i);
  });
  return columns;
}

function colours() {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(`--${name}`).trim();
  return Object.fromEntries(
    ["ink", "muted", "hair", "accent", "spread", "band", "band-edge", "night", "warn"].map((name) => [name, of(name)]));
}

/** Band and dark hours, behind the line. */
function paintBehind(u, bands, colour) {
  const { ctx, bbox } = u;
  const clip = (ms) => Math.min(bbox.left + bbox.width, Math.max(bbox.left, u.valToPos(ms / 1000, "x", true)));
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  for (const one of bands) {
    const x0 = clip(one.start);
    const x1 = clip(one.end);
    if (one.lit === false) {
      ctx.fillStyle = colour.night;
      ctx.fillRect(x0, bbox.top, x1 - x0, bbox.height);
    }
    if (one.low === null && one.high === null) continue;
    const top = one.high === null ? bbox.top : u.valToPos(one.high, "y", true);
    const bottom = one.low === null ? bbox.top + bbox.height : u.valToPos(one.low, "y", true);
    ctx.fillStyle = colour.band;
    ctx.fillRect(x0, top, x1 - x0, bottom - top);
    ctx.fillStyle = colour["band-edge"];
    if (one.high !== null) ctx.fillRect(x0, top, x1 - x0, devicePixelRatio);
    if (one.low !== null) ctx.fillRect(x0, bottom - devicePixelRatio, x1 - x0, devicePixelRatio);
  }
  ctx.restore();
}

/** Excursions: a bar on the time axis with a triangle at its onset. */
function paintExcursions(u, excursions, nowMs, colour) {
  const { ctx, bbox } = u;
  const size = 5 * devicePixelRatio;
  const base = bbox.top + bbox.height;
  const right = bbox.left + bbox.width;
  ctx.save();
  ctx.fillStyle = colour.warn;
  for (const one of excursions) {
    const from = u.valToPos(Date.parse(one.onset) / 1000, "x", true);
    const to = u.valToPos((one.end ? Date.parse(one.end) : nowMs) / 1000, "x", true);
    const x0 = Math.max(bbox.left, from);
    const x1 = Math.min(right, Math.max(to, x0 + devicePixelRatio));
    if (x1 < bbox.left || x0 > right) continue;
    ctx.fillRect(x0, base - size * 0.6, x1 - x0, size * 0.6);
    if (from >= bbox.left) {
      ctx.beginPath();
      ctx.moveTo(from - size, base);
      ctx.lineTo(from + size, base);
      ctx.lineTo(from, base - size * 2.2);
      ctx.fill();
    }
  }
  ctx.restore();
}

/** Room for the data and the limits near it. */
function heights(columns, bands, isState) {
  if (isState) return [-0.08, 1.08];
  let low = Infinity, high = -Infinity;
  const reach = (v) => {
    if (v === null) return;
    if (v < low) low = v;
    if (v > high) high = v;
  };
  for (const several of [columns.low, columns.high, columns.value]) several.forEach(reach);
  for (const one of bands) {
    reach(one.low);
    reach(one.high);
  }
  if (low > high) return [0, 1];
  const room = (high - low || Math.abs(high) || 1) * 0.08;
  return [low - room, high + room];
}

/** Draw; returns the chart, to be destroyed by whoever asked for it. */
export function drawChart(node, { columns, bands, excursions, span, series, zone, nowMs, onCursor }) {
  const colour = colours();
  const isState = series.kind === "state";
  const yRange = heights(columns, bands, isState);
  const font = `12px ${getComputedStyle(document.body).fontFamily}`;
  const unit = series.display_unit;
  const stepped = isState ? uPlot.paths.stepped({ align: 1 }) : undefined;
  const axis = { stroke: colour.muted, font, grid: { stroke: colour.hair, width: 1 }, ticks: { stroke: colour.hair, width: 1, size: 5 } };
  const options = {
    width: node.clientWidth,
    height: isState ? 150 : node.clientWidth < 520 ? 240 : 320,
    tzDate: (seconds) => uPlot.tzDate(new Date(seconds * 1000), zone),
    padding: [12, 12, 0, 0],
    legend: { show: false },
    cursor: { drag: { x: false, y: false }, y: false, points: { size: 9, fill: colour.accent, stroke: colour.accent } },
    scales: { x: { range: [span[0] / 1000, span[1] / 1000] }, y: { range: yRange } },
    axes: [
      {
        ...axis,
        grid: { show: false },
        space: 64,
        values: (u, splits, i, space, step) => splits.map((s) => {
          const time = clock(s * 1000, zone);
          return step >= DAY_S || time === "00:00" ? dayMonth(s * 1000, zone) : time;
        }),
      },
      {
        ...axis,
        size: 58,
        label: isState ? "state" : unit ? `${series.label} [${unit}]` : series.label,
        labelSize: 20,
        labelFont: font,
        labelGap: 2,
        splits: isState ? () => [0, 1] : undefined,
        values: (u, splits) => splits.map((v) => isState ? ["off", "on"][v] : number(v, decimalsOf(splits))),
      },
    ],
    series: [
      {},
      { label: "lowest", stroke: "transparent", width: 0, points: { show: false }, paths: stepped },
      { label: "highest", stroke: "transparent", width: 0, points: { show: false }, paths: stepped },
      { label: "mean", stroke: colour.accent, width: columns.time.length > DENSE ? 1 : 1.6, paths: stepped, points: { size: 5, fill: colour.accent } },
    ],
    bands: isState ? [] : [{ series: [2, 1], fill: colour.spread }],
    hooks: {
      drawClear: [(u) => paintBehind(u, bands, colour)],
      draw: [(u) => paintExcursions(u, excursions, nowMs, colour)],
      setCursor: [(u) => onCursor(u.cursor.idx)],
    },
  };
  return new uPlot(options, [columns.time, columns.low, columns.high, columns.value], node);
}

function decimalsOf(splits) {
  const step = Math.abs((splits[1] ?? 1) - splits[0]) || 1;
  return Math.max(0, Math.min(4, Math.ceil(-Math.log10(step) - 1e-9)));
}
