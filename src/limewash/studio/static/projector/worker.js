// @ts-check
/**
 * Keeps the projector page's own few files, so that a reload while the studio is away gives a black page instead of the
 * browser's error page. What the studio answers always goes first.
 */
const NAME = "limewash-projector";
const FILES = ["/projector", "/static/projector/page.css", "/static/projector/page.js", "/static/projector/draw.js", "/static/live.js"];
const scope = /** @type {any} */ (self);

scope.addEventListener("install", (/** @type {any} */ event) => {
  event.waitUntil(caches.open(NAME).then((cache) => cache.addAll(FILES)).then(() => scope.skipWaiting()));
});
scope.addEventListener("activate", (/** @type {any} */ event) => event.waitUntil(scope.clients.claim()));
scope.addEventListener("fetch", (/** @type {any} */ event) => {
  const path = new URL(event.request.url).pathname;
  if (!FILES.includes(path)) return;
  event.respondWith(
    fetch(event.request).catch(() => caches.match(path).then((kept) => kept ?? Response.error())),
  );
});
