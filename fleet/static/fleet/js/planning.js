// While the week is being planned, asks now and then how far it is, and loads the page again when it is done.
(() => {
  "use strict";
  const note = document.querySelector("[data-planning]");
  if (!note) return;
  const words = note.querySelector("span");
  const ask = async () => {
    try {
      const answer = await fetch(note.dataset.planning, { credentials: "same-origin" });
      const told = await answer.json();
      if (told.state === "done") return location.reload();
      if (told.state === "failed") words.textContent = "Planning failed; the plan below is the last one. Try again, or look at the log.";
      else words.textContent = told.state === "waiting" ? "Waiting for the worker. The plan below is the last one." : "At work. The plan below is the last one.";
    } catch {
      words.textContent = "No answer from the server; asking again.";
    }
    setTimeout(ask, 3000);
  };
  setTimeout(ask, 2000);
})();
