// Survey: each answer goes to the book when it is left; what could not be sent waits on the phone, sealed, and goes out
// with all else when the network is back, even if this page was closed.
// Without script each thing has its own Save button.
(() => {
  "use strict";
  const told = document.querySelector("[data-survey-said]");
  const waiting = new Map(); // form field -> form
  const wordOf = (field) => field.closest(".field")?.querySelector("[data-said]");

  const say = (field, text, bad) => {
    const word = wordOf(field);
    if (!word) return;
    word.textContent = text;
    word.classList.toggle("bad", Boolean(bad));
  };

  const sum = () => {
    if (told) told.textContent = waiting.size ? `${waiting.size} answer${waiting.size === 1 ? " waits" : "s wait"} for the network. Keep this page open.` : "";
  };

  const queued = async (form, field, data) => {
    const store = self.rootroundStore;
    if (!store?.can || !self.rootroundBar) return false;
    const parts = [...data].filter(([name]) => name !== "csrfmiddlewaretoken");
    const word = field.closest(".field")?.querySelector("label")?.firstChild?.textContent || field.name;
    try {
      await store.put({ kind: "survey", stop: 0, label: `Survey of ${form.dataset.site}: ${word}`, body: { url: form.action, parts } });
    } catch { return false; }
    self.rootroundBar.send();
    return true;
  };

  const send = async (form, field) => {
    const data = new FormData();
    for (const name of ["csrfmiddlewaretoken", "kind"]) data.append(name, form.querySelector(`[name=${name}]`).value);
    for (const part of form.querySelectorAll("[name=key]")) data.append("key", part.value);
    data.append(field.name, field.value);
    say(field, "saving …");
    const sent = field.value;
    try {
      const answer = await fetch(form.action, { method: "POST", body: data, headers: { Accept: "application/json" }, credentials: "same-origin" });
      if (answer.redirected || !(answer.headers.get("Content-Type") || "").includes("json")) throw new Error("no answer of the survey");
      const done = await answer.json();
      waiting.delete(field);
      const wrong = done.problem || done.refused[field.name];
      if (wrong) say(field, `not saved: ${wrong}`, true);
      else {
        say(field, "saved");
        const was = form.querySelector(`[name="was-${field.name}"]`);
        if (was) was.value = sent;
      }
    } catch {
      if (await queued(form, field, data)) say(field, "kept on this phone, sent when there is network");
      else {
        waiting.set(field, form);
        say(field, "not sent yet", true);
      }
    }
    sum();
  };

  for (const form of document.querySelectorAll("form[data-survey]")) {
    form.addEventListener("change", (event) => { if (event.target.name) send(form, event.target); });
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (event.submitter?.matches("[data-confirm]")) {
        send(form, form.elements[event.submitter.value]);
        event.submitter.hidden = true;
        return;
      }
      document.activeElement?.blur();
    });
  }
  const again = () => { for (const [field, form] of [...waiting]) send(form, field); };
  addEventListener("online", again);
  setInterval(() => { if (waiting.size && navigator.onLine) again(); }, 20000);
  addEventListener("beforeunload", (event) => { if (waiting.size) event.preventDefault(); });

  for (const button of navigator.geolocation ? document.querySelectorAll("[data-here]") : []) {
    button.hidden = false;
    button.addEventListener("click", () => {
      button.textContent = "Looking …";
      navigator.geolocation.getCurrentPosition((found) => {
        const form = button.closest("form");
        form.querySelector("[name=latitude]").value = found.coords.latitude.toFixed(7);
        form.querySelector("[name=longitude]").value = found.coords.longitude.toFixed(7);
        button.textContent = `Where I stand, to ${Math.round(found.coords.accuracy)} m`;
      }, () => { button.textContent = "The phone does not know where it is; type the place"; }, { enableHighAccuracy: true, timeout: 20000 });
    });
  }
})();
