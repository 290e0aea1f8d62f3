// Taking away what the timeline shows: a link, a picture, a table.
import { useState } from "./vendor/preact-hooks.js";
import { asCsv } from "./as_csv.js";
import { asPicture } from "./as_picture.js";
import { html } from "./html.js";
import { doseText, excursionText, writtenText } from "./marks.js";
import { sentences } from "./summary.js";
import { clock, dayAndClock, dayName, isoDay, isoTime, zoneName } from "./text.js";
import { beginning } from "./timeline_track.js";
import { named, unitOf } from "./tracks.js";
import { link, opened } from "./view.js";

const STROKES = ["drawn through", "dashed", "dotted"];
const LEGEND = "Shaded: the band, and darker where lights are off. Bar with a triangle: excursion, from its onset. Ring: suspect. "
  + "Cross: failed or missing. Hatched: no readings. Wedge: dose. Dotted line: entry. Pale area: lowest to highest.";

function save(blob, name) {
  const address = URL.createObjectURL(blob);
  const anchor = Object.assign(document.createElement("a"), { href: address, download: name });
  anchor.click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}

const fileName = (farm, [start, end], zone, ending) =>
  `${farm.name}_${[start, end].map((ms) => isoTime(ms, zone).slice(0, 16).replace(":", "-")).join("_to_")}.${ending}`;

/** What happened, in the order of time. */
function happened(marks, zone, naming) {
  const all = [
    ...marks.written.map((one) => ({ time: one.time, text: `entry ${one.number}: ${writtenText(one, naming)}` })),
    ...marks.doses.map((one) => ({ time: one.start, text: `dose: ${doseText(one)}` })),
    ...marks.excursions.map((one) => ({ time: one.onset, text: `excursion: ${excursionText(one, zone)}` })),
  ];
  return all.sort((a, b) => a.time - b.time);
}

export function spanText([start, end], zone) {
  const years = [start, end].map((ms) => isoDay(ms, zone).slice(0, 4));
  const text = (ms, year) => `${dayName(ms, zone)}${year} ${clock(ms, zone)} ${zoneName(ms, zone)}`;
  return `${text(start, years[0] === years[1] ? "," : ` ${years[0]},`)} to ${text(end, ` ${years[1]},`)}`;
}

export function Taking({ farm, view, span, zone, held, marks, naming, charts, unfit }) {
  const [said, setSaid] = useState("");
  const [shownLink, setShownLink] = useState("");
  /** Saves nothing of another stretch than the one that the file would name; a disabled button would lose the focus. */
  const fit = (does) => () => (unfit ? setSaid(unfit) : does());
  const ready = farm && held.length > 0;

  const copy = async () => {
    const address = new URL(link({ ...view, open: opened(view, "timeline", true), from: Math.floor(span[0] / 1000) * 1000, to: Math.ceil(span[1] / 1000) * 1000 }), location.href).href;
    try {
      await navigator.clipboard.writeText(address);
      setShownLink("");
      setSaid("The link is copied. It opens these tracks and this stretch of time again.");
    } catch {
      setShownLink(address); // without TLS, or where the browser does not let us
      setSaid("Your browser does not let pages copy here. Copy it from the field.");
    }
  };
  const csv = () => {
    const text = asCsv(held, span, zone, happened(marks, zone, naming));
    save(new Blob([text], { type: "text/csv;charset=utf-8" }), fileName(farm, span, zone, "csv"));
    setSaid("The table is saved.");
  };
  const picture = () => {
    const canvas = asPicture({
      title: farm.title,
      invented: farm.invented,
      span: `${spanText(span, zone)} (${zone})`,
      marks: charts.current.marks?.height ? charts.current.marks : null,
      tracks: held.map((one) => ({
        name: `${one.lines.map(({ series }) => named(series)).join("; ")} [${unitOf(one.lines[0].series)}]`,
        words: one.lines.map((line, n) => `${one.lines.length > 1 ? `${named(line.series)} (${STROKES[n]}): ` : ""}${
          sentences(line, one.bands, one.everyS, { begins: beginning(line.series, span, zone) }).join(" ")}`),
        canvas: charts.current[one.id].ctx.canvas,
      })),
      legend: LEGEND,
      notes: happened({ ...marks, excursions: [], doses: [] }, zone, naming).map((one) => `${dayAndClock(one.time, zone)}, ${one.text}`),
      foot: `Leafweather ${farm.software_version}, description ${farm.description_hash.slice(0, 12)}. It advises and records; it is not a life-safety device.`,
    });
    canvas.toBlob((blob) => { save(blob, fileName(farm, span, zone, "png")); setSaid("The picture is saved."); }, "image/png");
  };
  return html`<div class="taking">
    <button type="button" onClick=${copy}>Copy link</button>
    <button type="button" disabled=${!ready} onClick=${fit(picture)}>Save picture (PNG)</button>
    <button type="button" disabled=${!ready} onClick=${fit(csv)}>Save table (CSV)</button>
    <span role="status" class="note">${said}</span>
    ${shownLink && html`<label class="field link-shown">Link <input type="text" readonly value=${shownLink} onFocus=${(event) => event.target.select()} /></label>`}
  </div>`;
}
