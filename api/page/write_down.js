// Writing into the journal: a calibration, a sample, a refill, work or a note, by whoever may.
import { useState } from "./vendor/preact-hooks.js";
import { may, remember, remembered, signedInAs, writing } from "./access.js";
import { API } from "./feed.js";
import { html } from "./html.js";
import { instantOf } from "./text.js";
import { unitOf as seriesUnit } from "./tracks.js";
import { useAnswer } from "./use_answer.js";

const PATIENCE_MS = 15_000;
const number = (name, label, more = {}) => ({ name, label, type: "number", ...more });
const text = (name, label, more = {}) => ({ name, label, type: "text", ...more });
const probe = (quantity) => ({ name: "series", label: "Probe", type: "series", quantity });
const ADJUSTED = { name: "adjusted", label: "The device was set by it", type: "tick" };
const WARM = number("temperature_c", "Its temperature, °C", { optional: true });

// What each kind asks for; more of it, and what follows, stands in docs/log.md.
const KINDS = {
  note: { label: "Note", fields: [text("note", "What happened")] },
  grab_sample: { label: "Sample by hand", fields: [
    { name: "series", label: "Compared with", type: "series" }, number("value", "What your instrument gave", { unit: "series" }),
    number("plus_or_minus", "Its give or take", { optional: true })] },
  ph_calibration: { label: "pH calibration", fields: [
    probe("solution_ph"), { name: "reading_unit", label: "The readings are", type: "choice", choices: [["pH", "pH, as the device shows it"], ["mV", "mV of the electrode"]] },
    number("buffers.0", "First buffer, pH at 25 °C"), number("readings.0", "The probe read in the first", { unit: "reading_unit" }),
    number("buffers.1", "Second buffer, pH at 25 °C"), number("readings.1", "The probe read in the second", { unit: "reading_unit" }), WARM, ADJUSTED],
  follows: { reading_unit: { mV: "mV tell the electrode’s slope and offset; they stand in the day sheet, and beside EC and pH in the root zone. Readings are corrected by them where the device was set by a calibration in mV." } } },
  ec_calibration: { label: "EC calibration", fields: [
    probe("solution_ec"), number("standard_ms_cm", "Standard, mS/cm"), number("reading_ms_cm", "The probe read, mS/cm"), WARM, ADJUSTED] },
  refill: { label: "Bottle refilled", fields: [{ name: "stock", label: "Bottle", type: "stock" }, number("holds_l", "Holds now, L")] },
  topped_up: { label: "Reservoir topped up by hand", fields: [
    number("volume_l", "Volume, L"), number("ec_ms_cm", "Its EC, mS/cm", { optional: true })] },
  drained: { label: "Solution let out", fields: [number("volume_l", "Volume, L")] },
  cleaned: { label: "Cleaned", fields: [text("what", "What was cleaned")] },
  harvest: { label: "Harvest", fields: [
    { name: "batch", label: "Batch", type: "batch" }, number("fresh_kg", "Fresh weight, kg"),
    number("plants", "Plants", { optional: true })] },
  planned_work: { label: "Work that makes readings unusual", fields: [
    text("what", "What is done"), number("hours", "For how many hours"), { name: "zone", label: "Where", type: "zone" }] },
};

/** What the interface takes: pairs as lists, what is empty left out, an end for work. */
function detailOf(kind, given, nowMs) {
  const detail = { kind };
  for (const { name, type, optional, choices } of KINDS[kind].fields) {
    const value = given[name] ?? choices?.[0][0];
    if (type === "tick") detail[name] = Boolean(value);
    else if (value === undefined || value === "") {
      if (!optional && type !== "zone") return null;
    } else if (name.includes(".")) {
      const [pair, place] = name.split(".");
      detail[pair] = Object.assign(detail[pair] ?? [], { [place]: Number(value) });
    } else if (name === "hours") detail.until = new Date(nowMs + 3_600_000 * Number(value)).toISOString();
    else if (name === "zone") detail.zones = [value];
    else detail[name] = type === "number" ? Number(value) : value;
  }
  return detail;
}

async function send(body) {
  const response = await fetch(`${API}log`, { method: "POST", headers: writing(), body: JSON.stringify(body), signal: AbortSignal.timeout(PATIENCE_MS) });
  if (response.ok) return;
  const isJson = (response.headers.get("content-type") ?? "").includes("json");
  throw new Error(isJson ? (await response.json()).detail : `The server answered ${response.status}.`);
}

function Field({ field, value, unit, set, feed, stocks }) {
  const given = (event) => set(field.name, field.type === "tick" ? event.target.checked : event.target.value);
  const label = `${field.label}${unit ? `, ${unit}` : ""}${field.optional ? ", if known" : ""}`;
  const choice = (options, none) => html`<label class="field">${label} <select value=${value ?? ""} onChange=${given}>
    <option value="">${none}</option>${options.map(([key, name]) => html`<option value=${key}>${name}</option>`)}</select></label>`;
  if (field.type === "tick") return html`<label class="tick"><input type="checkbox" checked=${Boolean(value)} onChange=${given} /> ${label}</label>`;
  if (field.type === "series") {
    const all = (feed.data("series")?.series ?? []).filter((one) => one.origin === "measured" && one.kind === "level"
      && (!field.quantity || one.quantity === field.quantity));
    return choice(all.map((one) => [one.key, `${one.zone_label}, ${one.label}`]), "choose …");
  }
  if (field.type === "choice") return html`<label class="field">${label} <select value=${value ?? field.choices[0][0]} onChange=${given}>
    ${field.choices.map(([key, name]) => html`<option value=${key}>${name}</option>`)}</select></label>`;
  if (field.type === "stock" && (!stocks || stocks.length)) return choice((stocks ?? []).map((one) => [one.stock, one.label]), "choose …");
  if (field.type === "stock") return html`<label class="field">${label}, as named in farm.toml <input type="text" maxlength="2000" autocomplete="off" value=${value ?? ""} onInput=${given} /></label>`;
  if (field.type === "batch") return choice((feed.data("batches")?.batches ?? []).map((one) => [one.batch, one.batch]), "choose …");
  if (field.type === "zone") return choice((feed.data("zones")?.zones ?? []).map((one) => [one.zone, one.label]), "the whole farm");
  return html`<label class="field">${label} <input type=${field.type} step="any" maxlength="2000" autocomplete="off" value=${value ?? ""} onInput=${given} /></label>`;
}

export function WriteDown({ feed, zone }) {
  const [kind, setKind] = useState("note");
  const [given, setGiven] = useState({});
  const [who, setWho] = useState(() => remembered() || signedInAs() || "");
  const [when, setWhen] = useState("");
  const [said, setSaid] = useState({});
  const { answer, fault } = useAnswer(feed, kind === "refill" ? "balances?days=7" : "");
  if (!may("technician")) return null;
  const stocks = answer?.stocks ?? (fault ? [] : null); // which bottles there are, once that is told
  const compared = (feed.data("series")?.series ?? []).find((one) => one.key === given.series);
  const unitOf = ({ unit }) => unit && (unit === "series" ? compared && seriesUnit(compared) : given[unit] ?? KINDS[kind].fields.find((one) => one.name === unit).choices[0][0]);
  const follows = Object.entries(KINDS[kind].follows ?? {}).map(([name, texts]) => texts[given[name]]).filter(Boolean);
  const set = (name, value) => { setGiven({ ...given, [name]: value }); setSaid({}); };
  const write = async (event) => {
    event.preventDefault();
    const at = when ? instantOf(when, zone) : feed.now();
    const detail = detailOf(kind, given, at);
    if (!who.trim() || detail === null) {
      setSaid({ fault: who.trim() ? "Fill in every field that does not say “if known”." : "Give your name first." });
      return;
    }
    remember(who.trim());
    try {
      await send({ who: who.trim(), detail, ...(when ? { time: new Date(at).toISOString() } : {}) });
      setGiven({});
      setWhen("");
      setSaid({ done: "Written down." });
      feed.again("days");
    } catch (error) {
      setSaid({ fault: `Not written: ${error.message}` });
    }
  };
  return html`<section id="write-down" aria-labelledby="write-down-title">
    <div class="head"><h2 id="write-down-title">Write down</h2><p class="note">What people did and measured. Readings are corrected by it, never altered.</p></div>
    <form class="body" onSubmit=${write}>
      <div class="controls">
        <label class="field">What <select value=${kind} onChange=${(event) => { setKind(event.target.value); setGiven({}); setSaid({}); }}>
          ${Object.entries(KINDS).map(([name, one]) => html`<option value=${name}>${one.label}</option>`)}</select></label>
        ${KINDS[kind].fields.map((field) => html`<${Field} key=${`${kind} ${field.name}`} ...${{ field, set, feed, stocks, unit: unitOf(field) }} value=${given[field.name]} />`)}
      </div>
      ${follows.map((text) => html`<p class="note">${text}</p>`)}
      <div class="controls">
        <label class="field">Who <input type="text" maxlength="80" autocomplete="name" value=${who} onInput=${(event) => setWho(event.target.value)} /></label>
        <label class="field">When, if not now (clock of ${zone}) <input type="datetime-local" value=${when} onInput=${(event) => setWhen(event.target.value)} /></label>
        <button type="submit">Write it down</button>
      </div>
      <p role="status">${said.done ?? ""}</p>
      ${said.fault && html`<p class="warning" role="alert">${said.fault}</p>`}
    </form>
  </section>`;
}
