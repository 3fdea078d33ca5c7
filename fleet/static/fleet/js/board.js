// Drag a stop of the board onto another lane or day: the cost is asked first, the move is done on a second word.
// Dropped on a page of people it is taken along, and lies in hand there. By keyboard the same is the link "Move" in
// the list and the form behind each stop; Shift with an arrow turns the pages.
(() => {
  "use strict";
  const board = document.querySelector(".board[data-drop]");
  const note = document.getElementById("drop-note");
  if (!board || !note) return;
  const token = document.querySelector("input[name=csrfmiddlewaretoken]");
  const words = note.querySelector("[data-words]");
  const doIt = note.querySelector("[data-do]");
  const leave = note.querySelector("[data-leave]");
  let held = null;
  let asked = null;

  const place = (lane, x) => {
    const stops = [...lane.querySelectorAll("a.stop:not(.done):not(.now)")].filter((stop) => stop !== held);
    return stops.filter((stop) => { const box = stop.getBoundingClientRect(); return box.left + box.width / 2 < x; }).length + 1;
  };
  const send = async (what) => {
    const body = new URLSearchParams({ ...asked.fields, do: what, csrfmiddlewaretoken: token ? token.value : "" });
    try {
      const answer = await fetch(asked.url, { method: "POST", credentials: "same-origin", body });
      return await answer.json();
    } catch {
      return { error: "No answer from the server. Nothing was moved; try again." };
    }
  };
  const say = (text, offer) => {
    note.hidden = false;
    words.textContent = text;
    doIt.hidden = !offer;
    if (offer) doIt.focus();
  };

  // Ask what it costs to put a stop into a cell; x [px] is where in a lane it was let fall, null: where it costs least.
  const ask = async (stop, cell, x) => {
    const fields = { technician: cell.dataset.technician, day: cell.dataset.day };
    if (x !== null && cell.classList.contains("lane")) fields.position = place(cell, x);
    asked = { url: board.dataset.drop.replace("/0/", `/${stop.dataset.stop}/`), fields };
    const site = stop.dataset.site;
    say(`${site} to ${cell.dataset.name}: asking what it costs.`, false);
    const told = await send("try");
    say(told.error ? `${site} to ${cell.dataset.name}: ${told.error}` : `${site} to ${cell.dataset.name}. ${told.words}`, !told.error);
  };

  document.addEventListener("dragstart", (event) => {
    held = event.target.closest ? event.target.closest("a.stop[data-stop]") : null;
    if (!held) return;
    event.dataTransfer.effectAllowed = "move";
    event.dataTransfer.setData("text/plain", held.dataset.site);
  });
  document.addEventListener("dragend", () => {
    held = null;
    document.querySelectorAll(".over").forEach((cell) => cell.classList.remove("over"));
  });
  const under = (event) => held && event.target.closest("[data-technician], [data-page]:not([aria-current])");
  document.addEventListener("dragover", (event) => {
    const cell = under(event);
    document.querySelectorAll(".over").forEach((one) => { if (one !== cell) one.classList.remove("over"); });
    if (!cell) return;
    event.preventDefault();
    cell.classList.add("over");
  });
  document.addEventListener("drop", (event) => {
    const cell = under(event);
    if (!cell) return;
    event.preventDefault();
    if (cell.dataset.page) {
      const there = new URL(cell.href);
      there.searchParams.set("carry", held.dataset.stop);
      location.assign(there);
    } else ask(held, cell, event.clientX);
  });

  // A stop that was taken along: each cell takes it by a press, too.
  const carried = document.querySelector("[data-carried]");
  if (carried) {
    board.classList.add("taking");
    for (const cell of board.querySelectorAll("[data-technician]")) {
      const put = document.createElement("button");
      put.type = "button";
      put.className = "btn tiny put";
      const day = cell.classList.contains("mini") && cell.querySelector("a");
      put.textContent = day ? day.lastChild.textContent.trim() : "Here";
      if (day) day.hidden = true;
      put.setAttribute("aria-label", `${put.textContent}: put ${carried.dataset.site} to ${cell.dataset.name}`);
      put.addEventListener("click", () => ask(carried, cell, null));
      cell.append(put);
    }
    board.addEventListener("click", (event) => {
      const lane = event.target.closest(".lane[data-technician]");
      if (lane && !event.target.closest("a, button")) ask(carried, lane, event.clientX);
    });
  }

  document.addEventListener("keydown", (event) => {
    const way = event.key === "ArrowRight" ? "next" : event.key === "ArrowLeft" ? "prev" : "";
    if (!way || !event.shiftKey || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.target.closest("input, textarea, select, .map, [contenteditable]")) return;
    const page = document.querySelector(`[data-people] [rel=${way}]`);
    if (page) { event.preventDefault(); location.assign(page.href); }
  });
  doIt.addEventListener("click", async () => {
    doIt.disabled = true;
    const told = await send("move");
    doIt.disabled = false;
    if (told.url) location.assign(told.url);
    else say(told.error, false);
  });
  leave.addEventListener("click", () => { note.hidden = true; asked = null; });
})();
