// The page: one feed, one view, and the sections that show them.
import { useEffect, useState } from "./vendor/preact-hooks.js";
import { SignedIn, SignIn, askWho, shut } from "./access.js";
import { Alarms, STANDING } from "./alarms.js";
import { Clocks, Rejects, Unknown } from "./arrivals.js";
import { DataSet } from "./data_set.js";
import { Feed } from "./feed.js";
import { Findings, FOUND } from "./findings.js";
import { html, render } from "./html.js";
import { Needs } from "./needs.js";
import { Notices, TOLD } from "./notices.js";
import { DaySheet, Excursions, RECENT } from "./record.js";
import { clock, dayName, lasting, speak, zoneName } from "./text.js";
import { Timeline } from "./timeline.js";
import { usual } from "./tracks.js";
import { link, readView } from "./view.js";
import { WriteDown } from "./write_down.js";
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
    <strong role="status">${STATES[state]}</strong><span class="note">${age}</span></p>`;
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
        <${SignedIn} onOut=${() => feed.bar()} />
      </div>
    </div>
    ${farm?.invented && html`<p class="invented"><strong>Invented demonstration farm.</strong> Nothing here was measured in a real one.</p>`}
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

  useEffect(() => {
    const again = () => redraw((n) => n + 1);
    feed.onChange = again;
    const timer = setInterval(() => document.hidden || again(), TICK_MS);
    const moved = () => setView(readView());
    window.addEventListener("hashchange", moved);
    return () => { clearInterval(timer); window.removeEventListener("hashchange", moved); };
  }, []);

  const list = feed.data("series")?.series ?? [];
  const seen = view.tracks.length ? view : { ...view, tracks: usual(list) };
  const change = (part) => {
    const next = { ...seen, ...part };
    history.replaceState(null, "", link(next));
    setView(next);
  };
  const farm = feed.data("farm");
  const zone = farm?.timezone ?? "UTC";
  speak(farm?.locale);
  const shared = { feed, zone, view: seen, change };
  useEffect(() => { if (farm) document.title = `${farm.title} · Leafweather`; }, [farm?.title]);

  if (feed.barred) return html`<${SignIn} onIn=${() => feed.enter()} />`;
  return html`
    <a class="skip" href="#needs" onClick=${jump}>Skip to what needs a person</a>
    <${Header} ...${{ feed, farm, zone }} />
    <main onClick=${follow}>
      <${Needs} ...${shared} />
      <${Zones} ...${shared} />
      <${Timeline} ...${shared} />
      <${Alarms} ...${shared} />
      <${Excursions} ...${shared} />
      <${Findings} ...${shared} />
      <${DaySheet} ...${shared} />
      <${WriteDown} ...${shared} />
      <${Notices} ...${shared} />
      <${Rejects} ...${shared} />
      <${Unknown} ...${shared} />
      <${Clocks} ...${shared} />
      ${farm && html`<${DataSet} ...${shared} />`}
    </main>
    <${Footer} farm=${farm} />`;
}

/** The address holds the view, so a jump within the page must leave it alone. */
function jump(event) {
  event.preventDefault();
  const title = document.getElementById("needs-title");
  title.tabIndex = -1;
  title.focus();
}

/** A link that changes the view also brings what it changes into sight. */
function follow(event) {
  const shows = event.target.closest?.("a[data-shows]")?.dataset.shows;
  if (!shows) return;
  const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
  document.getElementById(shows).scrollIntoView({ behavior: calm ? "auto" : "smooth" });
  document.getElementById(`${shows}-title`).focus({ preventScroll: true });
}

const feed = new Feed(() => {});
feed.want("farm", 300);
feed.want("needs", 5);
feed.want("zones", 5);
feed.want(STANDING, 15);
feed.want("latest", 60); // give or take beside the values
feed.want("health", 30);
feed.want("series", 60);
feed.want(RECENT, 30);
feed.want(FOUND, 30);
feed.want("days", 60);
feed.want(TOLD, 30);
feed.want("batches", 300);
feed.want("rejects", 60);
feed.want("unknown", 60);
feed.want("clocks", 60);
const root = document.getElementById("app");
function begin() {
  root.textContent = "";
  feed.barred = shut();
  render(html`<${Page} feed=${feed} />`, root);
  feed.soon();
}
/** A server that does not answer is told of by the page itself; who is signed in is asked until it does. */
function askAgain() {
  setTimeout(() => askWho().then(() => (shut() ? feed.bar() : feed.onChange()), askAgain), ASK_AGAIN_MS);
}
askWho().then(begin, () => { begin(); askAgain(); });
