// What stands behind and upon a track's lines: its band, dark hours, gaps, excursions, doubtful readings, doses and entries.

const SUSPECT = 3;
const A_NIGHT_S = 6 * 3600;
const NARROWEST_NIGHT = 1.8; // CSS pixels: narrower ones would be a grey haze

export function colours() {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(`--${name}`).trim();
  return Object.fromEntries(
    ["paper", "ink", "muted", "hair", "accent", "spread", "band", "band-edge", "night", "warn"].map((name) => [name, of(name)]));
}

/** How each line of a track is drawn, and told apart without its colour. */
export const strokes = (colour) => [
  { stroke: colour.accent, dash: [] },
  { stroke: colour.ink, dash: [7, 4] },
  { stroke: colour.muted, dash: [2, 3] },
];

function inside(u, paint) {
  const { ctx, bbox } = u;
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  paint(ctx, bbox);
  ctx.restore();
}

const across = (u) => (ms) => {
  const { left, width } = u.bbox;
  return Math.min(left + width, Math.max(left, u.valToPos(ms / 1000, "x", true)));
};

/** Band, dark hours and what people wrote, behind the line. */
export function paintBehind(u, { bands, written }, colour) {
  inside(u, (ctx, { top, height }) => {
    const clip = across(u);
    const fine = devicePixelRatio;
    const { min, max } = u.scales.x;
    const nights = (u.bbox.width * A_NIGHT_S) / (max - min) >= NARROWEST_NIGHT * fine; // all of them or none
    for (const one of bands) {
      const x0 = clip(one.start);
      const width = clip(one.end) - x0;
      if (width <= 0) continue;
      if (one.lit === false && nights) {
        ctx.fillStyle = colour.night;
        ctx.fillRect(x0, top, width, height);
      }
      if (one.low === null && one.high === null) continue;
      const y0 = one.high === null ? top : u.valToPos(one.high, "y", true);
      const y1 = one.low === null ? top + height : u.valToPos(one.low, "y", true);
      ctx.fillStyle = colour.band;
      ctx.fillRect(x0, y0, width, y1 - y0);
      ctx.fillStyle = colour["band-edge"];
      if (one.high !== null) ctx.fillRect(x0, y0, width, fine);
      if (one.low !== null) ctx.fillRect(x0, y1 - fine, width, fine);
    }
    ctx.strokeStyle = colour.muted;
    ctx.lineWidth = fine;
    ctx.setLineDash([2 * fine, 3 * fine]);
    ctx.beginPath();
    for (const one of written) {
      const x = Math.round(u.valToPos(one.time / 1000, "x", true)) + 0.5;
      ctx.moveTo(x, top);
      ctx.lineTo(x, top + height);
    }
    ctx.stroke();
  });
}

/** Where there are no readings: a hatched strip along the top. */
export function paintGaps(u, gaps, colour) {
  inside(u, (ctx, { top }) => {
    const clip = across(u);
    const high = 5 * devicePixelRatio;
    ctx.strokeStyle = colour.muted;
    ctx.lineWidth = devicePixelRatio;
    for (const [from, to] of gaps) {
      const x0 = clip(from * 1000);
      const x1 = Math.max(clip(to * 1000), x0 + 1);
      ctx.save();
      ctx.beginPath();
      ctx.rect(x0, top, x1 - x0, high);
      ctx.clip();
      ctx.beginPath();
      for (let x = x0 - high; x < x1; x += high * 0.8) {
        ctx.moveTo(x, top + high);
        ctx.lineTo(x + high, top);
      }
      ctx.stroke();
      ctx.restore();
    }
  });
}

/** Excursions: a bar on the time axis with a triangle at its onset. */
export function paintExcursions(u, excursions, nowMs, colour) {
  const { ctx, bbox } = u;
  const size = 5 * devicePixelRatio;
  const base = bbox.top + bbox.height;
  const clip = across(u);
  ctx.save();
  ctx.fillStyle = colour.warn;
  for (const one of excursions) {
    const from = u.valToPos(one.onset / 1000, "x", true);
    const x0 = clip(one.onset);
    const x1 = Math.max(clip(one.end ?? nowMs), x0 + devicePixelRatio);
    if (from > bbox.left + bbox.width || clip(one.end ?? nowMs) <= bbox.left) continue;
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

/** Doubtful readings: a ring where suspect, a cross where failed or missing, at the foot if there is no value. */
export function paintDoubts(u, { time, value, flag }, colour) {
  inside(u, (ctx, { top, height }) => {
    const size = 3.2 * devicePixelRatio;
    ctx.strokeStyle = colour.warn;
    ctx.lineWidth = 1.5 * devicePixelRatio;
    ctx.beginPath();
    for (let i = 0; i < flag.length; i++) {
      if (flag[i] === null || flag[i] < SUSPECT) continue;
      const x = u.valToPos(time[i], "x", true);
      const y = value[i] === null ? top + height - 2 * size : u.valToPos(value[i], "y", true);
      if (flag[i] === SUSPECT) {
        ctx.moveTo(x + size, y);
        ctx.arc(x, y, size, 0, 2 * Math.PI);
      } else {
        ctx.moveTo(x - size, y - size);
        ctx.lineTo(x + size, y + size);
        ctx.moveTo(x - size, y + size);
        ctx.lineTo(x + size, y - size);
      }
    }
    ctx.stroke();
  });
}

/** Doses: a drop's wedge hanging from the top edge. */
export function paintDoses(u, doses, colour) {
  inside(u, (ctx, { top }) => {
    const size = 4 * devicePixelRatio;
    ctx.fillStyle = colour.ink;
    for (const one of doses) {
      const x = u.valToPos(one.start / 1000, "x", true);
      ctx.beginPath();
      ctx.moveTo(x - size, top);
      ctx.lineTo(x + size, top);
      ctx.lineTo(x, top + size * 2);
      ctx.fill();
    }
  });
}
