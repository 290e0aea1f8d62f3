// Who was told of what: the log of notices, with every try to send them.
import { useState } from "./vendor/preact-hooks.js";
import { ask } from "./feed.js";
import { html } from "./html.js";
import { Table } from "./table.js";
import { capital, dayAndClock, words } from "./text.js";

export const TOLD = "notices?limit=50";
const FEW = 8;
const BECAME = { sent: "sent", refused: "refused for good", given_up: "given up" };
const CAME = { taken: "taken", later: "not taken, tried again", refused: "refused for good", unsure: "not known whether it was taken, tried again" };

function Tries({ id, zone }) {
  const [answer, setAnswer] = useState(null);
  const opened = (event) => {
    if (!event.target.open) return;
    ask(`notices/${id}`).then((found) => setAnswer({ found })).catch((error) => setAnswer({ fault: error.message }));
  };
  return html`<details onToggle=${opened}><summary>Text and tries</summary>
    ${!answer && html`<p class="note">Not known yet.</p>`}
    ${answer?.fault && html`<p class="warning" role="alert">${answer.fault}</p>`}
    ${answer?.found && html`<ol>${answer.found.log.map((one) => html`<li key=${one.number}>${dayAndClock(Date.parse(one.began), zone)}: ${CAME[one.outcome] ?? "under way"}${one.answer ? ` (${one.answer})` : ""}</li>`)}</ol>
      <pre class="raw">${answer.found.text}</pre>`}
  </details>`;
}

export function Notices({ feed, zone }) {
  const [all, setAll] = useState(false);
  const answer = feed.data(TOLD);
  const rows = answer?.notices ?? [];
  const waiting = rows.filter((one) => one.state === "waiting").length;
  const shown = all ? rows : rows.slice(0, FEW);
  const became = (one) => (one.state === "waiting"
    ? html`<strong>waits</strong>${one.tries ? `, tried ${one.tries === 1 ? "once" : `${one.tries} times`}, next ${dayAndClock(Date.parse(one.next_try), zone)}` : ""}`
    : `${BECAME[one.state]}${one.sent ? ` ${dayAndClock(Date.parse(one.sent), zone)}` : ""}`);
  return html`<section id="notices" aria-labelledby="notices-title">
    <div class="head"><h2 id="notices-title">Who was told</h2><p class="note">Notices by mail and other channels, the newest first. Whom to tell stands in farm.toml.</p></div>
    <div class="body">
      ${!answer && html`<p class="note">Not known yet.</p>`}
      ${answer && !rows.length && html`<p>Nobody has been told of anything.</p>`}
      ${rows.length > 0 && html`<${Table} caption=${`${rows.length}${answer.next ? " newest" : ""} ${rows.length === 1 ? "notice" : "notices"}, ${waiting} waiting`}
        heads=${["When", "Whom, how", "What", "Why", "What became of it"]}
        rows=${shown.map((one) => [
          dayAndClock(Date.parse(one.made), zone), `${one.person_label}, ${one.channel}`,
          html`${one.subject}<${Tries} key=${one.id} id=${one.id} zone=${zone} />`, capital(words(one.kind)), became(one)])} />`}
      ${rows.length > shown.length && html`<p><button type="button" onClick=${() => setAll(true)}>Show all ${rows.length}</button></p>`}
    </div>
  </section>`;
}
