// The day's list: what was done without network shows at once; how late the day runs.
(() => {
  "use strict";
  const store = self.rootroundStore, list = document.querySelector("[data-day]");
  if (!list || !store.can) return;
  const WORDS = { on_the_way: "left for it", at_the_gate: "at the gate", finished: "finished", not_possible: "not possible" };
  const show = async () => {
    const states = new Map(), sent = new Map();
    for (const one of await store.gone()) if (one.kind === "state" && one.outcome === "taken" && one.at > Number(list.dataset.rendered) - 60000) sent.set(one.stop, one.state);
    for (const item of await store.items()) {
      if (item.kind !== "state" || item.state !== "waits") continue;
      try { states.set(item.stop, (await store.content(item)).body.fields.state); } catch { /* somebody else's */ }
    }
    for (const row of list.querySelectorAll("[data-stop-row]")) {
      const at = Number(row.dataset.stopRow), waits = states.get(at), state = waits || sent.get(at), word = row.querySelector("[data-unsent]");
      word.textContent = waits ? `${WORDS[waits]}, not sent yet` : "";
      if (state === "finished" || state === "not_possible") { row.classList.add("done"); row.classList.remove("next"); }
    }
    const open = [...list.querySelectorAll("[data-stop-row]:not(.done)")];
    if ((states.size || sent.size) && open.length) {
      open.forEach((row, at) => row.classList.toggle("next", at === 0));
      const go = document.querySelector("[data-open-next]");
      if (go) { go.href = open[0].querySelector("a").href; go.textContent = `Open ${open[0].dataset.site}`; }
    }
  };
  store.onChange(show);
  show();
})();
