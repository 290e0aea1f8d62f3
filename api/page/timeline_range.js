// Which stretch of time the timeline shows: usual lengths, moving, zooming, and from when to when.
import { useEffect, useState } from "./vendor/preact-hooks.js";
import { html } from "./html.js";
import { between, moved, RANGES, resized, upToNow } from "./span.js";
import { instantOf, wallTime } from "./text.js";

const toMinute = (ms, zone) => wallTime(ms, zone).slice(0, 16);

function FromTo({ span, zone, go }) {
  const shown = { from: toMinute(span[0], zone), to: toMinute(span[1], zone) };
  const [typed, setTyped] = useState(null);
  const [fault, setFault] = useState("");
  useEffect(() => { setTyped(null); setFault(""); }, [shown.from, shown.to]);
  const { from, to } = typed ?? shown;
  const given = (name) => (event) => setTyped({ ...(typed ?? shown), [name]: event.target.value });
  const show = (event) => {
    event.preventDefault();
    const [start, end] = [instantOf(from, zone), instantOf(to, zone)];
    if (Number.isNaN(start) || Number.isNaN(end)) setFault("Give a day and a time for both.");
    else if (start >= end) setFault("The beginning must lie before the end.");
    else if (between(start, end).to !== end) setFault("Show between two minutes and 399 days.");
    else { setFault(""); go(between(start, end)); }
  };
  const wide = matchMedia("(min-width: 48rem)").matches;
  return html`<details class="from-to" open=${wide}><summary>From when to when</summary>
    <form onSubmit=${show} novalidate>
    <label class="field">From <input type="datetime-local" value=${from} onInput=${given("from")} aria-describedby="span-fault" /></label>
    <label class="field">To <input type="datetime-local" value=${to} onInput=${given("to")} aria-describedby="span-fault" /></label>
    <button type="submit">Show</button>
    <p id="span-fault" role="alert" class=${fault ? "warning" : "none"}>${fault}</p>
    </form></details>`;
}

export function Range({ span, view, zone, now, go, back }) {
  const ms = span[1] - span[0];
  const follows = view.from === null;
  return html`<div class="controls">
    <fieldset class="ranges"><legend>Show a</legend>${RANGES.map((one) => html`<label>
      <input type="radio" name="range" value=${one.name} checked=${Math.abs(ms - one.ms) < 1000} onChange=${() => go(resized(span, one.ms, now()))} />
      <span>${one.label}</span></label>`)}</fieldset>
    <div class="pan" role="group" aria-label="Move and zoom">
      <button type="button" onClick=${() => go(moved(span, -0.5, now()))}>Earlier</button>
      <button type="button" disabled=${follows} onClick=${() => go(moved(span, 0.5, now()))}>Later</button>
      <button type="button" disabled=${follows} onClick=${() => go(upToNow(span))}>To now</button>
      <button type="button" onClick=${() => go(resized(span, ms / 2, now()))}>Closer</button>
      <button type="button" onClick=${() => go(resized(span, ms * 2, now()))}>Wider</button>
      <button type="button" disabled=${!back} onClick=${back}>Back</button>
    </div>
    <${FromTo} ...${{ span, zone, go }} />
  </div>`;
}
