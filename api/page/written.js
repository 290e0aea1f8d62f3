// What people wrote of a day: calibrations, samples, refills, work and notes.
import { useEffect, useState } from "./vendor/preact-hooks.js";
import { ask } from "./feed.js";
import { html } from "./html.js";
import { asWritten, clock, number, words } from "./text.js";

const NAMES = { ph_calibration: "pH calibration", ec_calibration: "EC calibration", grab_sample: "sample by hand" };
const both = (pair) => pair.map(asWritten).join(" and ");

/** One entry in a sentence. */
export function sentence({ kind, detail }, named) {
  const name = NAMES[kind] ?? words(kind);
  const set = detail.adjusted ? "; the device was set by it" : "";
  const told = {
    ph_calibration: () => ` of ${named(detail.series)}: buffers pH ${both(detail.buffers)} read ${both(detail.readings)} ${detail.reading_unit}${set}`,
    ec_calibration: () => ` of ${named(detail.series)}: ${asWritten(detail.standard_ms_cm)} mS/cm read ${asWritten(detail.reading_ms_cm)} mS/cm${set}`,
    grab_sample: () => ` of ${named(detail.series)}: ${asWritten(detail.value)}${detail.plus_or_minus ? `, give or take ${asWritten(detail.plus_or_minus)}` : ""}`,
    refill: () => ` of ${detail.stock}: holds ${number(detail.holds_l, 1)} L`,
    drained: () => `: ${number(detail.volume_l, 1)} L`,
    topped_up: () => `: ${number(detail.volume_l, 1)} L${detail.ec_ms_cm === null ? "" : ` of ${asWritten(detail.ec_ms_cm)} mS/cm`}`,
    cleaned: () => `: ${detail.what}`,
  }[kind]?.() ?? "";
  return `${name}${told}.${detail.note ? ` ${detail.note}` : ""}`;
}

export function Written({ sheet, list, zone, wide }) {
  const [answer, setAnswer] = useState(null);
  useEffect(() => {
    const stop = new AbortController();
    const range = new URLSearchParams({ start: sheet.start, end: sheet.end });
    ask(`log?${range}`, stop.signal).then((found) => setAnswer({ entries: found.entries }))
      .catch((error) => stop.signal.aborted || setAnswer({ fault: error.message }));
    return () => stop.abort();
  }, [sheet.start, sheet.end]);
  const labels = new Map(list.map((one) => [one.key, `${one.zone_label}, ${one.label}`]));
  const named = (key) => labels.get(key) ?? key;
  if (answer?.fault) return html`<p class="warning" role="alert">What people wrote cannot be told: ${answer.fault}</p>`;
  if (!answer?.entries.length) return null;
  return html`<details class="long" open=${wide}><summary>What people wrote: ${answer.entries.length}</summary>
    <ul>${answer.entries.map((one) => html`<li key=${one.id}>${clock(Date.parse(one.time), zone)}, ${one.author}: ${sentence(one, named)}</li>`)}</ul></details>`;
}
