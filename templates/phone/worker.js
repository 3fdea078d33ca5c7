// Between the phone and the network: pages from the network first, from the phone's own copy where there is none.
// Holds no data itself; what it keeps goes at sign-out and when the hours are over.
"use strict";
const FACTS = {{ facts|safe }};
self.rootroundUrls = FACTS.urls;
importScripts(...FACTS.scripts);
const store = self.rootroundStore;
const ASSETS = `rootround-assets-${FACTS.version}`, PATIENCE_MS = 6000;

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(ASSETS);
    await Promise.all(FACTS.assets.map(async (url) => {
      const answer = await fetch(url, { cache: "no-cache" });
      if (answer.ok) await cache.put(url, answer);
    }));
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    // The files of the version before stay until the day that was kept with it is taken anew.
    const pack = await store.meta("pack");
    const names = (await caches.keys()).filter((name) => name.startsWith("rootround-assets-") && name !== ASSETS);
    const keep = pack && pack.assets !== ASSETS ? pack.assets : null;
    await Promise.all(names.filter((name) => name !== keep).map((name) => caches.delete(name)));
    await self.clients.claim();
  })());
});

const inTime = (request) => new Promise((done, fail) => {
  const timer = setTimeout(() => fail(new Error("too slow")), PATIENCE_MS);
  fetch(request).then(done, fail).finally(() => clearTimeout(timer));
});
const isDead = (answer) => [502, 503, 504].includes(answer.status);

const kept = async (url) => {
  if (await store.keepClean()) return null;
  const pack = await store.meta("pack");
  if (!pack) return null;
  const cache = await caches.open(pack.cache);
  const found = await cache.match(url.href);
  if (found) return found;
  const day = url.searchParams.get("date");
  return url.pathname === FACTS.day && (!day || day === pack.day) ? cache.match(new URL(FACTS.day, url).href) : null;
};

const page = async (request) => {
  const url = new URL(request.url);
  url.hash = "";
  try {
    const answer = await inTime(request);
    if (!isDead(answer)) return answer;
    return (await kept(url)) || answer;
  } catch {
    return (await kept(url)) || (await caches.match(FACTS.offline)) || Response.error();
  }
};

const asset = async (request) => {
  try {
    const answer = await inTime(request);
    if (answer.ok) return answer;
  } catch { /* from the phone's copy */ }
  const cache = await caches.open(ASSETS);
  return (await cache.match(request, { ignoreSearch: true })) || (await caches.match(request, { ignoreSearch: true })) || Response.error();
};

// Out goes the day before the server is even asked: without network the phone forgets all the same.
const signOut = async (request) => {
  await store.forget();
  try { return await fetch(request); } catch { return (await caches.match(FACTS.offline)) || Response.error(); }
};

self.addEventListener("fetch", (event) => {
  const request = event.request, url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && url.pathname === FACTS.sign_out) { event.respondWith(signOut(request)); return; }
  if (request.method !== "GET") return;
  if (request.mode === "navigate") { event.respondWith(page(request)); return; }
  if (url.pathname.startsWith(FACTS.static)) event.respondWith(asset(request));
});

self.addEventListener("sync", (event) => {
  if (event.tag === "rootround-send") event.waitUntil(self.rootroundSend.send());
});
