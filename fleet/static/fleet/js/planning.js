// While the week is being planned, asks now and then how far it is, and loads the page again when it is over.
(() => {
  "use strict";
  const note = document.querySelector("[data-planning]");
  if (!note) return;
  const part = (name) => note.querySelector(`[data-${name}]`);
  const show = (told) => {
    part("sentence").textContent = told.sentence;
    part("elapsed").textContent = told.elapsed;
    part("bar").value = Math.min(told.elapsed, told.seconds);
    part("value").textContent = told.value || "–";
    part("served").textContent = told.served;
    part("unserved").textContent = told.unserved;
    part("curve").setAttribute("points", told.curve);
  };
  let state = "";
  const ask = async () => {
    try {
      const answer = await fetch(note.dataset.planning, { credentials: "same-origin" });
      const told = await answer.json();
      const begun = state === "asked" && told.state === "running";
      if (!told.alive || String(told.id) !== note.dataset.id || begun) return location.reload();
      state = told.state;
      show(told);
    } catch {
      part("sentence").textContent = "No answer from the server; asking again.";
    }
    setTimeout(ask, 1500);
  };
  setTimeout(ask, 1000);
})();
