// How late the day runs, from the plan that lies on the phone and the clock: also without network, and without a new page.
(() => {
  "use strict";
  const store = self.rootroundStore, box = document.querySelector("[data-late]"), facts = document.getElementById("late-facts");
  if (!box || !facts) return;
  const plan = JSON.parse(facts.textContent), MINUTE = 60000, TICK_MS = 20000;
  const OVER = ["finished", "not_possible"], ORDER = ["ahead", "on_the_way", "at_the_gate", "finished", "not_possible"];

  // When each leg is begun by what is known now; never before its plan. The server reckons the same way.
  const expected = (legs, now) => {
    let free = null;
    // Behind a break counts what the plan has left of the drive: one may drive first and rest there.
    const behind = (at) => legs[at - 1]?.what === "break" ? Math.min(legs[at].drive * MINUTE, Math.max(legs[at].arrive - legs[at - 1].depart, 0)) : legs[at].drive * MINUTE;
    return legs.map((leg, at) => {
      const length = leg.depart - leg.arrive, drive = behind(at);
      if (leg.what === "break") { // nobody reports one: by its plan, or when the stop before it is done
        const before = at + 1 < legs.length ? legs[at + 1].drive * MINUTE - behind(at + 1) : 0;
        const begun = free === null ? leg.arrive : Math.max(free + before, leg.arrive);
        free = begun + length;
        return begun;
      }
      if (OVER.includes(leg.state)) { free = leg.at ?? leg.depart; return leg.arrive; }
      if (leg.state === "at_the_gate") {
        const begun = leg.at ?? leg.arrive;
        free = Math.max(now, begun + length);
        return begun;
      }
      let begun;
      if (leg.state === "on_the_way" && leg.at !== null) begun = Math.max(leg.at + drive, now, leg.arrive);
      else if (free === null) begun = now + drive <= leg.arrive ? leg.arrive : now + drive;
      else begun = Math.max(Math.max(free, now) + drive, leg.arrive);
      free = begun + length;
      return begun;
    });
  };
  const late = (planned, begun) => { const found = Math.round((begun - planned) / MINUTE); return found >= plan.notTold ? found : 0; };
  self.rootroundLate = { expected };

  const two = (value) => String(value).padStart(2, "0");
  const time = (ms, zone) => {
    const there = new Date(ms + zone * MINUTE), hour = there.getUTCHours(), minute = two(there.getUTCMinutes());
    return plan.is12 ? `${hour % 12 || 12}:${minute} ${hour < 12 ? "am" : "pm"}` : `${two(hour)}:${minute}`;
  };
  // Where the stops stand by what this phone has done since, sent or not; by the server's clock.
  const legs = async () => {
    const found = plan.legs.map((leg) => ({ ...leg }));
    if (!store?.can) return found;
    const skew = (await store.meta("skew").catch(() => 0)) || 0, done = [];
    for (const one of await store.gone()) if (one.kind === "state" && one.outcome === "taken" && one.at > plan.now - MINUTE) done.push([one.stop, one.state, one.written - skew]);
    for (const item of await store.items()) {
      if (item.kind !== "state" || item.state !== "waits") continue;
      try { done.push([item.stop, (await store.content(item)).body.fields.state, item.at - skew]); } catch { /* somebody else's */ }
    }
    for (const [stop, state, at] of done) {
      const leg = found.find((one) => one.stop === stop);
      if (leg && ORDER.indexOf(state) > ORDER.indexOf(leg.state)) Object.assign(leg, { state, at });
    }
    return found;
  };
  const line = (parts) => {
    const one = document.createElement("p");
    for (const [tag, words] of parts) one.append(tag ? Object.assign(document.createElement(tag), { textContent: words }) : words);
    return one;
  };
  const show = async () => {
    const skew = (store?.can && (await store.meta("skew").catch(() => 0))) || 0, now = Date.now() - skew;
    const all = await legs(), begun = expected(all, now), told = box.querySelector("[data-late-words]");
    const ahead = all.map((leg, at) => [leg, begun[at]]).filter(([leg]) => !OVER.includes(leg.state));
    const visits = ahead.filter(([leg]) => leg.what === "visit"), back = ahead.find(([leg]) => leg.what === "back");
    const minutes = visits.length ? late(visits[0][0].arrive, visits[0][1]) : 0;
    const risk = visits.filter(([leg, at]) => leg.until !== null && at > leg.until && leg.state !== "at_the_gate");
    const words = [];
    if (minutes) words.push(line([["b", `Running ${minutes} minutes late.`], ["", back && back[1] - back[0].arrive >= MINUTE ? ` Back about ${time(back[1], back[0].zone)}.` : ""]]));
    for (const [leg] of risk) words.push(line([["", "Promised to "], ["b", leg.site], ["", ` until ${time(leg.until, leg.zone)}: tell the office or the customer.`]]));
    box.hidden = !words.length;
    if (words.length) words.push(Object.assign(line([["", `By the clock at ${time(now, plan.legs[0]?.zone || 0)}, reckoned on this phone.`]]), { className: "note" }));
    const text = words.map((one) => one.textContent).join("\n").replace(/By the clock.*/, "");
    if (told.dataset.said !== text) { told.replaceChildren(...words); told.dataset.said = text; }
    else if (words.length) told.lastChild.replaceWith(words.at(-1));
    for (const row of document.querySelectorAll("[data-stop-row]")) {
      const found = visits.find(([leg]) => leg.stop === Number(row.dataset.stopRow)), word = row.querySelector("[data-expected]");
      word.textContent = found && late(found[0].arrive, found[1]) ? `expected ${time(found[1], found[0].zone)}` : "";
    }
  };
  store?.onChange?.(show);
  setInterval(show, TICK_MS);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) show(); });
  show();
})();
