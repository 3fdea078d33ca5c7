// Every phone page: the worker, "n waiting to send", the clock, sending when the network is back.
(() => {
  "use strict";
  const store = self.rootroundStore, body = document.body, bar = document.querySelector("[data-sendbar]");
  self.rootroundUrls = { me: body.dataset.me, pack: body.dataset.pack, send: body.dataset.send, photo: body.dataset.photo };
  if (!store.can || !("serviceWorker" in navigator) || !bar) return;
  const told = { state: "", offSince: null, pack: null, full: false };
  const time = (ms) => new Date(ms).toLocaleTimeString([], { hour: "numeric", minute: "2-digit", hour12: body.dataset.clock === "12" });

  const minutes = (ms) => {
    const whole = Math.round(Math.abs(ms) / 60000), hours = Math.floor(whole / 60);
    return hours ? `${hours} h ${whole % 60} min` : `${whole} min`;
  };
  const show = async () => {
    const [items, owner, skew, pack] = [await store.items(), await store.meta("owner"), (await store.meta("skew")) || 0, await store.meta("pack")];
    const mine = items.filter((item) => item.owner === owner), others = items.length - mine.length;
    const asks = mine.filter((item) => item.state !== "waits").length;
    const words = [];
    if (told.state === "no-network") words.push(`no network${told.offSince ? ` since ${time(told.offSince)}` : ""}`);
    if (told.state === "signed-out") words.push("signed out: sign in to send");
    if (asks) words.push(`${asks} need${asks === 1 ? "s" : ""} you`);
    if (others) words.push(`${others} of another sign-in`);
    if (Math.abs(skew) > 90000) words.push(`phone’s clock ${minutes(skew)} ${skew > 0 ? "ahead" : "behind"}`);
    bar.querySelector("[data-count]").textContent = String(mine.length);
    bar.querySelector("[data-words]").textContent = words.length ? `, ${words.join(", ")}` : "";
    bar.classList.toggle("some", mine.length > 0 || words.length > 0);
    bar.hidden = false;
    document.dispatchEvent(new CustomEvent("rootround:queue", { detail: { items, mine, others, pack, told } }));
  };

  let timer = null;
  const plan = async () => {
    clearTimeout(timer);
    const waits = (await store.items()).filter((item) => item.state === "waits");
    if (!waits.length) return;
    const next = Math.max(Math.min(...waits.map((item) => item.next)) - Date.now(), 1500);
    timer = setTimeout(() => send(), Math.min(next, 300000));
    try { (await navigator.serviceWorker.ready).sync?.register("rootround-send").catch(() => {}); } catch { /* no such help here */ }
  };
  const send = async (force = false) => {
    const done = await self.rootroundSend.send(force).catch(() => ({ state: "no-network" }));
    if (done.state === "no-network" && told.state !== "no-network") told.offSince = Date.now();
    told.state = done.state;
    await show();
    await plan();
    return done;
  };
  const keep = async (force = false) => {
    const done = await self.rootroundKeep.keepDay(force);
    told.full = done.state === "full";
    await show();
    return done;
  };
  self.rootroundBar = { send, keep, show, time, minutes };

  const start = async () => {
    await store.keepClean();
    // First what waits and the clock are told; the worker may take its time.
    store.onChange(show);
    await show();
    await navigator.serviceWorker.register(body.dataset.worker, { scope: "/" }).catch(() => {});
    const done = await send();
    if (done.me) {
      navigator.storage?.persist?.();
      await navigator.serviceWorker.ready;
      await keep();
    }
  };
  addEventListener("online", () => send(true).then((done) => done.me && keep()));
  addEventListener("offline", () => { told.state = "no-network"; told.offSince = Date.now(); show(); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  setInterval(() => store.keepClean().then((gone) => { if (gone) location.reload(); }), 60000);
  start();
})();
