// Says before sending that a file is too large; while a file is checked or saved, asks now and then how far that is; loads the page again when it is over.
(() => {
  "use strict";
  const chosen = document.querySelector("input[type=file][data-most]");
  chosen?.addEventListener("change", () => {
    const file = chosen.files[0];
    const most = Number(chosen.dataset.most);
    const large = file && file.size > most;
    chosen.setCustomValidity(large ? `${file.name} is larger than ${most / 1e6} MB. Part it, by site or by kind.` : "");
    if (large) chosen.reportValidity();
  });
  const box = document.querySelector("[data-bring]");
  if (!box) return;
  const words = box.querySelector("[data-words]");
  const ask = async () => {
    try {
      const answer = await fetch(box.dataset.bring, { credentials: "same-origin" });
      if (!answer.ok) return location.reload();
      const told = await answer.json();
      if (!told.open || told.state === "failed") return location.reload();
      if (words.textContent !== told.words) words.textContent = told.words;
      box.querySelector("[data-bar]").value = told.share;
    } catch {
      words.textContent = "No answer from the server; asking again.";
    }
    setTimeout(ask, 1000);
  };
  setTimeout(ask, 700);
})();
