// What people do about alarms: acknowledge, shelve, take out of service; and what stands besides what needs a person.
import { useState } from "./vendor/preact-hooks.js";
import { may, remember, remembered, signedInAs, writing } from "./access.js";
import { API } from "./feed.js";
import { html } from "./html.js";
import { Performance } from "./performance.js";
import { dayAndClock, number } from "./text.js";

export const STANDING = "alarms?standing=true&suppressed=true&limit=1000";
const HOURS = [1, 4, 12, 24, 72];

const STATES = {
  unacknowledged: "Not acknowledged",
  acknowledged: "Acknowledged",
  returned_unacknowledged: "Over, not acknowledged",
  shelved: "Shelved",
  suppressed_by_design: "Suppressed by design",
  out_of_service: "Out of service",
};

/** One shape a state, beside its word, so that colour is never alone. */
export function State({ state, until, zone }) {
  const shapes = {
    unacknowledged: html`<circle class="fill" cx="8" cy="8" r="5.5" />`,
    acknowledged: html`<path class="line" d="M3 8.5 6.5 12 13 4.5" />`,
    returned_unacknowledged: html`<circle class="line" cx="8" cy="8" r="5.5" />`,
    shelved: html`<path class="line" d="M2 11h12M5 11V5h6v6" />`,
    suppressed_by_design: html`<path class="line" d="M3 8h10" />`,
    out_of_service: html`<path class="line" d="M4 4l8 8M12 4l-8 8" />`,
  };
  return html`<span class="state"><svg class="shape" viewBox="0 0 16 16" width="12" height="12" aria-hidden="true">${shapes[state]}</svg>
    ${" "}${STATES[state] ?? state}${until && ` until ${dayAndClock(Date.parse(until), zone)}`}</span>`;
}

async function send(id, act, doing) {
  const response = await fetch(`${API}alarms/${id}/${act}`, {
    method: "POST",
    headers: writing(),
    body: JSON.stringify(doing),
    signal: AbortSignal.timeout(15_000),
  });
  if (response.ok) return;
  const isJson = (response.headers.get("content-type") ?? "").includes("json");
  throw new Error(isJson ? (await response.json()).detail : `The server answered ${response.status}.`);
}

/** What can be done about one alarm, by keyboard as by hand; says what came of it. */
export function Doing({ feed, id, state, about }) {
  const [who, setWho] = useState(() => remembered() || signedInAs() || "");
  const [why, setWhy] = useState("");
  const [hours, setHours] = useState(4);
  const [open, setOpen] = useState(false);
  const [nameless, setNameless] = useState(null); // what was to be done when the name was missing
  const [said, setSaid] = useState("");
  const away = state === "shelved" ? "unshelve" : state === "out_of_service" ? "in-service" : null;
  const owed = state === "unacknowledged" || state === "returned_unacknowledged";

  const act = async (what, more = {}) => {
    if (!who.trim()) {
      setNameless({ what, more });
      setSaid("Give your name first.");
      setTimeout(() => document.getElementById(`who-${id}`)?.focus(), 0); // once it is shown
      return;
    }
    remember(who.trim());
    try {
      await send(id, what, { who: who.trim(), ...more });
      setSaid("Done.");
      setOpen(false);
      setNameless(null);
      for (const path of ["needs", STANDING]) feed.again(path);
    } catch (error) {
      setSaid(`Not done: ${error.message}`);
    }
  };
  const until = () => new Date(feed.now() + hours * 3_600_000).toISOString();

  if (!may("technician")) return null;
  return html`<div class="doing">
    <p>
      ${owed && html`<button type="button" aria-label=${`Acknowledge: ${about}`} onClick=${() => act("acknowledge")}>Acknowledge</button>`}
      ${may("keeper") && away && html`<button type="button" aria-label=${`${away === "unshelve" ? "Unshelve" : "Into service"}: ${about}`} onClick=${() => act(away, { why })}>${away === "unshelve" ? "Unshelve" : "Into service"}</button>`}
      ${may("keeper") && !away && state !== "returned_unacknowledged" && html`<button type="button" aria-expanded=${open} aria-controls=${`away-${id}`} aria-label=${`Shelve: ${about}`} onClick=${() => setOpen(!open)}>Shelve …</button>`}
      ${" "}<span role="status" class="note">${said}</span>
    </p>
    <div id=${`away-${id}`} hidden=${!open && !nameless} class="away">
      <p><label for=${`who-${id}`}>Your name</label> <input id=${`who-${id}`} maxlength="80" autocomplete="name" value=${who} onInput=${(event) => setWho(event.target.value)}
        onKeyDown=${(event) => event.key === "Enter" && nameless && !open && act(nameless.what, nameless.more)} /></p>
      ${may("keeper") && !away && state !== "returned_unacknowledged" && html`<div hidden=${!open}>
      <p><label for=${`why-${id}`}>Reason</label> <input id=${`why-${id}`} maxlength="500" value=${why} onInput=${(event) => setWhy(event.target.value)} /></p>
      <p><label for=${`for-${id}`}>For</label> <select id=${`for-${id}`} onChange=${(event) => setHours(Number(event.target.value))}>
        ${HOURS.map((one) => html`<option value=${one} selected=${one === hours}>${one} h</option>`)}</select></p>
      <p><button type="button" onClick=${() => act("shelve", { why, until: until() })}>Shelve it</button>
        ${" "}<button type="button" onClick=${() => act("out-of-service", { why })}>Out of service</button></p></div>`}
    </div>
  </div>`;
}

function Row({ feed, alarm, zone }) {
  return html`<li class="alarm">
    <p><${State} state=${alarm.state} until=${alarm.shelved_until} zone=${zone} /> <span class="note">priority ${alarm.priority}</span></p>
    <p class="sentence">${alarm.text}</p>
    <p class="note">${dayAndClock(Date.parse(alarm.raised), zone)}${alarm.returned ? ` to ${dayAndClock(Date.parse(alarm.returned), zone)}` : ", still so"}${alarm.revision > 0 && `; revised by later readings`}</p>
    ${alarm.likely.length > 0 && html`<p class="note">Likely, ${number(100 * alarm.likely[0].probability, 0)}\u00a0%: ${alarm.likely[0].label}</p>`}
    ${alarm.state !== "suppressed_by_design" && html`<${Doing} key=${alarm.id} feed=${feed} id=${alarm.id} state=${alarm.state} about=${`${alarm.what}, ${alarm.where}`} />`}
  </li>`;
}

/** Alarms that stand and are not above, under what needs a person: over, put away, or following from another. */
export function Alarms({ feed, zone }) {
  const answer = feed.data(STANDING);
  const rows = answer?.alarms ?? [];
  const group = (states) => rows.filter((one) => states.includes(one.state));
  const over = group(["returned_unacknowledged"]);
  const away = group(["shelved", "out_of_service"]);
  const following = group(["suppressed_by_design"]);
  const list = (title, several, id) => several.length > 0 && html`<details class="long"><summary id=${id}>${title}: ${several.length}</summary>
    <ul class="alarms" role="list">${several.map((alarm) => html`<${Row} key=${alarm.id} ...${{ feed, alarm, zone }} />`)}</ul></details>`;
  return html`<section id="alarms" aria-labelledby="alarms-title">
    <div class="head"><h2 id="alarms-title">Other alarms</h2><p class="note">What needs a person now stands at the top.</p></div>
    <div class="body">
      ${!answer && html`<p class="note">Not known yet.</p>`}
      ${answer && !over.length && !away.length && !following.length && html`<p>No other alarm.</p>`}
      ${list("Over, and not acknowledged", over, "over-title")}
      ${list("Shelved or out of service", away)}
      ${list("Suppressed by design, since the cause is an alarm or work is planned", following)}
      <${Performance} />
    </div>
  </section>`;
}
