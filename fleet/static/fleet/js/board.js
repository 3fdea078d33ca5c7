// Drag a stop of the board onto another lane or day: the cost is asked first, the move is done on a second word.
// By keyboard the same is the link "Move" in the list and the form behind each stop.
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

  board.addEventListener("dragstart", (event) => {
    held = event.target.closest ? event.target.closest("a.stop[data-stop]") : null;
    if (!held) return;
    event.dataTransfer.effectAllowed = "move";
    event.dataTransfer.setData("text/plain", held.dataset.site);
  });
  board.addEventListener("dragend", () => {
    held = null;
    board.querySelectorAll(".over").forEach((cell) => cell.classList.remove("over"));
  });
  board.addEventListener("dragover", (event) => {
    const cell = event.target.closest("[data-technician]");
    board.querySelectorAll(".over").forEach((one) => { if (one !== cell) one.classList.remove("over"); });
    if (!held || !cell) return;
    event.preventDefault();
    cell.classList.add("over");
  });
  board.addEventListener("drop", async (event) => {
    const cell = event.target.closest("[data-technician]");
    if (!held || !cell) return;
    event.preventDefault();
    const fields = { technician: cell.dataset.technician, day: cell.dataset.day };
    if (cell.classList.contains("lane")) fields.position = place(cell, event.clientX);
    asked = { url: board.dataset.drop.replace("/0/", `/${held.dataset.stop}/`), fields };
    const site = held.dataset.site;
    say(`${site} to ${cell.dataset.name}: asking what it costs.`, false);
    const told = await send("try");
    say(told.error ? `${site} to ${cell.dataset.name}: ${told.error}` : `${site} to ${cell.dataset.name}. ${told.words}`, !told.error);
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
