// Adding a track: a zone, what is measured or worked out there, and whether it stands alone or beside another.
import { useState } from "./vendor/preact-hooks.js";
import { html } from "./html.js";
import { joinable, named, unitOf, withSeries } from "./tracks.js";
import { MOST_TRACKS } from "./view.js";

const ORIGINS = [["measured", "Measured"], ["derived", "Worked out"]];

function Quantities({ series, value, onChange }) {
  return html`<label class="field">What <select value=${value} onChange=${onChange}>
    ${ORIGINS.map(([origin, label]) => {
      const rows = series.filter((one) => one.origin === origin);
      return rows.length > 0 && html`<optgroup label=${label}>${rows.map((one) =>
        html`<option value=${one.key}>${one.label} [${unitOf(one)}]</option>`)}</optgroup>`;
    })}</select></label>`;
}

export function AddTrack({ list, known, tracks, put }) {
  const [zone, setZone] = useState("");
  const [key, setKey] = useState("");
  const [beside, setBeside] = useState("");
  const zones = [...new Map(list.map((one) => [one.zone, one.zone_label]))];
  const inZone = zones.some(([name]) => name === zone) ? zone : zones[0]?.[0];
  const there = list.filter((one) => one.zone === inZone);
  const free = there.find((one) => !tracks.some((track) => track.includes(one.key))) ?? there[0];
  const chosen = there.find((one) => one.key === key) ?? free;
  const places = joinable(tracks, chosen, known);
  const into = places.find((one) => one.join() === beside);
  const already = !into && tracks.some((one) => one.join() === chosen?.key);
  const full = !into && tracks.length >= MOST_TRACKS;
  const add = (event) => {
    event.preventDefault();
    put(withSeries(tracks, chosen.key, into?.join()));
    setKey("");
    setBeside("");
  };
  if (!chosen) return null;
  return html`<form class="controls add" aria-label="Add a track" onSubmit=${add}>
    <label class="field">Zone <select value=${inZone} onChange=${(event) => { setZone(event.target.value); setKey(""); setBeside(""); }}>
      ${zones.map(([name, label]) => html`<option value=${name}>${label}</option>`)}</select></label>
    <${Quantities} series=${there} value=${chosen.key} onChange=${(event) => { setKey(event.target.value); setBeside(""); }} />
    ${places.length > 0 && html`<label class="field">Where <select value=${beside} onChange=${(event) => setBeside(event.target.value)}>
      <option value="">in a track of its own</option>
      ${places.map((one) => html`<option value=${one.join()}>beside ${one.map((name) => named(known.get(name))).join("; ")}</option>`)}</select></label>`}
    <button type="submit" disabled=${already || full}>Add track</button>
    <span class="note" role="status">${already ? "It is shown already." : full ? `At most ${MOST_TRACKS} tracks.` : ""}</span>
  </form>`;
}
