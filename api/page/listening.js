// The server's stream of what changed: open, or not, and then asked for again.

const EVENTS = "/api/v1/events";
const KINDS = ["readings", "alarms", "findings", "journal"];
const QUIET_MS = 40_000; // without a sign of life, of which one comes every 15 s, the stream is dead
const AGAIN_MS = 30_000; // after the server refused: it has no place for more who listen

export class Listening {
  constructor({ opened, told, broke }) {
    Object.assign(this, { opened, told, broke });
    this.source = null;
    this.open = false;
    this.refusedAt = -Infinity;
    this.watchdog = null;
  }

  start() {
    if (this.source || Date.now() - this.refusedAt < AGAIN_MS) return;
    const source = new EventSource(EVENTS);
    this.source = source;
    source.addEventListener("beat", () => this.alive(source));
    for (const kind of KINDS) source.addEventListener(kind, () => { this.alive(source); this.told(kind); });
    source.onerror = () => this.ended(source);
  }

  alive(source) {
    if (source !== this.source) return;
    clearTimeout(this.watchdog);
    this.watchdog = setTimeout(() => this.ended(source), QUIET_MS);
    if (this.open) return;
    this.open = true;
    this.opened();
  }

  ended(source) {
    if (source !== this.source) return;
    const wasOpen = this.open;
    if (!wasOpen) this.refusedAt = Date.now();
    this.stop(); // the page's own loop asks whether anybody answers, and listens again then
    if (wasOpen) this.broke();
  }

  stop() {
    clearTimeout(this.watchdog);
    this.source?.close();
    this.source = null;
    this.open = false;
  }
}
