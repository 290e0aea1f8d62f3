// What the page holds below what needs a person: a line for each section, which opens it, and links to all of them.
import { useEffect } from "./vendor/preact-hooks.js";
import { Air } from "./air.js";
import { Alarms, STANDING } from "./alarms.js";
import { Balances } from "./balances.js";
import { Batches } from "./batches.js";
import { Clocks, Rejects, Unknown } from "./arrivals.js";
import { DataSet } from "./data_set.js";
import { Findings, FOUND, show } from "./findings.js";
import { html } from "./html.js";
import { Light } from "./light.js";
import { Notices } from "./notices.js";
import { DaySheet, Excursions, RECENT } from "./record.js";
import { RootZoneDays } from "./root_zone.js";
import { Sensors } from "./sensors.js";
import { plainDay } from "./text.js";
import { Timeline } from "./timeline.js";
import { isOpen, isWide, link, opened } from "./view.js";
import { WriteDown } from "./write_down.js";

const counted = (count, one, several) => (count ? `${count} ${count === 1 ? one : several}` : "");
const listed = (...parts) => parts.filter(Boolean).join(", ");
const whole = (answer, name) => answer?.[name] ?? [];
/** What a part says once its answers are there: none of something is not the same as not knowing. */
const knowing = (paths, say) => (feed) => (paths.every((path) => feed.data(path)) ? say(feed) : "not known yet");

/** Each part of the page: the section it shows first, its name, what it says while it is folded, and what it holds. */
const PARTS = [
  ["timeline", "Timeline", () => "any series over time, with its band", [Timeline]],
  ["air", "Air", () => "where it was, on a psychrometric chart", [Air]],
  ["light", "Light", () => "by row and day, against its target", [Light]],
  ["root-zone", "Root zone", () => "EC and pH, doses, top-ups, uptake, probes", [RootZoneDays]],
  ["balances", "Balances", () => "water, stocks, energy and CO2, day by day", [Balances]],
  ["excursions", "Excursions", knowing([RECENT], (feed) => {
    const open = whole(feed.data(RECENT), "excursions").filter((one) => !one.end).length;
    return `${feed.data(RECENT).next ? "at least " : ""}${listed(counted(open, "open", "open"), counted(whole(feed.data(RECENT), "excursions").length - open, "ended", "ended") || "none ended")} in seven days`;
  }), [Excursions, Findings]],
  ["alarms", "Alarms", knowing([STANDING], (feed) => {
    const all = whole(feed.data(STANDING), "alarms");
    const over = all.filter((one) => one.state === "returned_unacknowledged").length;
    return listed(counted(all.length - over, "alarm stands", "alarms stand") || "no alarm stands", counted(over, "over and not acknowledged", "over and not acknowledged"));
  }), [Alarms, Notices]],
  ["day", "Day sheet", knowing(["days"], (feed) => { const last = [...whole(feed.data("days"), "days")].sort().at(-1); return last ? `up to ${plainDay(last)}` : "none yet"; }), [DaySheet]],
  ["batches", "Batches", knowing(["batches"], (feed) => counted(whole(feed.data("batches"), "batches").length, "batch", "batches") || "none described"), [Batches]],
  ["sensors", "Sensors", knowing(["series", "rejects"], (feed) => listed(counted(whole(feed.data("series"), "series").filter((one) => one.silent).length, "silent", "silent"), counted(whole(feed.data("rejects"), "rejects").length, "kind refused", "kinds refused") || "nothing refused",
    counted(whole(feed.data("unknown"), "unknown").length, "unknown name", "unknown names"), counted(whole(feed.data("clocks"), "clocks").length, "wrong clock", "wrong clocks"))), [Sensors, Rejects, Unknown, Clocks]],
  ["write-down", "Write down", () => "calibrations, samples, refills, notes", [WriteDown]],
  ["data-set", "Data set", () => "readings to take away", [DataSet]],
];

/** Links to every part, in one line where there is room. */
export function Contents({ view }) {
  const list = html`<ul role="list">${PARTS.map(([id, name]) => html`<li key=${id}><a href=${link({ ...view, open: opened(view, id, true) })} data-shows=${id}>${name}</a></li>`)}</ul>`;
  return html`<nav class="contents" aria-label="On this page">${isWide() ? list : html`<details><summary>On this page</summary>${list}</details>`}</nav>`;
}

function Fold({ id, name, digest, view, change, ready, children }) {
  const open = isOpen(view, id);
  const toggled = (event) => {
    if (event.currentTarget.open !== open) change({ open: opened(view, id, event.currentTarget.open) });
  };
  return html`<details class="fold" id=${`fold-${id}`} open=${open} onToggle=${toggled}>
    <summary>${open ? html`<span>Fold away<span class="hidden"> ${name}</span></span>` : html`<h2>${name}</h2> <span class="note">${digest}</span>`}</summary>
    ${open && ready && children}
  </details>`;
}

export function Parts({ farm, ...shared }) {
  const { feed, view, change, sought, onFound } = shared;
  useEffect(() => {
    if (!sought) return;
    const title = document.getElementById(`${sought.title}-title`);
    if (!title || (sought.found && !feed.data(FOUND))) return; // it is still to come
    if (sought.found && show(sought.found)) {
      onFound();
      return;
    }
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const folded = title.closest("details.long");
    if (folded) folded.open = true;
    (folded ?? title.closest("section")).scrollIntoView({ behavior: calm ? "auto" : "smooth" });
    if (!folded) title.tabIndex = -1;
    title.focus({ preventScroll: true });
    onFound();
  });
  const ready = feed.data("zones") !== null || feed.failures > 0; // how each zone stands comes first
  return PARTS.map(([id, name, digest, sections]) => (id === "data-set" && !farm ? null : html`<${Fold} key=${id} ...${{ id, name, view, change, ready, digest: digest(feed) }}>
    ${sections.map((Section) => html`<${Section} ...${shared} />`)}<//>`));
}
