// What the timeline shows as one picture: its charts beneath a heading, with units, times and what they say in words.
import { colours } from "./shading.js";

const SIDE = 20;
const LINE = 18;
const MOST_NOTES = 20;

function wrapped(ctx, text, width) {
  const lines = [""];
  for (const word of text.split(" ")) {
    const longer = lines.at(-1) ? `${lines.at(-1)} ${word}` : word;
    if (ctx.measureText(longer).width > width && lines.at(-1)) lines.push(word);
    else lines[lines.length - 1] = longer;
  }
  return lines;
}

/** What is put on the picture, from the top: texts in their fonts, and canvases. */
function contents({ title, invented, span, marks, tracks, legend, notes, foot }, fonts) {
  const text = (words, font, more = {}) => ({ words, font, ...more });
  return [
    text(title, fonts.title, { line: 28 }),
    ...(invented ? [text("Invented demonstration farm. Nothing here was measured in a real one.", fonts.text)] : []),
    text(span, fonts.text),
    { space: 8 },
    ...(marks ? [{ canvas: marks }, { space: 8 }] : []),
    ...tracks.flatMap((one) => [text(one.name, fonts.bold), ...one.words.map((words) => text(words, fonts.small, { muted: true })), { canvas: one.canvas }, { space: 6 }]),
    { space: 4 },
    text(legend, fonts.small, { muted: true }),
    ...notes.slice(0, MOST_NOTES).map((one) => text(one, fonts.small)),
    ...(notes.length > MOST_NOTES ? [text(`and ${notes.length - MOST_NOTES} more`, fonts.small)] : []),
    text(foot, fonts.small, { muted: true }),
  ];
}

/** A canvas with all of it. */
export function asPicture(what) {
  const colour = colours();
  const ratio = devicePixelRatio;
  const style = getComputedStyle(document.body);
  const serif = getComputedStyle(document.documentElement).getPropertyValue("--serif");
  const fonts = {
    title: `600 22px ${serif}`, text: `14px ${style.fontFamily}`, bold: `600 14px ${style.fontFamily}`, small: `12px ${style.fontFamily}`,
  };
  const width = Math.max(...what.tracks.map((one) => one.canvas.width)) / ratio;
  const canvas = document.createElement("canvas");
  const ctx = canvas.getContext("2d");
  let y = SIDE;
  const placed = contents(what, fonts).map((one) => {
    const at = y;
    ctx.font = one.font ?? fonts.text;
    const lines = one.words ? wrapped(ctx, one.words, width) : [];
    y += one.space ?? (one.canvas ? one.canvas.height / ratio : lines.length * (one.line ?? LINE));
    return { ...one, at, lines };
  });
  canvas.width = (width + 2 * SIDE) * ratio;
  canvas.height = (y + SIDE) * ratio;
  ctx.scale(ratio, ratio);
  ctx.fillStyle = colour.paper;
  ctx.fillRect(0, 0, width + 2 * SIDE, y + SIDE);
  ctx.textBaseline = "top";
  for (const one of placed) {
    if (one.canvas) ctx.drawImage(one.canvas, SIDE, one.at, one.canvas.width / ratio, one.canvas.height / ratio);
    ctx.font = one.font ?? fonts.text;
    ctx.fillStyle = one.muted ? colour.muted : colour.ink;
    one.lines.forEach((line, i) => ctx.fillText(line, SIDE, one.at + i * (one.line ?? LINE)));
  }
  return canvas;
}
