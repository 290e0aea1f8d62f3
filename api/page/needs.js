// What needs a person, in sentences.
import { Doing, STANDING, State } from "./alarms.js";
import { foundOf, named, onTimeline } from "./findings.js";
import { html } from "./html.js";
import { dayAndClock, lasting } from "./text.js";
import { around, atFinding, link, opened } from "./view.js";

const MOST_NAMED = 3;

const URGENCY = { now: "Now", today: "Today", when_convenient: "When convenient" };

/** One shape an urgency, so that colour is never alone. */
function Shape({ urgency }) {
  const shapes = {
    now: html`<path class="fill" d="M8 1 15 14H1Z" />`,
    today: html`<path class="line" d="M8 1.5 14.5 8 8 14.5 1.5 8Z" />`,
    when_convenient: html`<circle class="line" cx="8" cy="8" r="5.5" />`,
  };
  return html`<svg class="shape" viewBox="0 0 16 16" width="14" height="14" aria-hidden="true">${shapes[urgency]}</svg>`;
}

function Need({ feed, need, now, zone, view }) {
  const since = need.since ? Date.parse(need.since) : null;
  const behind = need.finding ? named(feed, need.finding) : need.excursion && foundOf(feed, need.excursion);
  const found = need.finding ?? behind?.id;
  const over = behind ? link(onTimeline(behind, view, now)) : need.series.length ? link(around(view, need.series[0], since ?? now, null, now)) : null;
  let sentence = need.sentence;
  if (found) sentence = html`<a href=${link(atFinding(view, found))} data-shows="excursions" data-title="findings">${need.sentence}</a>`;
  else if (need.refused) sentence = html`<a href=${link({ ...view, open: opened(view, "sensors", true) })} data-shows="sensors" data-title="rejects">${need.sentence}</a>`;
  else if (over) sentence = html`<a href=${over} data-shows="timeline">${need.sentence}</a>`;
  return html`<li class=${`need ${need.urgency}`}>
    <p class="urgency"><${Shape} urgency=${need.urgency} /> ${URGENCY[need.urgency]}${need.state && html`<${State} state=${need.state} />`}</p>
    <div>
      <p class="sentence">${sentence}</p>
      ${(since !== null || found) && html`<p class="note">${since !== null && `since ${dayAndClock(since, zone)}`}${found && over && html`${since !== null && "; "}<a href=${over} data-shows="timeline">on the timeline</a>`}</p>`}
      ${need.caution && html`<p class="caution"><strong>Caution.</strong> ${need.caution}</p>`}
      ${need.alarm && html`<${Doing} feed=${feed} id=${need.alarm} state=${need.state} about=${need.sentence.split(":")[0]} />`}
    </div>
  </li>`;
}

/** What is over but was seen by nobody needs no hand now, and must not be missed either. */
function Over({ feed, view }) {
  const over = (feed.data(STANDING)?.alarms ?? []).filter((one) => one.state === "returned_unacknowledged");
  if (!over.length) return null;
  const named = over.slice(0, MOST_NAMED).map((one) => (one.where === feed.data("farm")?.title ? one.what : `${one.what} in ${one.where}`));
  const rest = over.length > MOST_NAMED ? ` and ${over.length - MOST_NAMED} more` : "";
  return html`<p class="note"><a href=${link({ ...view, open: opened(view, "alarms", true) })} data-shows="alarms" data-title="over">Over, and not acknowledged: ${named.join("; ")}${rest}</a></p>`;
}

export function Needs({ feed, zone, view }) {
  const answer = feed.data("needs");
  const now = feed.now();
  const age = feed.age("needs");
  const fresh = !feed.isOld("needs");
  let body;
  if (!answer) body = html`<p class="note">Not known yet: the server has not answered.</p>`;
  else if (answer.needs.length) {
    body = html`${!fresh && html`<p class="warning">This was told ${lasting(age)} ago; it may be different now.</p>`}<ol class="needs" role="list">${answer.needs.map(
      (need) => html`<${Need} key=${need.alarm ?? need.excursion ?? need.sentence} ...${{ feed, need, now, zone, view }} />`)}</ol>`;
  } else {
    body = html`<p class="sentence calm">${fresh
      ? "Nothing needs a person now."
      : "Nothing needed a person when the server last answered. It may be different now."}</p>`;
  }
  return html`<section id="needs" aria-labelledby="needs-title">
    <div class="head"><h2 id="needs-title">What needs a person</h2>
      ${answer && html`<p class="note">looked at ${dayAndClock(Date.parse(answer.time), zone)}, ${lasting(age)} ago</p>`}
    </div>
    <div class="body">${body}<${Over} feed=${feed} view=${view} /></div>
  </section>`;
}
