// Keeps the page's own files, by version, for when nothing answers. VERSION and FILES are put before this by the server.
// What the farm told is never kept here: the page does that itself, and forgets it when somebody signs out.

const CACHE = `leafweather-page-${VERSION}`;
const PATIENCE_MS = 3000; // with a link that is there and carries nothing; our choice, no source

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(FILES.map((name) => new Request(name, { cache: "no-cache" })))));
  self.skipWaiting();
});

self.addEventListener("activate", (event) => {
  const old = (name) => name.startsWith("leafweather-page-") && name !== CACHE;
  event.waitUntil(caches.keys().then((names) => Promise.all(names.filter(old).map((name) => caches.delete(name)))));
});

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== self.location.origin || !FILES.includes(address.pathname)) return;
  event.respondWith(file(event.request, address.pathname));
});

/** The server's own file, so that a new version is there at once; the kept one where nothing comes. */
async function file(request, name) {
  const kept = await (await caches.open(CACHE)).match(name);
  if (!kept) return fetch(request);
  let timer;
  const late = new Promise((resolve) => { timer = setTimeout(() => resolve(kept), PATIENCE_MS); });
  const asked = fetch(request).then((answer) => (answer.status >= 500 ? kept : answer), () => kept);
  return Promise.race([asked, late]).finally(() => clearTimeout(timer));
}
