// What may be behind what is unusual: ranked causes, the numbers for and against, the next check.
import { useEffect } from "./vendor/preact-hooks.js";
import { html } from "./html.js";
import { dayAndClock, number, whole } from "./text.js";
import { useAnswer } from "./use_answer.js";
import { around, atFinding, link } from "./view.js";

export const FOUND = "findings?start=-7d";
const ONE_EVENT_MS = 3 * 3_600_000; // findings of one headline that are farther apart are of two events; our choice
const LASTS = "9999-12-31T00:00:00Z";
const NBSP = "\u00a0";

const began = (one) => Date.parse(one.onset);
const leads = (one) => Date.parse(one.leads_since ?? one.onset); // before it something else was unusual
const percent = (one) => (one.probability === null ? "beside it" : `${number(100 * one.probability, 0)}${NBSP}%`);

/** What is found, in groups of one headline, whatever its probability, and of one time: one fault takes many series out of their bands. */
export function alike(findings) {
  let groups = [];
  for (const one of findings) {
    const words = one.headline.replace(/ \(\d+\s%\)/, "");
    const [from, until] = [leads(one), Date.parse(one.last_seen ?? one.end ?? LASTS)];
    const same = groups.filter((some) => some.words === words && from <= some.until + ONE_EVENT_MS && until >= some.from - ONE_EVENT_MS);
    const joined = {
      words,
      from: Math.min(from, ...same.map((some) => some.from)),
      until: Math.max(until, ...same.map((some) => some.until)),
      several: [...same.flatMap((some) => some.several), one],
    };
    groups = [...groups.filter((some) => !same.includes(some)), joined];
  }
  return groups.map(({ several }) => several);
}

/** The likeliest cause of an excursion, in a few words, with a link to the whole. */
export function Likely({ feed, excursion, view }) {
  const found = foundOf(feed, excursion);
  if (!found) return html`<span class="note">not looked at yet</span>`;
  const words = found.cannot_tell_apart.length ? "cannot tell" : `${found.causes[0].label} (${percent(found.causes[0])})`;
  return html`<a href=${link(atFinding(view, found.id))} data-shows="excursions" data-title="findings">${words}</a>`;
}

/** The finding about an excursion, if there is one. */
export const foundOf = (feed, excursion) => (feed.data(FOUND)?.findings ?? []).find((one) => one.excursion === excursion);

/** The finding of an id, if it is one of those that are listed. */
export const named = (feed, id) => (feed.data(FOUND)?.findings ?? []).find((one) => one.id === id);

/** Unfold a finding and bring it into sight; whether it is there. */
export function show(id) {
  const shown = document.getElementById(`found-${id}`);
  if (!shown) return false;
  for (let part = shown; part; part = part.parentElement.closest("details")) part.open = true;
  const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
  shown.scrollIntoView({ block: "start", behavior: calm ? "auto" : "smooth" });
  shown.querySelector("summary").focus({ preventScroll: true });
  return true;
}

function Pieces({ sign, title, pieces }) {
  return pieces.length > 0 && html`<p class="note">${title}</p><ul class="evidence">${pieces.map((piece) => html`<li><span aria-hidden="true">${sign}</span> ${piece.sentence}</li>`)}</ul>`;
}

function Cause({ one }) {
  return html`<li class="cause">
    <p><strong>${percent(one)}</strong> ${one.label}${one.place_labels.length > 0 && `: ${one.place_labels.join("; ")}`}</p>
    <${Pieces} sign="+" title="For it" pieces=${one.for} />
    <${Pieces} sign="\u2212" title="Against it" pieces=${one.against} />
  </li>`;
}

/** First what the alarm and the first screen name too; then what would tell the causes apart, where that is another step. */
function Check({ found }) {
  const another = found.next_check && found.next_check !== found.first_check;
  const label = (cause) => found.causes.find((one) => one.cause === cause)?.label ?? cause;
  const shows = new Map();
  for (const [cause, what] of Object.entries(found.next_check_shows)) shows.set(what, [...(shows.get(what) ?? []), label(cause)]);
  return html`${found.first_check && html`<p><strong>Check first.</strong> ${found.first_check}</p>`}
    ${another && html`<p><strong>${found.first_check ? "Then, to tell the causes apart." : "Check next."}</strong> ${found.next_check}</p>`}
    ${shows.size > 0 && html`<ul>${[...shows].map(([what, causes]) => html`<li>${what} \u2013 then likelier: ${causes.join("; or: ")}</li>`)}</ul>`}`;
}

/** What tells a finding from others of the same headline: what it is about, and since when. */
function apart(found, list, zone) {
  const series = list.find((one) => one.key === found.series);
  return `${series ? `${series.zone_label}, ${series.label}` : found.series ?? "All readings together"}, from ${dayAndClock(leads(found), zone)}`;
}

/** The same cause before: what comes back asks for more than to be mended once more. */
function Before({ found, zone, view }) {
  if (!found.found_before.length) return null;
  const here = found.causes[0].place_labels.join();
  const where = (one) => (one.place_labels.length && one.place_labels.join() !== here ? ` (${one.place_labels.join("; ")})` : "");
  return html`<p>The same cause was found before: ${found.found_before.map((one, i) => html`${i > 0 && "; "}<a href=${link(atFinding(view, one.id))} data-shows="excursions" data-title="findings">${dayAndClock(Date.parse(one.onset), zone)}</a>${where(one)}`)}.</p>`;
}

/** The excursion's own series, and below it those that show what speaks for the first cause. */
export function onTimeline(found, view, now) {
  const end = found.last_seen ?? found.end;
  const shown = around(view, found.series, leads(found), end && Date.parse(end), now);
  if (!found.shown_in.length) return shown;
  const [own, others] = [true, false].map((is) => found.shown_in.filter((one) => one.includes(found.series) === is));
  return { ...shown, tracks: [...(own.length || !found.series ? own : [[found.series]]), ...others] };
}

function Found({ found, zone, view, now, open, headline }) {
  const onset = Date.parse(found.onset);
  const end = found.end && Date.parse(found.end);
  const seen = found.last_seen && dayAndClock(Date.parse(found.last_seen), zone);
  const looksBack = found.subject === "unusual" ? " at the latest: its evidence looks back on a day or two" : "";
  const until = seen ? `, last seen about ${seen}; traces in a day\u2019s figures until ${dayAndClock(end, zone)}` : end ? `, until ${dayAndClock(end, zone)}${looksBack}` : ", still so";
  const labels = found.cannot_tell_apart.map((cause) => found.causes.find((one) => one.cause === cause)?.label ?? cause);
  return html`<details class="long" id=${`found-${found.id}`} open=${open}>
    <summary>${found.urgent && html`<strong class="outside">Now: </strong>`}${headline ?? whole(found.headline)}</summary>
    ${found.cautions.map((text) => html`<p class="caution"><strong>Caution.</strong> ${text}</p>`)}
    <p class="note">${found.subject === "night" ? "for the night from" : "since"} ${dayAndClock(onset, zone)}${until}${found.leads_since && `; this cause leads since ${dayAndClock(Date.parse(found.leads_since), zone)}`}; <a href=${link(onTimeline(found, view, now))} data-shows="timeline">on the timeline</a></p>
    <${Before} found=${found} zone=${zone} view=${view} />
    <ol class="causes">${found.causes.map((one) => html`<${Cause} key=${one.cause} one=${one} />`)}</ol>
    ${found.also.length > 0 && html`<p>The numbers show a second fault beside it:</p><ul class="causes">${found.also.map((one) => html`<${Cause} key=${one.cause} one=${one} />`)}</ul>`}
    ${labels.length > 0 && html`<p>This farm\u2019s sensors do not tell these apart: ${labels.join("; ")}.</p>`}
    ${(found.first_check || found.next_check) && html`${end && end <= now && html`<p class="note">It is over. These checks may still show why it was.</p>`}<${Check} found=${found} />`}
    <p class="note">In a terminal: <code>leafweather explain ${found.id}</code></p>
  </details>`;
}

/** The answer on one that is asked for and is older than those of the last days, brought into sight once it is there. */
function useOlder(feed, id) {
  const listed = feed.data(FOUND);
  const asked = id && listed && !listed.findings.some((one) => one.id === id) ? id : "";
  const older = useAnswer(feed, asked && `findings/${asked}`);
  const there = older.answer !== null; // it is asked for anew now and then, and shown once
  useEffect(() => { if (there) show(asked); }, [asked, there]);
  return older;
}

export function Findings({ feed, zone, view, asked }) {
  const answer = feed.data(FOUND);
  const older = useOlder(feed, asked);
  const now = feed.now();
  const over = (one) => one.end !== null && Date.parse(one.end) <= now;
  const rank = (one) => (one.urgent ? 0 : over(one) ? 2 : 1);
  const worth = (one) => !over(one) || one.causes[0].cause !== "as_usual";
  const rows = [...(answer?.findings ?? [])].filter(worth).sort((a, b) => rank(a) - rank(b) || Date.parse(b.onset) - Date.parse(a.onset));
  const now_open = rows.filter((one) => !over(one));
  const before = rows.filter(over);
  const open = alike(now_open).length === 1 || now_open.some((one) => one.urgent);
  const series = feed.data("series")?.series ?? [];
  const listed = (several, unfolded) => several.map((found) => html`<${Found} key=${found.id} ...${{ found, zone, view, now, open: unfolded }} headline=${several.length > 1 ? apart(found, series, zone) : null} />`);
  const grouped = (several, unfolded) => alike(several).map((some) => (some.length === 1 ? listed(some, unfolded) : html`<details class="long" key=${some[0].id} open=${unfolded}>
    <summary>${whole(some[0].headline)} In ${some.length} ${some.every((one) => one.excursion) ? "excursions" : "findings"}, from ${dayAndClock(Math.min(...some.map(leads)), zone)}.</summary>${listed(some, false)}</details>`));
  return html`<section id="findings" aria-labelledby="findings-title">
    <div class="head"><h2 id="findings-title">Likely causes</h2><p class="note">What may be behind excursions and anything unusual, held against this farm\u2019s own earlier days. Probabilities are a model\u2019s; look before you act.${answer?.next && ` The newest ${answer.findings.length} of them.`}</p></div>
    <div class="body">
      ${!answer && html`<p class="note">Not known yet.</p>`}
      ${answer && !rows.length && html`<p>Nothing unusual in the last seven days.</p>`}
      ${older.fault && html`<p class="warning" role="alert">${older.fault}</p>`}
      ${older.answer && listed([older.answer], true)}
      ${grouped(now_open, open)}
      ${before.length > 0 && html`<details class="long"><summary>Over by now: ${before.length}</summary>${grouped(before.slice(0, 40), false)}</details>`}
    </div>
  </section>`;
}
