// Shows a page of its own when the shop computer does not answer. It stores that page and the files it needs, and nothing
// else: no page of a visit, no record. Entries wait in the outbox of the pages, which this does not touch.
//
// The server puts a line with VERSION in front.

const worker = /** @type {ServiceWorkerGlobalScope} */ (/** @type {unknown} */ (self));

const KEPT = [
  "/offline",
  "/static/all.css",
  "/static/evenbore-sans.woff2",
  "/static/favicon.svg",
  "/static/offline.js",
  "/static/outbox.js",
  "/static/queue.js",
  "/static/status_bar.js",
  "/static/words.js",
];
const CACHE = `evenbore-${VERSION}`;
const PATIENCE_MS = 10000;

async function keep() {
  const cache = await caches.open(CACHE);
  await cache.addAll(KEPT.map((path) => new Request(path, { cache: "reload" })));
  await worker.skipWaiting();
}

async function takeOver() {
  for (const name of await caches.keys()) if (name !== CACHE) await caches.delete(name);
  await worker.clients.claim();
}

/** @param {string} path */
async function kept(path) {
  return (await (await caches.open(CACHE)).match(path)) ?? Response.error();
}

/** The page that was asked for, or the stored one when nothing answers for long. @param {Request} request */
async function page(request) {
  const late = new Promise((_, fail) => setTimeout(fail, PATIENCE_MS));
  try {
    return await Promise.race([fetch(request), late]);
  } catch {
    return kept("/offline");
  }
}

/** The path of a file without the version of the program. @param {string} pathname */
function plain(pathname) {
  return pathname.replace(/^\/static\/v[0-9a-f]{16}\//, "/static/");
}

/** A file from the shop computer, so that it is never an old one, or the stored one. @param {Request} request */
async function file(request) {
  try {
    return await fetch(request);
  } catch {
    return kept(plain(new URL(request.url).pathname));
  }
}

worker.addEventListener("install", (event) => event.waitUntil(keep()));
worker.addEventListener("activate", (event) => event.waitUntil(takeOver()));
worker.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (pathname.startsWith("/static/") && KEPT.includes(plain(pathname))) event.respondWith(file(request));
});
