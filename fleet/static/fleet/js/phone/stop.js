// One stop: what is typed stays on the phone until it is recorded; states and findings go into the queue first and out
// from there, so that it is all the same whether there is network.
(() => {
  "use strict";
  const store = self.rootroundStore, main = document.querySelector("[data-stop]"), form = document.getElementById("finding");
  if (!main || !store.can || !("serviceWorker" in navigator)) return;
  const stop = Number(main.dataset.stop), ticket = main.dataset.ticket, site = main.dataset.site;
  const said = document.querySelector("[data-said]");
  const ORDER = ["ahead", "on_the_way", "at_the_gate", "finished", "not_possible"];
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
  const nameOf = (one) => one.dataset.line || one.name || one.id;
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
      for (const one of parts()) {
        const value = kept.values[nameOf(one)];
        if (value === undefined) continue;
        if (one.type === "checkbox") one.checked = value; else one.value = value;
        one.dispatchEvent(new Event("rootround:restored", { bubbles: true }));
      }
    }
    isReady = true;
  };

  // --- where the technician stands ---
  let known = main.dataset.state;
  const showState = async () => {
    const mine = (await store.items()).filter((item) => item.kind === "state" && item.stop === stop && item.state === "waits");
    let state = known;
    for (const item of mine) {
      try {
        const { body } = await store.content(item);
        if (ORDER.indexOf(body.fields.state) > ORDER.indexOf(state)) state = body.fields.state;
      } catch { /* somebody else's */ }
    }
    for (const button of document.querySelectorAll("[data-next]")) button.hidden = !button.dataset.next.split(" ").includes(state);
    const word = document.querySelector("[data-state-word]");
    if (word) word.textContent = state === known || !WORDS[state] ? "" : `${WORDS[state]}, not sent yet`;
  };
  store.onChange(showState);

  const queueState = async (state, reason) => {
    try {
      await store.put({ kind: "state", stop, label: `${site} ${WORDS[state]}`, body: { ticket, fields: { state, reason } } });
    } catch (error) { full(error); return; }
    await showState();
    const done = await self.rootroundBar.send(true);
    const mine = done.results.find((one) => one.kind === "state" && one.stop === stop && one.status < 300);
    if (mine) known = state;
    await showState();
    if (state === "finished" || state === "not_possible") location.assign(main.dataset.day);
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
    for (const [name, value] of new FormData(form)) if (typeof value === "string" && name !== "csrfmiddlewaretoken" && name !== "client_key") fields[name] = value;
    const ticks = [...document.querySelectorAll("[data-line]")].filter((one) => one.checked).map((one) => one.dataset.line);
    if (ticks.length) fields["check-keyed_lines"] = ticks.join(";").slice(0, 200);
    const about = form.elements.need?.selectedOptions?.[0]?.textContent || "finding";
    try {
      await store.put({ id: key, kind: "finding", stop, label: `${site}: ${about}`, body: { ticket, fields } });
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
    const done = await self.rootroundBar.send(true);
    const mine = done.results.find((one) => one.id === sent);
    if (!mine) return;
    if (mine.status < 300) tell("", ["The finding is recorded.", ...mine.words].join(" "));
    else if (mine.status === 409) tell("watch", `${mine.words.join(" ")} Choose under “Waiting” what becomes of yours.`);
    else if (mine.status < 500) tell("act", `Not taken: ${mine.words.join(" ")} It is kept under “Waiting”.`);
  };
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
