// The psychrometric chart as a drawing: temperature across, water in the air up. Its curves come from the server.
import { html } from "./html.js";
import { number } from "./text.js";

const EDGE = { left: 14, right: 52, top: 38, bottom: 44 };
const SMALL = { left: 8, right: 40, top: 36, bottom: 42 };
const NARROW = 620;
const MANY = 80; // points, above which they are drawn smaller
const LEAST_LABEL = 15; // px between two labels on one edge
const STEPS = [1, 2, 5, 10, 20];

/** How temperatures and ratios lie on a drawing of a width. */
export function scales(chart, width) {
  const edge = width < NARROW ? SMALL : EDGE;
  const height = Math.round(Math.min(560, Math.max(340, width * 0.62)));
  const [t0, t1] = chart.temperature_window_degc;
  const [w0, w1] = chart.humidity_ratio_window_g_kg;
  const x = (t) => edge.left + ((t - t0) / (t1 - t0)) * (width - edge.left - edge.right);
  const y = (w) => height - edge.bottom - ((w - w0) / (w1 - w0)) * (height - edge.top - edge.bottom);
  return { x, y, width, height, edge, t0, t1, w0, w1 };
}

const every = (low, high, most) => {
  const step = STEPS.find((one) => (high - low) / one <= most) ?? STEPS.at(-1);
  const first = Math.ceil(low / step) * step;
  return Array.from({ length: Math.floor((high - first) / step) + 1 }, (_, i) => first + i * step);
};

const path = (at, line, closed) => line.temperature_degc.map((t, i) =>
  `${i ? "L" : "M"}${at.x(t).toFixed(1)} ${at.y(line.humidity_ratio_g_kg[i]).toFixed(1)}`).join("") + (closed ? "Z" : "");

/** Where a rising line leaves the drawing: by its upper end at the top or the right, by its lower end at the bottom or the left. */
function ends(at, line) {
  const { temperature_degc: t, humidity_ratio_g_kg: w } = line;
  const inside = t.map((_, i) => i).filter((i) => w[i] >= at.w0 && w[i] <= at.w1);
  if (inside.length < 2) return null;
  const cut = (i, j, level) => t[i] + ((level - w[i]) / (w[j] - w[i])) * (t[j] - t[i]);
  const first = inside[0], last = inside.at(-1);
  return {
    low: first > 0 ? { t: cut(first - 1, first, at.w0), w: at.w0 } : { t: t[0], w: w[0] },
    high: last < t.length - 1 ? { t: cut(last, last + 1, at.w1), w: at.w1 } : { t: t[last], w: w[last] },
  };
}

/** Names of a family of lines at one of their ends, those left out that would lie over another. */
function Names({ at, lines, end, text, kind, taken }) {
  return lines.map((line) => {
    const found = ends(at, line)?.[end];
    if (!found) return null;
    const onTop = found.w >= at.w1 - 1e-9, onLeft = found.t <= at.t0 + 1e-9, onBottom = found.w <= at.w0 + 1e-9;
    const x = at.x(found.t), y = at.y(found.w);
    const place = onTop ? [x, y - 5, "middle"] : onBottom ? [x, y - 4, "start"] : onLeft ? [x + 3, y - 4, "start"] : [x - 3, y - 5, "end"];
    const wide = onTop || onBottom ? 38 : 20;
    if (taken.some(([a, b]) => Math.abs(a - place[0]) < wide + 12 && Math.abs(b - place[1]) < LEAST_LABEL)) return null;
    taken.push(place);
    return html`<text class=${`name ${kind}`} x=${place[0]} y=${place[1]} text-anchor=${place[2]}>${text(line.level)}</text>`;
  });
}

/** Lit hours are discs, dark ones squares on their corner, others crosses: never by colour alone. */
export function Shape({ lit, x, y, r }) {
  if (lit === true) return html`<circle class="lit" cx=${x} cy=${y} r=${r} />`;
  if (lit === false) return html`<path class="dark" d=${`M${x} ${y - r * 1.35}L${x + r * 1.35} ${y}L${x} ${y + r * 1.35}L${x - r * 1.35} ${y}Z`} />`;
  return html`<path class="neither" d=${`M${x - r} ${y - r}l${2 * r} ${2 * r}m0 ${-2 * r}l${-2 * r} ${2 * r}`} />`;
}

function Axes({ at }) {
  const bottom = at.height - at.edge.bottom, right = at.width - at.edge.right;
  return html`<g class="axes">
    ${every(at.t0, at.t1, (right - at.edge.left) / 48).map((t) => html`<g key=${`t${t}`}><line x1=${at.x(t)} x2=${at.x(t)} y1=${bottom} y2=${bottom + 5} />
      <text x=${at.x(t)} y=${bottom + 18} text-anchor="middle">${number(t, 0)}</text></g>`)}
    ${every(at.w0, at.w1, (bottom - at.edge.top) / 34).map((w) => html`<g key=${`w${w}`}><line x1=${right} x2=${right + 5} y1=${at.y(w)} y2=${at.y(w)} />
      <text x=${right + 8} y=${at.y(w) + 4}>${number(w, 0)}</text></g>`)}
    <path class="frame" d=${`M${at.edge.left} ${bottom}H${right}V${at.edge.top}`} />
    <text class="what" x=${at.edge.left} y=${at.height - 6}>Air temperature, °C</text>
    <text class="what" x=${at.width} y="12" text-anchor="end">Water in the air, g per kg of dry air</text>
  </g>`;
}

function Surfaces({ at, rows }) {
  const right = at.width - at.edge.right;
  const shown = rows.filter((one) => one.g_kg !== null && one.g_kg >= at.w0 && one.g_kg <= at.w1).sort((a, b) => b.g_kg - a.g_kg);
  const lines = shown.map((one) => at.y(one.g_kg));
  const taken = [];
  const free = (label) => !lines.some((line) => line < label + 3 && line > label - 12) && !taken.some((other) => Math.abs(other - label) < LEAST_LABEL);
  return html`<g class="wets">${shown.map((one, i) => {
    const y = lines[i];
    const label = [y - 5, y + 14].find(free) ?? y - 5; // above its line, or below where another lies above
    taken.push(label);
    return html`<g key=${one.name}><line class=${one.tonight ? "tonight" : ""} x1=${at.edge.left} x2=${right} y1=${y} y2=${y} />
      <text class="name wet" x=${at.edge.left + 4} y=${label}>${at.width < NARROW ? one.short : one.name}</text></g>`;
  })}</g>`;
}

/** The whole drawing. `picked` is the hour that is read, `joined` whether the hours are joined in their order. */
export function AirDrawing({ chart, width, surfaces, outside, picked, joined, isNow, onPick }) {
  const at = scales(chart, width);
  const { hours, now } = chart;
  const count = hours.time.length;
  const r = count > MANY ? 2.4 : 3.8;
  const spots = hours.temperature_degc.map((t, i) => [at.x(t), at.y(hours.humidity_ratio_g_kg[i])]);
  const taken = [];
  const nearest = (event) => {
    const box = event.currentTarget.getBoundingClientRect();
    const [x, y] = [event.clientX - box.left, event.clientY - box.top];
    let best = -1, least = 30 ** 2;
    spots.forEach(([a, b], i) => { const far = (a - x) ** 2 + (b - y) ** 2; if (far < least) { least = far; best = i; } });
    if (best >= 0) onPick(best);
  };
  const frame = { x: at.edge.left, y: at.edge.top, width: at.width - at.edge.left - at.edge.right, height: at.height - at.edge.top - at.edge.bottom };
  return html`<svg class="air-drawing" width=${at.width} height=${at.height} viewBox=${`0 0 ${at.width} ${at.height}`} aria-hidden="true" onPointerMove=${nearest} onPointerDown=${nearest}>
    <defs>
      <clipPath id="air-frame"><rect ...${frame} /></clipPath>
      <pattern id="air-hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><line x1="0" y1="0" x2="0" y2="7" class="hatch" /></pattern>
    </defs>
    <g clip-path="url(#air-frame)">
      <path class="fog" d=${`${path(at, chart.saturation)}V${at.edge.top}H${at.x(at.t0)}Z`} />
      ${chart.bands.map((one) => one.outline.temperature_degc.length > 2 && html`<path class=${one.lit === false ? "wanted dark" : "wanted"} d=${path(at, one.outline, true)} />`)}
      ${chart.relative_humidity.map((one) => html`<path class="humidity" d=${path(at, one)} />`)}
      ${chart.vapour_pressure_deficit.map((one) => html`<path class="deficit" d=${path(at, one)} />`)}
      <path class="saturation" d=${path(at, chart.saturation)} />
    </g>
    <${Axes} at=${at} />
    <${Names} ...${{ at, taken, lines: [chart.saturation], end: "high", kind: "full", text: () => "100 % RH" }} />
    <${Names} ...${{ at, taken, lines: [...chart.vapour_pressure_deficit].reverse(), end: "low", kind: "deficit", text: (level) => `${number(level, 1)} kPa` }} />
    <${Names} ...${{ at, taken, lines: [...chart.relative_humidity].reverse(), end: "high", kind: "humidity", text: (level) => `${number(level, 0)} %` }} />
    <${Surfaces} at=${at} rows=${surfaces} />
    ${joined && html`<path class="course" d=${spots.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("")} />`}
    <g class=${count > MANY ? "spots many" : "spots"}>${spots.map(([x, y], i) => html`<g key=${i} class=${outside[i] ? "out" : ""}><${Shape} lit=${hours.lit[i]} x=${x} y=${y} r=${r} /></g>`)}</g>
    ${now && isNow && html`<g class="now"><circle cx=${at.x(now.temperature_degc)} cy=${at.y(now.humidity_ratio_g_kg)} r="8" /><circle cx=${at.x(now.temperature_degc)} cy=${at.y(now.humidity_ratio_g_kg)} r="1.8" />
      <text x=${at.x(now.temperature_degc) + 12} y=${at.y(now.humidity_ratio_g_kg) + 16}>now</text></g>`}
    ${picked !== null && spots[picked] && html`<path class="picked" d=${`M${spots[picked][0]} ${at.height - at.edge.bottom}V${spots[picked][1]}H${at.width - at.edge.right}`} />
      <circle class="picked" cx=${spots[picked][0]} cy=${spots[picked][1]} r=${r + 4} />`}
  </svg>`;
}
