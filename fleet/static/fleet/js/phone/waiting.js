// What waits on this phone: the list with its questions, what is kept for the day, sending by hand.
(() => {
  "use strict";
  const store = self.rootroundStore, list = document.querySelector("[data-waiting]");
  if (!list) return;
  if (!store.can || !("serviceWorker" in navigator)) { document.querySelector("[data-cannot]").hidden = false; return; }
  const make = (tag, words, more = {}) => Object.assign(document.createElement(tag), words === undefined ? {} : { textContent: words }, more);
  const button = (words, deed, more = "") => {
    const one = make("button", words, { type: "button", className: `btn ${more}` });
    one.addEventListener("click", deed);
    return one;
  };
  const size = (bytes) => (bytes > 1e6 ? `${(bytes / 1e6).toFixed(1)} MB` : `${Math.max(1, Math.round(bytes / 1000))} kB`);
  const time = (ms) => self.rootroundBar.time(ms);

  const choose = async (item, resolve) => { await store.update(item.id, { state: "waits", resolve, next: 0 }); await self.rootroundBar.send(true); };
  const backToForm = async (item, body) => {
    const before = await store.draft(item.stop);
    await store.saveDraft(item.stop, { key: store.uuid(), values: { ...(before?.values || {}), ...(body.values || body.fields) } });
    await store.remove(item.id);
    location.assign(list.dataset.stops.replace("0", item.stop));
  };

  const row = async (item) => {
    const one = make("li");
    const { label, body, said } = await store.content(item);
    const words = make("span");
    words.append(make("b", label), make("small", `written ${time(item.at)}${item.tries ? `, tried ${item.tries} time${item.tries === 1 ? "" : "s"}` : ""}, ${size(item.size)}`));
    one.append(make("span", "", { className: "kindmark" }), words);
    if (item.state === "asks") {
      words.append(make("p", said.join(" "), { className: "note" }));
      const acts = make("p", undefined, { className: "acts" });
      acts.append(button("Keep mine for the office", () => choose(item, "keep"), "main"), button("Throw mine away", () => choose(item, "drop")));
      one.append(acts);
    }
    if (item.state === "refused") {
      words.append(make("p", `Not taken: ${said.join(" ")}`, { className: "note" }));
      const acts = make("p", undefined, { className: "acts" });
      if (item.kind === "finding" || item.kind === "audit") acts.append(button("Back to the form", () => backToForm(item, body), "main"));
      const away = button("Throw away", async () => { if (away.dataset.sure) { await store.remove(item.id); } else { away.dataset.sure = "1"; away.textContent = "Really throw away?"; } });
      acts.append(away);
      one.append(acts);
    }
    return one;
  };

  // Several questions at once: one answer for all of them.
  const many = document.querySelector("[data-many]");
  for (const one of many.querySelectorAll("button")) {
    one.addEventListener("click", async () => {
      const owner = await store.meta("owner");
      for (const item of await store.items()) {
        if (item.owner === owner && item.state === "asks") await store.update(item.id, { state: "waits", resolve: one.value, next: 0 });
      }
      await self.rootroundBar.send(true);
    });
  }

  let drawing = Promise.resolve();
  const draw = ({ items, mine, others, pack, told }) => {
    drawing = drawing.then(async () => {
      const rows = [];
      for (const item of mine) { try { rows.push(await row(item)); } catch { rows.push(make("li", "sealed")); } }
      list.replaceChildren(...rows);
      document.querySelector("[data-none]").hidden = mine.length > 0;
      many.hidden = mine.filter((item) => item.state === "asks").length < 2;
      document.querySelector("[data-head]").textContent = `${mine.length} waiting to send`;
      const other = document.querySelector("[data-others]");
      other.hidden = !others;
      other.textContent = others ? `${others} of another sign-in: sealed here until that person signs in on this phone.` : "";
      const kept = document.querySelector("[data-kept]");
      kept.textContent = told.full ? "This phone’s storage is full: the day could not be kept for use without network. Nothing that waits was lost."
        : pack ? `${pack.stops} stops with maps and programs are on this phone since ${time(pack.at)} (${pack.pages} pages, ${size(pack.size)}); they go at ${new Date(pack.until).toLocaleString([], { weekday: "short", hour: "numeric", minute: "2-digit" })}, or when you sign out.`
          : "No day is kept on this phone: there is none for you today, or it was not opened with network yet.";
      if (navigator.storage?.estimate) {
        const { usage, quota } = await navigator.storage.estimate();
        document.querySelector("[data-room]").textContent = `Used ${size(usage)} of about ${size(quota)}.`;
      }
      void items;
    });
  };
  document.addEventListener("rootround:queue", (event) => draw(event.detail));
  document.querySelector("[data-send-now]").addEventListener("click", () => self.rootroundBar.send(true));
  document.querySelector("[data-keep-now]").addEventListener("click", () => self.rootroundBar.keep(true));
})();
