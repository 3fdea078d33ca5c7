// Takes the day along: pages of today's stops with their maps and sheets, into a cache of its own; the old one goes
// only when the new one is whole.
(() => {
  "use strict";
  const store = self.rootroundStore;
  const AT_ONCE = 3, FRESH_MS = 600000;

  const take = async (url, cache) => {
    const answer = await fetch(url, { redirect: "manual", credentials: "same-origin", headers: { "X-Rootround-Keep": "1" } });
    if (!answer.ok) throw new Error(`${url}: ${answer.status}`);
    const size = (await answer.clone().arrayBuffer()).byteLength;
    await cache.put(new URL(url, location.href).href, answer);
    return size;
  };

  // {state: "kept" | "same" | "none" | "full" | "no-network", pack}
  const keepDay = async (force = false) => {
    const before = await store.meta("pack");
    try {
      const answer = await fetch(self.rootroundUrls.pack, { redirect: "manual", cache: "no-store", credentials: "same-origin" });
      if (!answer.ok) return { state: "no-network", pack: before };
      const asked = await answer.json();
      if (!asked.stops) return { state: "none", pack: before };
      if (!force && before && before.version === asked.version && Date.now() - before.at < FRESH_MS) return { state: "same", pack: before };
      const name = `${store.DAY_CACHE}${asked.version}-${Date.now()}`, cache = await caches.open(name);
      const rest = [...asked.urls];
      let size = 0;
      try {
        await Promise.all(Array.from({ length: AT_ONCE }, async () => {
          while (rest.length) {
            const taken = await take(rest.shift(), cache);
            size += taken;
          }
        }));
      } catch (error) {
        await caches.delete(name);
        return { state: error.name === "QuotaExceededError" ? "full" : "no-network", pack: before };
      }
      const now = Date.now(), skew = now - asked.now;
      const assets = (await caches.keys()).filter((one) => one.startsWith("rootround-assets-")).pop() || "";
      const pack = {
        cache: name, version: asked.version, day: asked.day, stops: asked.stops, pages: asked.urls.length, size, at: now,
        until: asked.now + asked.kept_ms, codesUntil: asked.codes_until, skew, assets,
      };
      await store.setMeta("pack", pack);
      for (const old of await caches.keys()) if (old.startsWith(store.DAY_CACHE) && old !== name) await caches.delete(old);
      return { state: "kept", pack };
    } catch {
      return { state: "no-network", pack: before };
    }
  };
  self.rootroundKeep = { keepDay };
})();
