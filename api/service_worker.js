// Keeps the page's own files, so that a load is all of one version, with or without the server. VERSION and FILES (each
// with its SHA-256) are put before this by the server. What the farm told is never kept here: the page does that itself,
// and forgets it when somebody signs out.

const CACHE = `leafweather-page-${VERSION}`;
const TURNS = 5;
const TURN_MS = 200; // our choice, no source

/** Every file anew, and each the one that belongs to this version: a server that changes meanwhile gives no mixture. */
async function install() {
  const isKept = await caches.has(CACHE); // by the worker at work, where the server went back to its version
  const cache = await caches.open(CACHE);
  try {
    await Promise.all(Object.entries(FILES).map(async ([name, sha256]) => {
      const answer = await fetch(new Request(name, { cache: "reload" }));
      if (!answer.ok) throw new Error(`${name}: the server answered ${answer.status}`);
      const digest = await crypto.subtle.digest("SHA-256", await answer.clone().arrayBuffer());
      const told = [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
      if (told !== sha256) throw new Error(`${name} is of another version`);
      await cache.put(name, answer);
    }));
  } catch (error) {
    if (!isKept) await caches.delete(CACHE);
    throw error; // what is kept stays as it is; the browser tries again
  }
}

self.addEventListener("install", (event) => event.waitUntil(install()));

// It takes over when no page of the version before is open any more, or the only one that is asks for it.
self.addEventListener("message", (event) => {
  if (event.data !== "take over") return;
  event.waitUntil(alone(event.source.id).then((yes) => yes && self.skipWaiting()));
});

/** Whether no other page is open; one that is being closed, or was here before a reload, goes within moments. */
async function alone(id) {
  for (let turn = 0; turn < TURNS; turn += 1) {
    const all = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
    if (all.every((one) => one.id === id)) return true;
    await new Promise((tell) => { setTimeout(tell, TURN_MS); });
  }
  return false;
}

self.addEventListener("activate", (event) => {
  const old = (name) => name.startsWith("leafweather-page-") && name !== CACHE;
  event.waitUntil(caches.keys().then((names) => Promise.all(names.filter(old).map((name) => caches.delete(name)))));
});

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== self.location.origin || !Object.hasOwn(FILES, address.pathname)) return;
  event.respondWith(caches.open(CACHE).then((cache) => cache.match(address.pathname)).then((kept) => kept ?? fetch(event.request)));
});
