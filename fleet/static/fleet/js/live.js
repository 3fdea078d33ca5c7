// The board of an open day: stops change their state while one looks, without a reload.
(() => {
  "use strict";
  const board = document.querySelector("[data-live]");
  if (!board) return;
  const EVERY_MS = 30000, CLASSES = { done: "done", not_done: "undone", here: "now", on_way: "now" };
  const told = document.querySelector("[data-live-said]");
  const look = async () => {
    if (document.hidden) return;
    let stops;
    try {
      const answer = await fetch(board.dataset.live, { credentials: "same-origin", cache: "no-store" });
      if (!answer.ok) return;
      ({ stops } = await answer.json());
    } catch { return; }
    const moved = [];
    for (const { id, state, words } of stops) {
      const box = board.querySelector(`a.stop[data-stop="${id}"]`);
      if (!box || box.dataset.live === words) continue;
      if (box.dataset.live !== undefined || !box.classList.contains(CLASSES[state])) moved.push(`${box.dataset.site} ${words}`);
      box.dataset.live = words;
      box.classList.remove(...new Set(Object.values(CLASSES)));
      box.classList.add(CLASSES[state]);
      const small = box.querySelector("small");
      if (small && !box.classList.contains("short")) {
        const mark = small.querySelector("svg");
        small.replaceChildren(...(mark ? [mark, " "] : []), words);
      }
    }
    if (moved.length && told) told.textContent = `${moved.join("; ")}.`;
  };
  look();
  setInterval(look, EVERY_MS);
  document.addEventListener("visibilitychange", look);
})();
