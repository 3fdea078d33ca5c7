// One stop: what is typed stays on the phone until it is recorded; states and findings go into the queue first and out
// from there, so that it is all the same whether there is network.
(() => {
  "use strict";
  const store = self.rootroundStore, main = document.querySelector("[data-stop]"), form = document.getElementById("finding");
  if (!main || !store.can || !("serviceWorker" in navigator)) return;
  const stop = Number(main.dataset.stop), ticket = main.dataset.ticket, site = main.dataset.site;
  const said = document.querySelector("[data-said]");
  const ORDER = ["ahead", "on_the_way", "at_the_gate", "finished", "not_possible"];
  const SAME_MS = 60000, PATIENCE_MS = 1500;
  const WORDS = { on_the_way: "left for it", at_the_gate: "at the gate", finished: "finished", not_possible: "not possible" };

  const tell = (kind, words) => {
    if (!said) return;
    said.replaceChildren();
    said.className = `msg ${kind}`;
    said.hidden = false;
    const text = document.createElement("p");
    text.textContent = words;
    said.append(text);
    said.scrollIntoView({ block: "nearest" });
  };
  const full = (error) => {
    const isFull = error && (error.name === "QuotaExceededError" || /quota|full/i.test(error.message || ""));
    tell("act", isFull
      ? "This phone’s storage is full, so nothing was put into the queue. What you typed still stands in the form. Send what waits, or delete other things on the phone, then record again."
      : "The phone could not keep this. What you typed still stands in the form; record it again.");
  };
  self.rootroundTell = { tell, full };

  // --- drafts: everything typed or ticked on the page, by name ---
  const parts = () => [...document.querySelectorAll("[data-keep] input, [data-keep] select, [data-keep] textarea, input[form=finding], select[form=finding]")]
    .filter((one) => one.type !== "file" && one.type !== "hidden");
  const nameOf = (one) => one.dataset.draft || one.dataset.line || one.name || one.id;
  const read = () => Object.fromEntries(parts().map((one) => [nameOf(one), one.type === "checkbox" ? one.checked : one.value]));
  let draftTimer = null, key = store.uuid(), isReady = false;
  self.rootroundFindingKey = () => key;
  const save = async () => {
    if (!isReady) return;
    try { await store.saveDraft(stop, { key, values: read() }); } catch (error) { full(error); }
  };
  const soon = () => { clearTimeout(draftTimer); draftTimer = setTimeout(save, 250); };
  document.addEventListener("input", soon);
  document.addEventListener("change", soon);
  addEventListener("pagehide", () => { if (draftTimer) save(); });
  const restore = async () => {
    const kept = await store.draft(stop).catch(() => null);
    if (kept) {
      key = kept.key || key;
      // A draft may have more cans than the page begins with.
      const most = Math.max(0, ...Object.keys(kept.values).map((name) => Number(/^can-(\d+)$/.exec(name)?.[1] || 0)));
      self.rootroundCans?.upTo(most);
      for (const one of parts()) {
        const value = kept.values[nameOf(one)];
        if (value === undefined) continue;
        if (one.type === "checkbox") one.checked = value; else one.value = value;
        one.dispatchEvent(new Event("rootround:restored", { bubbles: true }));
      }
    }
    isReady = true;
  };

  // --- where the technician stands: as the page says, as was sent since, as waits to be sent ---
  const rendered = Number(main.dataset.rendered);
  const showState = async () => {
    let sure = main.dataset.state;
    const later = (one, other) => (ORDER.indexOf(one) > ORDER.indexOf(other) ? one : other);
    for (const one of await store.gone()) {
      if (one.kind === "state" && one.outcome === "taken" && one.stop === stop && one.at > rendered - SAME_MS) sure = later(one.state, sure);
    }
    let state = sure;
    for (const item of await store.items()) {
      if (item.kind !== "state" || item.stop !== stop || item.state !== "waits") continue;
      try { state = later((await store.content(item)).body.fields.state, state); } catch { /* somebody else's */ }
    }
    for (const button of document.querySelectorAll("[data-next]")) button.hidden = !button.dataset.next.split(" ").includes(state);
    const word = document.querySelector("[data-state-word]");
    if (word) word.textContent = state === sure || !WORDS[state] ? "" : `${WORDS[state]}, not sent yet`;
  };

  const queueState = async (state, reason) => {
    try {
      await store.put({ kind: "state", stop, label: `${site} ${WORDS[state]}`, body: { ticket, fields: { state, reason } } });
    } catch (error) { full(error); return; }
    await showState();
    const sending = self.rootroundBar.send(true);
    if (state !== "finished" && state !== "not_possible") return;
    // Nobody waits at a finished garden for a slow line: what is on the way goes on from the next page.
    await Promise.race([sending, new Promise((done) => setTimeout(done, PATIENCE_MS))]);
    location.assign(main.dataset.day);
  };
  document.addEventListener("submit", (event) => {
    const asked = event.target.closest("form[data-states]");
    if (!asked) return;
    event.preventDefault();
    const state = event.submitter?.value, reason = asked.querySelector("[name=reason]")?.value || "";
    if (state === "not_possible" && !reason) {
      document.querySelector("[data-reasons]").hidden = false;
      document.querySelector("[data-reasons] select").focus();
      return;
    }
    queueState(state, reason);
  });

  // --- the finding ---
  const record = async () => {
    const fields = {};
    for (const [name, value] of new FormData(form)) if (typeof value === "string" && name !== "csrfmiddlewaretoken" && name !== "client_key" && !(name.startsWith("part-") && !value.trim())) fields[name] = value;
    const ticks = [...document.querySelectorAll("[data-line]")].filter((one) => one.checked).map((one) => one.dataset.line);
    if (ticks.length) fields["check-keyed_lines"] = ticks.join(";").slice(0, 200);
    const about = form.elements.need?.selectedOptions?.[0]?.textContent || "finding";
    try {
      await store.put({ id: key, kind: "finding", stop, label: `${site}: ${about}`, body: { ticket, fields, units: main.dataset.units } });
    } catch (error) { full(error); return; }
    const sent = key;
    key = store.uuid();
    form.reset();
    for (const one of document.querySelectorAll("input[form=finding], select[form=finding]")) {
      if (one.type === "checkbox") one.checked = one.defaultChecked; else one.value = "";
      one.dispatchEvent(new Event("rootround:restored", { bubbles: true }));
    }
    document.dispatchEvent(new Event("rootround:recorded"));
    await save();
    tell("watch", "The finding is kept on this phone and goes out as soon as there is network.");
    followed.add(sent);
    self.rootroundBar.send(true);
  };
  // What became of it, whoever sends it: this page, another one, or the worker long after.
  const followed = new Set();
  let following = Promise.resolve();
  const follow = () => { following = following.then(async () => {
    if (!followed.size) return;
    const here = new Map((await store.items()).map((item) => [item.id, item])), went = new Map((await store.gone()).map((one) => [one.id, one]));
    for (const id of [...followed]) {
      const item = here.get(id);
      if (item?.state === "waits") continue;
      followed.delete(id);
      const words = item ? (await store.content(item)).said.join(" ") : (went.get(id)?.words || []).join(" ");
      if (item?.state === "asks") tell("watch", `${words} Choose under “Waiting” what becomes of yours.`);
      else if (item) tell("act", `Not taken: ${words} It is kept under “Waiting”.`);
      else tell("", `The finding is recorded. ${words}`.trim());
    }
  }).catch(() => {}); };
  store.onChange(showState);
  store.onChange(follow);

  form?.addEventListener("submit", (event) => {
    event.preventDefault();
    const bad = document.querySelector("[data-implausible]:not([hidden])");
    if (bad && !bad.dataset.sure) {
      bad.dataset.sure = "1";
      bad.scrollIntoView({ block: "center" });
      tell("watch", "One number is unlikely, see above. Record once more if it is so.");
      return;
    }
    record();
  });

  restore().then(showState);
})();
