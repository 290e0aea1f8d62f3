// What the server told and when: one loop asks for all of it, slower when hidden, when nothing answers, or while the
// server itself tells what changed.
import { Listening } from "./listening.js";

const ROUND_S = 5;
const SLOWEST_S = 60;
const TOLD_S = 20; // between questions of which the server tells when their answer changed: time itself changes some
const MOST_PAGES = 10; // of one list; our choice, no source
export const OLD_AFTER_S = 60;

export const API = "/api/v1/";

/** Ask one address; an error carries the problem's own words. */
export async function ask(path, signal) {
  return (await asked(path, { signal })).data;
}

/** A list whose answer came in pages, as one: every page after the first, as far as anybody could look through them. */
async function withLater(path, first, signal) {
  const [name] = Object.entries(first).find(([, part]) => Array.isArray(part)) ?? [];
  if (!first.next || !name) return first;
  const rows = [...first[name]];
  let { next } = first;
  for (let page = 1; next && page < MOST_PAGES; page += 1) {
    const { data } = await asked(`${path}${path.includes("?") ? "&" : "?"}before=${encodeURIComponent(next)}`, { signal });
    rows.push(...data[name]);
    next = data.next;
  }
  return { ...first, [name]: rows, next, paged: true };
}

/** Ask one address for an answer and its tag; nothing where the answer is still the one of a tag. */
async function asked(path, { signal, tag } = {}) {
  const timeout = AbortSignal.timeout(15_000);
  const headers = tag ? { "If-None-Match": tag } : {};
  const response = await fetch(API + path, { headers, signal: signal ? AbortSignal.any([signal, timeout]) : timeout });
  if (tag && response.status === 304) return null;
  const isJson = (response.headers.get("content-type") ?? "").includes("json");
  if (!response.ok && !(path === "health" && isJson)) {
    const problem = isJson ? await response.json() : {};
    throw Object.assign(new Error(problem.detail ?? `The server answered ${response.status}.`), { status: response.status });
  }
  return { data: await response.json(), tag: response.headers.get("etag") };
}

export class Feed {
  constructor(onChange) {
    this.onChange = onChange;
    this.onAnswers = () => {};
    this.onBarred = () => {};
    this.wanted = new Map(); // path -> { everyS, askedAt, of: what changes it, changed }
    this.answers = {}; // path -> { data, at }
    this.lastSuccess = null;
    this.failures = 0;
    this.fault = null;
    this.barred = false; // the server wants to know first who asks
    this.keptAt = null; // when what is shown was told, where nothing has answered since this page was opened
    this.offset = 0; // the server's clock minus this device's
    this.timer = null;
    this.held = false; // somebody is signing out
    this.holding = new AbortController();
    this.lost = false; // the stream broke off, and nothing has answered since
    this.listening = new Listening({ opened: () => this.heardAll(), told: (kind) => this.heard(kind), broke: () => this.broke() });
    document.addEventListener("visibilitychange", () => this.turned());
    window.addEventListener("online", () => this.soon());
  }

  /** Ask for an address now and then, and when the server tells that something of these kinds changed. */
  want(path, everyS, of = []) {
    if (!this.wanted.has(path)) this.wanted.set(path, { everyS, askedAt: -Infinity, of, changed: false });
  }

  /** Whether the server tells what changed, so that asking now and then is enough. */
  get told() {
    return this.listening.open;
  }

  heardAll() {
    for (const one of this.wanted.values()) one.changed = true; // what changed meanwhile was not told
    this.soon();
  }

  /** Readings come all the time: they make a question due no sooner than without being told. */
  heard(kind) {
    for (const one of this.wanted.values()) {
      if (!one.of.includes(kind)) continue;
      one.changed = true;
      if (kind !== "readings") one.askedAt = -Infinity;
    }
    this.soon();
  }

  broke() {
    this.lost = true;
    const [first] = this.wanted.values();
    first.askedAt = -Infinity; // does anybody answer?
    this.onChange();
    this.soon();
  }

  turned() {
    if (document.hidden) this.listening.stop(); // a browser has few connections for all its tabs
    else this.soon();
  }

  isDue(one) {
    const everyS = this.told && one.of.length && !one.changed ? Math.max(TOLD_S, one.everyS) : one.everyS;
    return Date.now() - one.askedAt >= everyS * 1000 - 500;
  }

  /** Ask one address again at once. */
  again(path) {
    const one = this.wanted.get(path);
    if (one) one.askedAt = -Infinity;
    this.soon();
  }

  /** The farm's own time now, whatever this device's clock says. */
  now() {
    return Date.now() + this.offset;
  }

  /** Show what an earlier visit was told last, until something answers. */
  recall({ answers, offset }) {
    for (const [path, { data, at }] of Object.entries(answers)) this.answers[path] ??= { data, at, kept: true };
    this.keptAt = Math.max(...Object.values(answers).map((one) => one.at));
    this.offset = offset;
  }

  /** When what is shown was told, where nothing is live: by the server's clock; null while it is. */
  lastKnown() {
    const at = this.lastSuccess ?? this.keptAt;
    return at !== null && this.state() === "old" ? at + this.offset : null;
  }

  /** live, reconnecting, old, or connecting: from the last answer that truly came. */
  state() {
    if (this.lastSuccess === null) return this.failures || this.keptAt !== null ? "old" : "connecting";
    const age = (Date.now() - this.lastSuccess) / 1000;
    if (age > OLD_AFTER_S + (document.hidden ? SLOWEST_S : ROUND_S)) return "old";
    return this.failures || this.lost ? "reconnecting" : "live";
  }

  /** Ask nothing while somebody signs out: who is out would be refused. */
  hold() {
    this.held = true;
    this.listening.stop();
    this.holding.abort();
    this.holding = new AbortController();
  }

  release() {
    this.held = false;
    this.soon();
  }

  /** Ask nothing more, and forget what was told, until somebody has signed in. */
  bar() {
    this.barred = true;
    this.onBarred();
    this.listening.stop();
    this.holding.abort(); // nothing that was asked for before is told to who comes next
    this.holding = new AbortController();
    this.answers = {};
    this.lastSuccess = this.keptAt = null;
    this.onChange();
  }

  enter() {
    this.barred = this.held = false;
    this.failures = 0;
    for (const one of this.wanted.values()) one.askedAt = -Infinity;
    this.onChange();
    this.soon();
  }

  soon() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.round(), 0);
  }

  async round() {
    if (this.running || this.barred || this.held) return;
    this.running = true;
    try {
      const due = [...this.wanted].filter(([, one]) => this.isDue(one));
      // One question tells whether anybody answers; only then the others are put.
      await Promise.all(due.slice(0, this.failures ? 1 : due.length).map(([path, one]) => this.fetchOne(path, one)));
      if (due.length) {
        this.failures = 0;
        this.lost = false;
        if (!this.barred) this.onAnswers();
      }
      this.fault = null;
      if (!document.hidden && !this.barred && !this.held) this.listening.start();
    } catch (error) {
      if (!this.held) {
        this.failures += 1;
        this.fault = error.message;
        if (error.status === 401) this.bar();
      }
    }
    this.running = false;
    if (this.barred || this.held) return;
    this.onChange();
    clearTimeout(this.timer);
    const wait = document.hidden ? SLOWEST_S : Math.min(SLOWEST_S, ROUND_S * 2 ** this.failures);
    this.timer = setTimeout(() => this.round(), (this.failures || document.hidden ? wait : ROUND_S) * 1000);
  }

  async fetchOne(path, one) {
    one.changed = false; // what changes while it is asked makes it due again
    const before = this.answers[path];
    // The tag is the first page's: it does not tell whether a later one is still the same.
    const answer = await asked(path, { tag: before?.data.paged ? undefined : before?.tag, signal: this.holding.signal });
    if (answer) answer.data = await withLater(path, answer.data, this.holding.signal);
    if (this.barred || this.held) return;
    const at = Date.now();
    const isFirst = !before;
    one.askedAt = at;
    const { data, tag } = answer ?? before;
    this.answers[path] = { data, tag, at };
    this.lastSuccess = at;
    if (answer && data.time && typeof data.time === "string") this.offset = Date.parse(data.time) - at;
    if (isFirst) this.onChange(); // what is there is shown, whatever else takes its time
  }

  /** Those of some addresses that have answered, to be kept; none that was only kept itself. */
  some(paths) {
    return Object.fromEntries(paths.map((path) => [path, this.answers[path]]).filter(([, one]) => one && !one.kept));
  }

  data(path) {
    return this.answers[path]?.data ?? null;
  }

  /** Seconds since an address last answered. */
  age(path) {
    const answer = this.answers[path];
    return answer ? (Date.now() - answer.at) / 1000 : Infinity;
  }

  /** Whether an answer says how things were, and perhaps not how they are. */
  isOld(path) {
    return this.age(path) > OLD_AFTER_S || Boolean(this.answers[path]?.kept);
  }
}
