// The page: one feed, one view, and the sections that show them.
import { useEffect, useState } from "./vendor/preact-hooks.js";
import { SignedIn, SignIn, askWho, shut, signedInAs, signedInUntil } from "./access.js";
import { STANDING } from "./alarms.js";
import { Contents, Parts } from "./contents.js";
import { Feed } from "./feed.js";
import { FOUND } from "./findings.js";
import { html, render } from "./html.js";
import { forget, keep, kept } from "./kept.js";
import { Needs } from "./needs.js";
import { atOnce, install, Newer } from "./newer.js";
import { TOLD } from "./notices.js";
import { RECENT } from "./record.js";
import { clock, dayAndClock, dayName, lasting, speak, zoneName } from "./text.js";
import { usual } from "./tracks.js";
import { link, opened, readView } from "./view.js";
import { Zones } from "./zones.js";

const TICK_MS = 1000;
const ASK_AGAIN_MS = 3000;
const OURS = "Leafweather advises and records; it controls nothing and is not a life-safety device.";

const STATES = {
  connecting: "connecting",
  live: "live",
  reconnecting: "reconnecting",
  old: "old: the server does not answer",
};

function Link({ feed }) {
  const state = feed.state();
  const shape = { live: html`<circle class="fill" cx="6" cy="6" r="5" />`, old: html`<path class="fill" d="M6 1 11 11H1Z" />` }[state]
    ?? html`<circle class="line" cx="6" cy="6" r="4" />`;
  const age = feed.lastSuccess === null ? "no answer yet" : `last answer ${lasting((Date.now() - feed.lastSuccess) / 1000)} ago`;
  return html`<p class=${`link ${state}`}><svg class="shape" viewBox="0 0 12 12" width="11" height="11" aria-hidden="true">${shape}</svg>
    <strong role="status">${STATES[state]}</strong><span class="note">${age}${state === "live" && (feed.told ? ", told of changes" : ", asking every 5\u00a0s")}</span></p>`;
}

/** What nobody may overlook where nothing is live. */
function Unanswered({ feed, zone }) {
  const at = feed.lastKnown();
  if (at === null) return null;
  const isToday = dayName(at, zone) === dayName(feed.now(), zone);
  return html`<p class="warning" role="alert" id="unanswered"><strong>No connection: as last known at ${isToday ? clock(at, zone) : dayAndClock(at, zone)}.</strong>
    ${" "}Nothing below is of now. It is asked for again by itself.</p>`;
}

function Header({ feed, farm, zone }) {
  const now = feed.now();
  const health = feed.data("health");
  return html`<header>
    <div class="masthead">
      <div><p class="house">Leafweather</p><h1>${farm?.title ?? "Leafweather"}</h1></div>
      <div class="moment">
        ${farm && html`<p><time class="clock">${clock(now, zone)}</time> <span class="note">${dayName(now, zone)}, ${zoneName(now, zone)}</span></p>`}
        <${Link} feed=${feed} />
        <${SignedIn} onLeaving=${() => feed.hold()} onOut=${leave} onStaying=${() => feed.release()} />
      </div>
    </div>
    ${farm?.invented && html`<p class="invented"><strong>Invented demonstration farm.</strong> Nothing here was measured in a real one.</p>`}
    <${Unanswered} feed=${feed} zone=${zone} />
    <${Newer} />
    ${health && health.status !== "ok" && html`<p class="warning" role="alert">The recorder reports: ${health.status}. <a href="/api/v1/health">What it says</a></p>`}
  </header>`;
}

function Footer({ farm }) {
  return html`<footer>
    ${(farm?.cautions ?? [OURS]).map((text) => html`<p>${text}</p>`)}
    ${farm && html`<p class="note">Software ${farm.software_version}. Description <code>${farm.description_hash.slice(0, 12)}</code>.
      Times in ${farm.timezone}. <a href="/api/v1/openapi.json">Interface for programs</a></p>`}
  </footer>`;
}

function Page({ feed }) {
  const [, redraw] = useState(0);
  const [view, setView] = useState(readView);
  const [sought, setSought] = useState(() => (view.found ? { title: "findings", found: view.found } : null));
  const [asked, setAsked] = useState(view.found); // the finding that was asked for last stays on the page

  useEffect(() => {
    const again = () => redraw((n) => n + 1);
    feed.onChange = again;
    const timer = setInterval(() => document.hidden || again(), TICK_MS);
    const moved = () => setView(readView());
    window.addEventListener("hashchange", moved);
    return () => { clearInterval(timer); window.removeEventListener("hashchange", moved); };
  }, []);

  const list = feed.data("series")?.series ?? [];
  // A finding is named once, by the link that leads to it: what is changed afterwards does not lead there again.
  const seen = { ...view, found: "", ...(view.tracks.length ? {} : { tracks: usual(list) }) };
  const change = (part) => {
    const next = { ...seen, ...part };
    history.replaceState(null, "", link(next));
    setView(next);
  };
  /** A link that changes the view also opens what it changes and brings it into sight. */
  const follow = (event) => {
    const anchor = event.target.closest?.("a[data-shows]");
    if (!anchor || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    const shown = readView(anchor.hash);
    const next = { ...shown, open: opened(shown, anchor.dataset.shows, true) };
    history.pushState(null, "", link(next));
    setView(next);
    if (shown.found) setAsked(shown.found);
    setSought({ title: anchor.dataset.title ?? anchor.dataset.shows, found: anchor.dataset.title === "findings" ? shown.found : "" });
  };
  const farm = feed.data("farm");
  const zone = farm?.timezone ?? "UTC";
  speak(farm?.locale);
  const shared = { feed, zone, view: seen, change, asked };
  useEffect(() => { if (farm) document.title = `${farm.title} · Leafweather`; }, [farm?.title]);

  if (feed.barred) return html`<${SignIn} onIn=${() => feed.enter()} />`;
  return html`<div onClick=${follow}>
    <a class="skip" href="#needs" onClick=${jump}>Skip to what needs a person</a>
    <${Header} ...${{ feed, farm, zone }} />
    <${Contents} view=${seen} />
    <main>
      <${Needs} ...${shared} />
      <${Zones} ...${shared} />
      <${Parts} ...${{ ...shared, farm, sought, onFound: () => setSought(null) }} />
    </main>
    <${Footer} farm=${farm} /></div>`;
}

/** The address holds the view, so a jump within the page must leave it alone. */
function jump(event) {
  event.preventDefault();
  const title = document.getElementById("needs-title");
  title.tabIndex = -1;
  title.focus();
}


const FIRST_SCREEN = ["farm", "needs", "zones", "latest", STANDING];
const feed = new Feed(() => {});
/** Whoever was here is not any more: nothing of what they were told stays. */
function leave() {
  forget();
  feed.bar();
}
feed.onAnswers = () => {
  if (!feed.data("farm") || !feed.data("needs") || !feed.data("zones") || shut()) return;
  keep(signedInAs(), signedInUntil(), feed.some(FIRST_SCREEN), feed.offset);
  install(); // when the first screen is there: on a thin link the files would be in its way
};
feed.onBarred = () => {
  forget();
  document.title = "Leafweather"; // the farm's name is none of who comes next
};
feed.want("farm", 300);
feed.want("needs", 5, ["readings", "alarms", "journal"]);
feed.want("zones", 5, ["readings", "journal"]);
feed.want(STANDING, 15, ["alarms"]);
feed.want("latest", 60); // give or take beside the values
feed.want("health", 30);
feed.want("series", 60);
feed.want(RECENT, 30, ["alarms"]);
feed.want(FOUND, 30, ["findings"]);
feed.want("days", 60);
feed.want(TOLD, 30);
feed.want("batches", 300);
feed.want("rejects", 60);
feed.want("unknown", 60);
feed.want("clocks", 60);
const root = document.getElementById("app");
function begin(nobodyAnswers) {
  root.textContent = "";
  const before = kept();
  if (before && nobodyAnswers) feed.recall(before);
  else if (before?.who !== signedInAs() || shut()) forget();
  feed.barred = shut();
  render(html`<${Page} feed=${feed} />`, root);
  feed.soon();
}
/** A server that does not answer is told of by the page itself; who is signed in is asked until it does. */
function askAgain() {
  setTimeout(() => askWho().then(() => (shut() ? feed.bar() : feed.onChange()), askAgain), ASK_AGAIN_MS);
}
atOnce(() => feed.onChange());
askWho().then(() => begin(false), () => { begin(true); askAgain(); });
