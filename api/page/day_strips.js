// Several days under one another: strips that share one axis of days, read by eye, by hand or as text.
import { useEffect, useRef, useState } from "./vendor/preact-hooks.js";
import { html } from "./html.js";
import { clock, dayMonth, isoDay, number, plainDay } from "./text.js";
import { known } from "./told.js";

const LEFT = 46, RIGHT = 10, GAP = 30, FOOT = 22;
const DAY_PX = 34; // under which not every day has its number
const MOMENTS = 36; // px from one line of moments to the next
const MINUTES = 1440;

const round = (value) => { const step = 10 ** Math.floor(Math.log10(value)); return Math.ceil(value / step) * step; };

/** The scale of a strip: its values and band with room around them, from 0 where it has bars. */
function scale({ values, band, bars }) {
  const all = values.filter(Boolean).flatMap((one) => [one.mean, one.low, one.high, one.beside]).filter(known);
  if (bars) return [0, round(Math.max(...all, 0) || 1)];
  const shown = [...all, ...[band?.low, band?.high].filter(known)];
  if (!shown.length) return [0, 1];
  const room = 0.08 * (Math.max(...shown) - Math.min(...shown)) || 0.5;
  return [Math.min(...shown) - room, Math.max(...shown) + room];
}

function Strip({ strip, top, at, count, right, picked }) {
  const [low, high] = scale(strip);
  const y = (value) => top + strip.height - ((value - low) / (high - low)) * strip.height;
  const { band, decimals, bars, values } = strip;
  const edge = (limit) => (known(limit) ? Math.min(high, Math.max(low, limit)) : null);
  const half = Math.max(1.5, Math.min(9, (at(1) - at(0)) * 0.3));
  const outside = (value) => band && ((known(band.low) && value < band.low) || (known(band.high) && value > band.high));
  return html`<g class="strip">
    <text class="what" x="0" y=${top - 10}>${strip.title}${strip.unit && `, ${strip.unit}`}</text>
    ${band && html`<rect class="band" x=${LEFT} width=${right - LEFT} y=${y(edge(band.high) ?? high)} height=${y(edge(band.low) ?? low) - y(edge(band.high) ?? high)} />`}
    <line class="foot" x1=${LEFT} x2=${right} y1=${top + strip.height} y2=${top + strip.height} />
    ${(bars ? [0, high] : [band?.low, band?.high].some(known) ? [band?.low, band?.high].filter(known) : [low, high]).map((value) =>
      html`<text x=${LEFT - 6} y=${y(value) + 4} text-anchor="end">${number(value, bars ? 0 : decimals)}</text>`)}
    ${values.map((one, i) => {
      if (!one || !known(one.mean)) return null;
      const x = at(i + 0.5);
      const cls = `${outside(one.mean) ? "out" : ""}${picked === i ? " picked" : ""}`;
      if (bars) return html`<g key=${i} class=${cls}><rect class="bar" x=${x - half} width=${2 * half} y=${y(one.mean)} height=${y(0) - y(one.mean)} />
        ${known(one.beside) && html`<line class="beside" x1=${x - half - 2} x2=${x + half + 2} y1=${y(one.beside)} y2=${y(one.beside)} />`}</g>`;
      const sign = outside(one.mean)
        ? html`<path class="point" d=${one.mean > band.high ? `M${x} ${y(one.mean) - 6}l5.5 9h-11Z` : `M${x} ${y(one.mean) + 6}l5.5 -9h-11Z`} />`
        : html`<circle class="point" cx=${x} cy=${y(one.mean)} r="3.6" />`;
      return html`<g key=${i} class=${cls}>${known(one.low) && html`<line class="reach" x1=${x} x2=${x} y1=${y(one.low)} y2=${y(one.high)} />`}${sign}</g>`;
    })}
    ${values.every((one) => !one || !known(one.mean)) && html`<text x=${LEFT + 6} y=${top + strip.height / 2 + 4}>not known</text>`}
  </g>`;
}

const SIGNS = {
  tick: (x, y) => html`<line class="tick" x1=${x} x2=${x} y1=${y - 5} y2=${y + 5} />`,
  ring: (x, y) => html`<circle class="ring" cx=${x} cy=${y} r="3" />`,
  drop: (x, y) => html`<path class="drop" d=${`M${x} ${y - 6}C${x + 1} ${y - 2} ${x + 4} ${y} ${x + 4} ${y + 2}A4 4 0 0 1 ${x - 4} ${y + 2}C${x - 4} ${y} ${x - 1} ${y - 2} ${x} ${y - 6}Z`} />`,
};

/** Moments of several kinds, a line a kind, each kind by its own sign. */
function Moments({ rows, top, at, days, zone, right }) {
  const place = (ms) => {
    const i = days.indexOf(isoDay(ms, zone));
    const [h, m] = clock(ms, zone).split(":").map(Number);
    return i < 0 ? null : at(i + (60 * h + m) / MINUTES);
  };
  return rows.map(({ name, sign, moments }, n) => {
    const y = top + 8 + MOMENTS * n;
    return html`<g class="moments" key=${name}><line class="foot" x1=${LEFT} x2=${right} y1=${y} y2=${y} />
      <text class="what" x="0" y=${y - 11}>${name}</text>${moments.map(place).filter((x) => x !== null).map((x) => SIGNS[sign](x, y))}</g>`;
  });
}

/** Strips over days with their reader. `strips` have values a day; `moments` lie on a line of their own. */
export function DayStrips({ id, days, strips, moments = [], zone, readout, about }) {
  const node = useRef(null);
  const [width, setWidth] = useState(0);
  const [picked, setPicked] = useState(null);
  useEffect(() => {
    const measure = () => node.current && setWidth(Math.floor(node.current.clientWidth));
    const watcher = new ResizeObserver(measure);
    watcher.observe(node.current);
    measure();
    return () => watcher.disconnect();
  }, []);
  const right = width - RIGHT;
  const at = (i) => LEFT + (i / days.length) * (right - LEFT);
  let top = 24;
  const tops = strips.map((one) => { const here = top; top += one.height + GAP; return here; });
  const events = top;
  if (moments.length) top += MOMENTS * moments.length + 4;
  const each = Math.max(1, Math.ceil(DAY_PX / ((right - LEFT) / days.length || 1)));
  const now = picked !== null && picked < days.length ? picked : days.length - 1;
  const pick = (event) => {
    const x = event.clientX - event.currentTarget.getBoundingClientRect().left;
    const i = Math.floor(((x - LEFT) / (right - LEFT)) * days.length);
    if (i >= 0 && i < days.length) setPicked(i);
  };
  const text = days.length ? `${plainDay(days[now])}: ${readout(now)}` : "";
  return html`<div class="day-strips" ref=${node}>${width > 0 && html`<svg width=${width} height=${top + FOOT - GAP + 14} viewBox=${`0 0 ${width} ${top + FOOT - GAP + 14}`} aria-hidden="true" onPointerMove=${pick} onPointerDown=${pick}>
      ${picked !== null && html`<rect class="day" x=${at(now)} width=${at(1) - at(0)} y="12" height=${top - GAP} />`}
      ${strips.map((strip, i) => html`<${Strip} key=${strip.title} ...${{ strip, top: tops[i], at, right, picked: now }} />`)}
      <${Moments} ...${{ rows: moments, top: events, at, days, zone, right }} />
      ${days.map((day, i) => i % each === 0 && html`<text key=${day} x=${at(i + 0.5)} y=${top - GAP + FOOT + 8} text-anchor="middle">${i === 0 || day.endsWith("-01") ? dayMonth(Date.parse(`${day}T12:00:00Z`), "UTC") : Number(day.slice(8))}</text>`)}
    </svg>`}</div>
    ${about && html`<p class="note">${about}</p>`}
    ${days.length > 0 && html`<div class="reader own"><label for=${id}>Read a day</label>
      <input id=${id} type="range" min="0" max=${days.length - 1} step="1" value=${now} aria-valuetext=${text} onInput=${(event) => setPicked(Number(event.target.value))} />
      <p class="readout" aria-hidden="true">${text}</p></div>`}`;
}

export const SPANS = [[7, "the last 7 days"], [14, "the last 14 days"], [30, "the last 30 days"], [92, "the last 92 days"]];

/** How many days are shown, kept in the link for all parts that show days. */
export function DaysShown({ view, change }) {
  return html`<label class="field">Days <select value=${String(view.days)} onChange=${(event) => change({ days: Number(event.target.value) })}>
    ${SPANS.map(([count, label]) => html`<option value=${String(count)}>${label}</option>`)}</select></label>`;
}
