// A data set to take away: what is wanted, what it would hold, and the file.
import { useEffect, useState } from "./vendor/preact-hooks.js";
import { API, ask } from "./feed.js";
import { html } from "./html.js";
import { isoDay, number } from "./text.js";

const DAY_MS = 86_400_000;
const WAIT_MS = 300; // while somebody still types
const CELLS = [["1m", "minute"], ["10m", "10 minutes"], ["1h", "hour"], ["day", "local day"]];
const FORMATS = [["csv", "CSV"], ["parquet", "Parquet"], ["netcdf", "NetCDF"]];

/** The day after one written as 2026-03-01: the end of a range is not included. */
const dayAfter = (day) => new Date(Date.parse(`${day}T00:00:00Z`) + DAY_MS).toISOString().slice(0, 10);

/** What is asked for, as the interface takes it. Up to today has no end: hours that are still to come are no gap. */
export function query(wanted, today) {
  const parts = new URLSearchParams({ start: wanted.first });
  if (wanted.last < today) parts.set("end", dayAfter(wanted.last));
  if (wanted.zone) parts.set("zone", wanted.zone);
  if (wanted.batch) parts.set("batch", wanted.batch);
  if (wanted.every) {
    parts.set("cleaned", "true");
    parts.set("every", wanted.every);
  }
  return parts;
}

function archive(wanted, today) {
  const parts = query(wanted, today);
  wanted.formats.forEach((one) => parts.append("format", one));
  if (wanted.licence.trim()) parts.set("licence", wanted.licence.trim());
  if (wanted.creator.trim()) parts.set("creator", wanted.creator.trim());
  return `${API}data-set?${parts}`;
}

function sentence(plan) {
  const nothing = plan.nothing_stored.length;
  const what = plan.form === "raw" ? "as they arrived" : `cleaned, ${number(plan.cells, 0)} ${plan.cells === 1 ? "cell" : "cells"} each`;
  const without = nothing ? ` Of ${nothing} of them nothing is stored: ${plan.nothing_stored.slice(0, 5).join(", ")}${nothing > 5 ? " …" : ""}.` : "";
  return `${plan.series.length} series, ${what}, from about ${number(plan.readings_about, 0)} readings.${without}`;
}

/** Whether the fields themselves can be used, before anybody is asked. */
function amiss(wanted) {
  if (!wanted.first || !wanted.last) return "Choose a first and a last day.";
  if (wanted.first > wanted.last) return "The first day is after the last day.";
  if (!wanted.formats.length) return "Choose a format.";
  return null;
}

export function DataSet({ feed, zone }) {
  const now = feed.now();
  const [wanted, setWanted] = useState({
    first: isoDay(now - 7 * DAY_MS, zone), last: isoDay(now, zone), zone: "", batch: "", every: "", formats: ["csv"], licence: "", creator: "",
  });
  const [answer, setAnswer] = useState({});
  const change = (part) => setWanted({ ...wanted, ...part });
  const fault = amiss(wanted);
  const asked = fault ? "" : String(query(wanted, isoDay(now, zone)));
  const known = feed.data("farm") !== undefined && feed.data("farm") !== null;
  useEffect(() => {
    if (!asked || !known) return undefined;
    const stop = new AbortController();
    const timer = setTimeout(() => {
      ask(`data-set/plan?${asked}`, stop.signal).then((plan) => setAnswer({ asked, plan }))
        .catch((error) => stop.signal.aborted || setAnswer({ asked, fault: error.message }));
    }, WAIT_MS);
    return () => { clearTimeout(timer); stop.abort(); };
  }, [asked, known]);
  const current = answer.asked === asked ? answer : {};
  const refused = fault ?? current.fault;
  const zones = feed.data("zones")?.zones ?? [];
  const batches = feed.data("batches")?.batches ?? [];
  const text = (name) => (event) => change({ [name]: event.target.value });
  const tick = (format) => (event) => change({
    formats: FORMATS.map(([one]) => one).filter((one) => (one === format ? event.target.checked : wanted.formats.includes(one))),
  });
  return html`<section id="data-set" aria-labelledby="data-set-title">
    <div class="head"><h2 id="data-set-title">Data set</h2><p class="note">Readings with units, flags, gaps and provenance, as a zip file.</p></div>
    <div class="body">
      <div class="controls">
        <label class="field">First day <input type="date" required value=${wanted.first} onInput=${text("first")} /></label>
        <label class="field">Last day <input type="date" required value=${wanted.last} onInput=${text("last")} /></label>
        <label class="field">Zone <select value=${wanted.zone} onChange=${text("zone")}>
          <option value="">all zones</option>${zones.map((one) => html`<option value=${one.zone}>${one.label}</option>`)}</select></label>
        ${batches.length > 0 && html`<label class="field">Batch <select value=${wanted.batch} onChange=${text("batch")}>
          <option value="">any</option>${batches.map((one) => html`<option value=${one.batch}>${one.batch}</option>`)}</select></label>`}
        <label class="field">Readings <select value=${wanted.every} onChange=${text("every")}>
          <option value="">raw, as they arrived</option>${CELLS.map(([every, label]) => html`<option value=${every}>cleaned, one value every ${label}</option>`)}</select></label>
      </div>
      <div class="controls">
        <fieldset class="ticks"><legend>Format</legend>${FORMATS.map(([format, label]) => html`<label>
          <input type="checkbox" checked=${wanted.formats.includes(format)} onChange=${tick(format)} /> ${label}</label>`)}</fieldset>
        <label class="field">Licence, if any <input type="text" placeholder="CC-BY-4.0" autocomplete="off" value=${wanted.licence} onInput=${text("licence")} /></label>
        <label class="field">Who gives it away <input type="text" autocomplete="off" value=${wanted.creator} onInput=${text("creator")} /></label>
      </div>
      <p role="status">${refused ? "" : current.plan ? sentence(current.plan) : "Looking up what it would hold …"}</p>
      ${refused && html`<p class="warning" role="alert">${refused}</p>`}
      ${current.plan && !refused && html`<p><a class="button" href=${archive(wanted, isoDay(now, zone))} download>Download the data set</a></p>`}
      <p class="note">Cleaned readings are corrected by calibrations, without those that tests doubt, on a regular grid; nothing is
        filled in. Its README tells every rule. Making a large one takes a while before the download begins.</p>
    </div>
  </section>`;
}
