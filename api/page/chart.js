// One track: lines of one unit over time, what stands behind them, and a cursor that all tracks share.
import uPlot from "./vendor/uPlot.js";
import { colours, paintBehind, paintDoses, paintDoubts, paintExcursions, paintGaps, strokes } from "./shading.js";
import { pullByTouch } from "./touch_brush.js";
import { clock, clockToSecond, dayMonth, isoDay, number, stateWord } from "./text.js";

const MINUTE_S = 60;
const DAY_S = 86_400;
const DENSE = 2_000; // points: from here on a hairline shows more of them, and is drawn in half the time
const TIME_AXIS = 26; // CSS pixels, beneath the last track

export const GUTTER = 58; // CSS pixels to the left of every plot, so that all tracks lie beneath one another
export const EDGE = 22; // half of the last time beneath the axis
const BRUSH = 5; // CSS pixels: a shorter pull is a shaky click
const NOTHING_PULLED = { left: 0, top: 0, width: 0, height: 0 };

/** Room for the data and the limits near it. */
function heights(lines, bands, isState) {
  if (isState) return [-0.15, 1.15];
  let low = Infinity, high = -Infinity;
  const reach = (v) => {
    if (v === null) return;
    if (v < low) low = v;
    if (v > high) high = v;
  };
  for (const { columns } of lines) for (const several of [columns.low, columns.high, columns.value]) several.forEach(reach);
  for (const one of bands) {
    reach(one.low);
    reach(one.high);
  }
  if (low > high) return [0, 1];
  const room = (high - low || Math.abs(high) || 1) * 0.08;
  return [low - room, high + room];
}

const ofLine = ({ columns }) => [columns.time, columns.low, columns.high, columns.value];

function timeText(seconds, step, zone) {
  const ms = seconds * 1000;
  if (step < MINUTE_S) return clockToSecond(ms, zone);
  const time = clock(ms, zone);
  if (step < DAY_S && time !== "00:00") return time;
  const day = dayMonth(ms, zone);
  return day === "1 Jan" ? isoDay(ms, zone).slice(0, 4) : day;
}

function axes(zone, font, colour, { state, labelled }) {
  const axis = { stroke: colour.muted, font, grid: { stroke: colour.hair, width: 1 } };
  const ticks = { stroke: colour.hair, width: 1, size: 5 };
  return [
    {
      ...axis,
      space: 64,
      size: labelled ? TIME_AXIS : 1,
      gap: labelled ? 4 : 0,
      ticks: { ...ticks, show: labelled },
      values: (u, splits, i, space, step) => splits.map((s) => (labelled ? timeText(s, step, zone) : "")),
    },
    {
      ...axis,
      ticks,
      size: GUTTER,
      space: 26,
      splits: state ? () => [0, 1] : undefined,
      values: (u, splits) => splits.map((v) => (state ? stateWord(state, v) : number(v, decimalsOf(splits)))),
    },
  ];
}

/** As many decimals as tell the splits apart as they are: 0.25 needs two. */
function decimalsOf(splits) {
  const step = Math.abs((splits[1] ?? 1) - splits[0]) || 1;
  for (let decimals = 0; decimals < 6; decimals++) {
    const scaled = step * 10 ** decimals;
    if (Math.abs(scaled - Math.round(scaled)) < 1e-6 * scaled) return decimals;
  }
  return 6;
}

function seriesOf(lines, colour, isState) {
  const paths = isState ? uPlot.paths.stepped({ align: 1 }) : undefined;
  const unseen = { stroke: "transparent", width: 0, points: { show: false }, paths };
  return lines.flatMap(({ columns }, i) => {
    const { stroke, dash } = strokes(colour)[i];
    const width = columns.time.length > DENSE ? 1 : 1.6;
    return [unseen, unseen, { stroke, width, dash, paths, points: { size: 5, fill: stroke } }];
  });
}

/** Put the cursor at an instant, and tell nobody. */
export const placeCursor = (u, ms) => u.setCursor({ left: u.valToPos(ms / 1000, "x"), top: 10 }, false);

/** Draw; returns the chart, to be destroyed by whoever asked for it. */
export function drawChart(node, { lines, bands, excursions = [], doses = [], written = [], span, zone, nowMs, labelled = true, cursor = null, shared, onCursor, onBrush }) {
  const colour = colours();
  const isState = lines[0].series.kind === "state";
  const yRange = heights(lines, bands, isState);
  const font = `12px ${getComputedStyle(document.body).fontFamily}`;
  const plotHeight = isState ? 56 : node.clientWidth < 520 ? 110 : 132;
  const gaps = lines.length === 1 ? lines[0].columns.gaps ?? [] : [];
  let stop = null;
  const brush = (u, left, right) => {
    if (right - left < BRUSH) return;
    u.setSelect(NOTHING_PULLED, false);
    onBrush?.(1000 * u.posToVal(left, "x"), 1000 * u.posToVal(right, "x"));
  };
  const paint = (u) => {
    paintGaps(u, gaps, colour);
    paintDoses(u, doses, colour);
    paintExcursions(u, excursions, nowMs, colour);
    lines.forEach(({ columns }) => paintDoubts(u, columns, colour));
  };
  const options = {
    width: node.clientWidth,
    height: plotHeight + 14 + (labelled ? TIME_AXIS : 1),
    tzDate: (seconds) => uPlot.tzDate(new Date(seconds * 1000), zone),
    padding: [7, EDGE, 6, 0],
    legend: { show: false },
    cursor: {
      drag: { x: Boolean(onBrush), y: false, setScale: false, dist: BRUSH },
      y: false,
      points: { size: (u, i) => (i % 3 === 0 ? 9 : 0), fill: (u, i) => u.series[i].stroke(u, i), stroke: (u, i) => u.series[i].stroke(u, i) },
      bind: { dblclick: () => null },
      ...(shared ? { sync: { key: shared, setSeries: false, scales: ["x", null] } } : {}),
    },
    scales: { x: { range: [span[0] / 1000, span[1] / 1000] }, y: { range: yRange } },
    axes: axes(zone, font, colour, { state: isState && lines[0].series.quantity, labelled }),
    series: [{}, ...seriesOf(lines, colour, isState)],
    bands: isState || lines.length > 1 ? [] : [{ series: [2, 1], fill: colour.spread }],
    hooks: {
      drawClear: [(u) => paintBehind(u, { bands, written }, colour)],
      draw: [paint],
      ready: [(u) => cursor !== null && placeCursor(u, cursor), (u) => { stop = onBrush ? pullByTouch(u, (left, right) => brush(u, left, right)) : null; }],
      destroy: [() => stop?.()],
      setCursor: [(u) => u.cursor.left >= 0 && onCursor?.(1000 * u.posToVal(u.cursor.left, "x"))],
      setSelect: [(u) => {
        const { left, width } = u.select;
        brush(u, left, left + width);
      }],
    },
  };
  const data = lines.length === 1 ? ofLine(lines[0]) : uPlot.join(lines.map(ofLine));
  return new uPlot(options, data, node);
}
