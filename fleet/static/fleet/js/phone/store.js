// What the phone keeps: things that wait to be sent and drafts, sealed with a key that only their owner gets from the
// server; and whose day lies in the cache. Used by pages and by the worker.
((root) => {
  "use strict";
  const NAME = "rootround", VERSION = 1, DAY_CACHE = "rootround-day-", MOST_GONE = 60;
  const channel = "BroadcastChannel" in root ? new BroadcastChannel("rootround") : null;
  const heard = new Set();
  if (channel) channel.onmessage = () => { for (const one of heard) one(); };
  const changed = () => { channel?.postMessage("changed"); for (const one of heard) one(); };

  let opened = null;
  const open = () => opened ||= new Promise((done, fail) => {
    const asked = indexedDB.open(NAME, VERSION);
    asked.onupgradeneeded = () => {
      const db = asked.result;
      if (!db.objectStoreNames.contains("items")) db.createObjectStore("items", { keyPath: "id" });
      if (!db.objectStoreNames.contains("drafts")) db.createObjectStore("drafts", { keyPath: "id" });
      if (!db.objectStoreNames.contains("meta")) db.createObjectStore("meta");
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = () => { asked.result.close(); opened = null; };
      done(asked.result);
    };
    asked.onerror = () => { opened = null; fail(asked.error); };
  });

  // One deed on one store; done only when the phone has written it down.
  const deed = async (store, mode, work) => {
    const db = await open();
    return new Promise((done, fail) => {
      const step = db.transaction(store, mode, mode === "readwrite" ? { durability: "strict" } : {});
      const asked = work(step.objectStore(store));
      step.oncomplete = () => done(asked?.result);
      step.onabort = () => fail(step.error || asked?.error || new Error("not written"));
      step.onerror = () => fail(step.error || asked?.error);
    });
  };

  const meta = (key) => deed("meta", "readonly", (s) => s.get(key));
  const setMeta = (key, value) => deed("meta", "readwrite", (s) => s.put(value, key));
  const dropMeta = (key) => deed("meta", "readwrite", (s) => s.delete(key));

  const bytes = (hex) => new Uint8Array(hex.match(/../g).map((pair) => parseInt(pair, 16)));
  const keyOf = (seal) => crypto.subtle.importKey("raw", bytes(seal), "AES-GCM", false, ["encrypt", "decrypt"]);
  const seal = async (key, plain) => {
    const iv = crypto.getRandomValues(new Uint8Array(12));
    return { iv, data: await crypto.subtle.encrypt({ name: "AES-GCM", iv }, key, plain) };
  };
  const unseal = async (part) => {
    for (const key of (await meta("keys")) || []) {
      try { return await crypto.subtle.decrypt({ name: "AES-GCM", iv: part.iv }, key, part.data); } catch { /* another key */ }
    }
    throw new Error("sealed by somebody else");
  };
  const text = (value) => new TextEncoder().encode(JSON.stringify(value));
  const told = (buffer) => JSON.parse(new TextDecoder().decode(buffer));
  const firstKey = async () => {
    const key = ((await meta("keys")) || [])[0];
    if (!key) throw new Error("nobody is signed in on this phone");
    return key;
  };

  // Whose phone this is now. Another person's day is wiped; what that person has not sent stays, sealed.
  const setOwner = async (owner, seals) => {
    const before = await meta("owner");
    if (before && before !== owner) await forget();
    if (before !== owner || !(await meta("keys"))) {
      await setMeta("keys", await Promise.all(seals.map(keyOf)));
      await setMeta("owner", owner);
      changed();
    }
  };
  // Signed out, or too old: the day and the key go; what waits to be sent stays, sealed.
  const forget = async () => {
    for (const name of await caches.keys()) if (name.startsWith(DAY_CACHE)) await caches.delete(name);
    for (const key of ["keys", "owner", "pack", "gone"]) await dropMeta(key);
    changed();
  };

  const uuid = () => crypto.randomUUID().replaceAll("-", "");
  // body: what is sent; label: words for the list; file: bytes of a photo.
  const put = async ({ id = uuid(), kind, stop, body, label, file = null }) => {
    const key = await firstKey();
    const head = await seal(key, text({ body, label }));
    const blob = file ? await seal(key, file) : null;
    const size = head.data.byteLength + (blob ? blob.data.byteLength : 0);
    const item = { id, owner: await meta("owner"), kind, stop, at: Date.now(), size, state: "waits", tries: 0, next: 0, head, blob, said: null };
    await deed("items", "readwrite", (s) => s.add(item));
    changed();
    return id;
  };
  const items = async () => ((await deed("items", "readonly", (s) => s.getAll())) || []).sort((a, b) => a.at - b.at);
  const content = async (item) => ({ ...told(await unseal(item.head)), said: item.said ? told(await unseal(item.said)) : [] });
  const file = async (item) => (item.blob ? unseal(item.blob) : null);
  const update = async (id, patch, said) => {
    const sealed = said ? await seal(await firstKey(), text(said)) : undefined;
    const db = await open();
    await new Promise((done, fail) => {
      const step = db.transaction("items", "readwrite", { durability: "strict" });
      const store = step.objectStore("items"), asked = store.get(id);
      asked.onsuccess = () => { if (asked.result) store.put({ ...asked.result, ...patch, ...(sealed ? { said: sealed } : {}) }); };
      step.oncomplete = done;
      step.onabort = () => fail(step.error);
    });
    changed();
  };
  const remove = async (id) => { await deed("items", "readwrite", (s) => s.delete(id)); changed(); };
  // What went out, and what was said to it: whichever page or worker sent it, the page that wrote it can tell. Where
  // the phone has no room for that, the thing itself goes all the same.
  const finish = async (item, answer) => {
    try {
      const { body } = await content(item);
      const said = await seal(await firstKey(), text({ ...answer, id: item.id, kind: item.kind, stop: item.stop, written: item.at, state: body.fields?.state || "" }));
      const db = await open();
      await new Promise((done, fail) => {
        const step = db.transaction(["items", "meta"], "readwrite", { durability: "strict" });
        const notes = step.objectStore("meta"), asked = notes.get("gone");
        step.objectStore("items").delete(item.id);
        asked.onsuccess = () => notes.put([...(asked.result || []).slice(1 - MOST_GONE), said], "gone");
        step.oncomplete = done;
        step.onabort = () => fail(step.error);
      });
      changed();
    } catch { await remove(item.id); }
  };
  const gone = async () => {
    const found = [];
    for (const one of (await meta("gone")) || []) { try { found.push(told(await unseal(one))); } catch { /* somebody else's */ } }
    return found;
  };

  // Drafts are marked with their owner, so that two people who share a phone do not write over each other.
  const draft = async (stop) => {
    const kept = await deed("drafts", "readonly", (s) => s.get(`${stop}`));
    if (!kept) return null;
    try { return told(await unseal(kept.part)); } catch { return null; }
  };
  const draftOf = async (stop) => `${await meta("owner")}/${stop}`;
  const saveDraft = async (id, value) => {
    const part = await seal(await firstKey(), text(value));
    await deed("drafts", "readwrite", (s) => s.put({ id, part, at: Date.now() }));
  };

  // Gate codes go with their day, the whole day after the hours that the company set. Says whether it is gone.
  const GATE = /<!--gate-->[\s\S]*?<!--\/gate-->/g;
  const keepClean = async () => {
    const pack = await meta("pack");
    if (!pack) return false;
    const now = Date.now() - (pack.skew || 0);
    if (now > pack.until || now < pack.at - 86400000) { await forget(); return true; }
    if (now > pack.codesUntil && !pack.isWithoutCodes) {
      const cache = await caches.open(pack.cache);
      for (const request of await cache.keys()) {
        const page = await cache.match(request);
        if (!(page.headers.get("Content-Type") || "").includes("html")) continue;
        const html = await page.text();
        if (GATE.test(html)) await cache.put(request, new Response(html.replace(GATE, ""), { status: page.status, headers: page.headers }));
      }
      await setMeta("pack", { ...pack, isWithoutCodes: true });
    }
    return false;
  };

  root.rootroundStore = {
    can: Boolean(root.indexedDB && root.caches && root.crypto?.subtle && root.isSecureContext !== false),
    meta, setMeta, dropMeta, setOwner, forget, put, items, content, file, update, remove, finish, gone, uuid,
    draft: async (stop) => draft(await draftOf(stop)),
    saveDraft: async (stop, value) => saveDraft(await draftOf(stop), value),
    keepClean, DAY_CACHE,
    onChange: (one) => heard.add(one),
  };
})(self);
