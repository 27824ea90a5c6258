"use strict";
// Keeps the recorder page for use without a network: the newest that could be had, else the one that was kept. Each page
// that registers it names itself; nothing else of the host's is touched.
const kept = "gearhark recorder", patience_ms = 4000;

function plain(url) { return url.split("#")[0]; }

async function newest(page) {
  const cache = await caches.open(kept);
  try {
    const fresh = await fetch(page, { signal: AbortSignal.timeout(patience_ms) });
    if (fresh.ok && await cache.match(page)) await cache.put(page, fresh.clone());
    return fresh;
  } catch (unreachable) {
    return (await cache.match(page)) || Response.error();
  }
}

self.addEventListener("install", function () { self.skipWaiting(); });
self.addEventListener("message", function (event) {
  event.waitUntil((async function () {
    const cache = await caches.open(kept), page = plain(event.data);
    let said = "kept";
    try { await cache.add(page); } catch (unreachable) { if (!await cache.match(page)) said = String(unreachable); }
    event.ports[0].postMessage(said);
  })());
});
self.addEventListener("fetch", function (event) {
  if (event.request.mode === "navigate") event.respondWith(newest(plain(event.request.url)));
});
