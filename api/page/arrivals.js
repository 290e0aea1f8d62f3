// What arrived and needs a technician: refused messages, names nobody described, clocks that are wrong.
import { html } from "./html.js";
import { Table } from "./table.js";
import { asWritten, capital, dayAndClock, lasting, number, words } from "./text.js";

export function Rejects({ feed, zone }) {
  const answer = feed.data("rejects");
  const total = Object.values(answer?.counts ?? {}).reduce((a, b) => a + b, 0);
  return html`<section id="rejects" aria-labelledby="rejects-title">
    <div class="head"><h2 id="rejects-title">What was refused</h2><p class="note">Arrivals that could not become readings, and how to mend it.</p></div>
    <div class="body">
      ${!answer && html`<p class="note">Not known yet.</p>`}
      ${answer && !answer.rejects.length && html`<p>Nothing has been refused.</p>`}
      ${answer?.rejects.length > 0 && html`<${Table} caption=${`${number(total, 0)} refused in all`} numeric=${[2]}
        heads=${["Name on the wire", "Why", "How often", "Last", "How to mend it"]}
        rows=${answer.rejects.map((one) => [
          html`<code>${one.name || one.topic}</code>`, capital(words(one.reason)), number(one.count, 0),
          dayAndClock(Date.parse(one.last), zone),
          html`${one.detail}<details><summary>Newest message</summary><p>Topic <code>${one.topic}</code></p><code class="raw">${one.raw}</code></details>`])} />`}
    </div>
  </section>`;
}

/** Shown only where there is something to do. */
export function Unknown({ feed, zone }) {
  const rows = feed.data("unknown")?.unknown ?? [];
  if (!rows.length) return null;
  return html`<section id="unknown" aria-labelledby="unknown-title">
    <div class="head"><h2 id="unknown-title">Names nobody has described</h2><p class="note">They arrive but are not kept. Put the draft into farm.toml, mend it, and start again.</p></div>
    <div class="body"><${Table} caption=${`${rows.length} ${rows.length === 1 ? "name" : "names"}`} numeric=${[1]}
      heads=${["Name on the wire", "How often", "Newest value", "Last", "Draft for farm.toml"]}
      rows=${rows.map((one) => [
        html`<code>${one.name || one.topic || "more names"}</code>`, number(one.count, 0),
        `${one.value === null ? "–" : asWritten(one.value)} ${one.unit ?? ""}`, dayAndClock(Date.parse(one.last), zone),
        one.suggestion ? html`<details><summary>Show</summary><code class="raw">${one.suggestion}</code></details>` : "–"])} /></div>
  </section>`;
}

/** Shown only where a clock was wrong. */
export function Clocks({ feed, zone }) {
  const rows = feed.data("clocks")?.clocks ?? [];
  if (!rows.length) return null;
  return html`<section id="clocks" aria-labelledby="clocks-title">
    <div class="head"><h2 id="clocks-title">Clocks that were wrong</h2><p class="note">Their readings are kept and flagged as suspect.</p></div>
    <div class="body"><${Table} caption=${`${rows.length} ${rows.length === 1 ? "device" : "devices"}`} numeric=${[2]}
      heads=${["Device", "What was wrong", "Readings flagged", "Last", "By how much"]}
      rows=${rows.map((one) => [
        html`<code>${one.device}</code>`, capital(one.detail), number(one.readings, 0), dayAndClock(Date.parse(one.last), zone),
        `${lasting(Math.abs(one.behind_s))} ${one.behind_s < 0 ? "ahead" : "behind"}`])} /></div>
  </section>`;
}
