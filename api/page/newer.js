// The page's files as the browser keeps them: kept once, and changed for a newer version all at once.
import { html } from "./html.js";

let isInstalled = false;
let waiting = null; // the worker of a newer version, with all its files
let tell = () => {};

const known = () => "serviceWorker" in navigator && isSecureContext;

function found(worker) {
  waiting = worker;
  tell();
}

/** Tell of a worker once it has all its files. */
function follow(worker) {
  worker?.addEventListener("statechange", () => worker.state === "installed" && navigator.serviceWorker.controller && found(worker));
}

/** Let the newer version take over and load it; nothing happens while another page of the older one is open. */
function takeOver(worker) {
  navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
  worker.postMessage("take over");
}

/** A page that was loaded just now is the older version still, where a newer one came before: nobody has begun anything on it. */
export async function atOnce(onNewer) {
  tell = onNewer;
  if (!known()) return;
  const registration = await navigator.serviceWorker.getRegistration("/");
  if (!registration) return;
  if (registration.waiting) {
    found(registration.waiting);
    takeOver(registration.waiting);
  }
  follow(registration.installing); // of a newer version that began to come before this page did
  registration.addEventListener("updatefound", () => follow(registration.installing));
}

/** Keep the page's files, once: browsers allow it on this machine and over HTTPS alone, and all else works without it. */
export function install() {
  if (isInstalled || !known()) return;
  isInstalled = true;
  navigator.serviceWorker.register("/service-worker.js", { updateViaCache: "none" }).catch(() => {});
}

/** Told where a newer version is there: what somebody is writing is theirs to finish first. */
export function Newer() {
  if (!waiting) return null;
  return html`<p class="newer" role="status">A newer version of this page is here. <button type="button" onClick=${() => takeOver(waiting)}>Load it</button>
    <span class="note"> Close its other tabs first.</span></p>`;
}
