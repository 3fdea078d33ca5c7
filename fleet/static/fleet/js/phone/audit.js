// An audit of one zone at the stop: cans as they are read, what they mean at once, then into the queue like a finding.
(() => {
  "use strict";
  const form = document.querySelector("[data-audit]"), main = document.querySelector("[data-stop]"), store = self.rootroundStore;
  if (!form || !main || !store.can || !("serviceWorker" in navigator)) return;
  const isUs = Boolean(form.dataset.us), said = form.querySelector("[data-audit-said]"), told = document.querySelector("[data-audit-told]");
  const zone = form.querySelector("[data-audit-zone]"), MOST_MM_H = 150;
  const number = (text) => { const value = Number(text.trim().replace(",", ".")); return text.trim() && Number.isFinite(value) ? value : null; };
  const opening = (value, unit) => ({ cm2: value, in2: value * 6.4516, mm: Math.PI * (value / 20) ** 2, in: Math.PI * (value * 1.27) ** 2 })[unit];

  // DU of the low quarter and the rate of the cans, as the server works them out.
  const figures = (cans, runMin, areaCm2) => {
    if (cans.length < 4) return null;
    const sorted = [...cans].sort((a, b) => a - b), mean = (list) => list.reduce((all, one) => all + one, 0) / list.length;
    const quarter = Math.floor(cans.length / 4 + 0.5), average = mean(cans);
    if (!average) return null;
    return { uniformity: mean(sorted.slice(0, quarter)) / average, rate: runMin > 0 && areaCm2 > 0 ? (average / areaCm2) * 10 * (60 / runMin) : null, average };
  };
  self.rootroundAudit = { figures, opening };
  const boxes = () => [...form.querySelectorAll("[name=can]")];
  const read = () => {
    const texts = boxes().map((box) => box.value).filter((text) => text.trim()), cans = texts.map(number);
    const value = (name) => number(form.elements[name].value);
    return { cans, texts, run: value("run_min"), area: value("opening") === null ? null : opening(value("opening"), form.elements.opening_unit.value) };
  };
  const show = () => {
    const { cans, run, area } = read(), words = [];
    if (cans.some((one) => one === null)) words.push("One can is no number.");
    else if (cans.length && cans.length < 4) words.push("At least 4 cans are needed, better 24.");
    const found = cans.some((one) => one === null) ? null : figures(cans, run, area);
    if (found) {
      words.push(`Uniformity ${found.uniformity.toFixed(2)}, average ${found.average.toFixed(1)} mL.`);
      if (found.rate !== null) words.push(`Rate ${isUs ? `${(found.rate / 25.4).toFixed(2)} in/h` : `${found.rate.toFixed(0)} mm/h`}.`);
      if (found.rate > MOST_MM_H) words.push("That is more than heads give: look at the opening and the minutes.");
      if (found.uniformity < 0.05) words.push("The driest quarter caught next to nothing: mend the heads, then audit again.");
      if (cans.length % 4) words.push("A number of cans that 4 divides is better.");
      if (run === null || area === null) words.push("Needs the minutes and the opening.");
    }
    said.hidden = !words.length;
    said.textContent = words.join(" ");
  };
  for (const name of ["input", "change", "rootround:restored"]) form.addEventListener(name, show);

  const tell = (kind, words) => {
    told.className = `msg ${kind}`;
    told.textContent = words;
    told.hidden = false;
  };
  const followed = new Map();
  let following = Promise.resolve();
  const follow = () => { following = following.then(async () => {
    if (!followed.size) return;
    const here = new Map((await store.items()).map((item) => [item.id, item])), went = new Map((await store.gone()).map((one) => [one.id, one]));
    for (const [id, name] of [...followed]) {
      const item = here.get(id);
      if (item?.state === "waits") continue;
      followed.delete(id);
      if (item) tell("act", `The audit of ${name} is not taken: ${(await store.content(item)).said.join(" ")} It is kept under “Waiting”.`);
      else tell("", `The audit of ${name} is recorded. ${(went.get(id)?.words || []).join(" ")}`.trim());
    }
  }).catch(() => {}); };
  store.onChange(follow);

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const { cans, run, area } = read(), pressures = ["pressure", "static"].some((name) => form.elements[name].value.trim());
    const flow = form.elements.flow.value.trim();
    const missing = cans.some((one) => one === null) ? "one can is no number"
      : cans.length && cans.length < 4 ? "at least 4 cans are needed"
        : cans.length && !(run > 0) ? "the minutes that the zone ran"
          : cans.length && !(area > 0) ? "the opening of a can"
            : !cans.length && !flow && !pressures ? "cans, or flow and area, or a pressure" : "";
    if (missing) { tell("watch", `Nothing is recorded yet; missing: ${missing}.`); return; }
    const parts = [...new FormData(form)].filter(([, value]) => typeof value === "string" && value.trim());
    const name = zone.selectedOptions[0].textContent.trim(), values = { "audit-zone": zone.value };
    for (const one of form.querySelectorAll("[data-draft]")) values[one.dataset.draft] = one.value;
    let id;
    try {
      id = await store.put({
        kind: "audit", stop: Number(main.dataset.stop), label: `${main.dataset.site} audit of ${name}`,
        body: { url: zone.value, parts: [...parts, ["units", isUs ? "us" : "metric"]], values },
      });
    } catch (error) { self.rootroundTell.full(error); return; }
    followed.set(id, name);
    for (const one of form.querySelectorAll("[data-draft]:not([data-draft=audit-opening], [data-draft=audit-unit], [data-audit-zone])")) one.value = "";
    zone.selectedIndex = Math.min(zone.selectedIndex + 1, zone.options.length - 1);
    zone.dispatchEvent(new Event("change", { bubbles: true }));
    show();
    tell("watch", `The audit of ${name} is kept on this phone and goes out as soon as there is network.`);
    self.rootroundBar.send(true);
  });
  form.hidden = false;
  show();
})();
