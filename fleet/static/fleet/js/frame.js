// The frame of every page: selection shared by list, board and map; "/" searches; filters, folds, print.
(() => {
  "use strict";
  // Selecting a site anywhere selects it everywhere: elements carry data-site="<code>".
  const select = (code, from) => {
    for (const el of document.querySelectorAll("[data-site]")) {
      const on = el.dataset.site === code;
      el.classList.toggle("on", on);
      if (el.matches("tr")) {
        if (on) el.setAttribute("aria-current", "true"); else el.removeAttribute("aria-current");
      }
      if (on && from === "map") el.scrollIntoView({ block: "nearest" });
    }
    document.dispatchEvent(new CustomEvent("rootround:select", { detail: { code, from } }));
  };
  window.rootroundSelect = select;

  // A .seg whose buttons carry data-show="<group>" shows the rows of #<aria-controls> that carry data-group with that word.
  const filter = (button) => {
    for (const b of button.parentElement.querySelectorAll("button")) b.setAttribute("aria-pressed", String(b === button));
    const list = document.getElementById(button.parentElement.dataset.list);
    if (!list) return;
    const want = button.dataset.show;
    for (const row of list.querySelectorAll("[data-group]")) {
      row.hidden = want !== "all" && !row.dataset.group.split(" ").includes(want);
    }
  };

  document.addEventListener("click", (event) => {
    const at = event.target.closest("[data-site]");
    if (at) select(at.dataset.site, "list");
    const route = event.target.closest("[data-route]");
    if (route) {
      for (const el of document.querySelectorAll("[data-route]")) el.classList.toggle("on", el.dataset.route === route.dataset.route);
      document.dispatchEvent(new CustomEvent("rootround:route", { detail: Number(route.dataset.route) }));
    }
    const fold = event.target.closest('[data-act="fold"]');
    if (fold) {
      const shut = fold.closest(".legend").classList.toggle("shut");
      fold.textContent = shut ? "Legend" : "Fold";
      fold.setAttribute("aria-expanded", String(!shut));
    }
    const places = event.target.closest('[data-act="places"]');
    if (places) places.setAttribute("aria-expanded", String(places.getAttribute("aria-expanded") !== "true"));
    const show = event.target.closest(".seg button[data-show]");
    if (show) filter(show);
    if (event.target.closest('[data-act="print"]')) window.print();
  });
  // The words of a head, without the notes that stand after them.
  const wordsOf = (cell) => [...cell.childNodes].filter((node) => node.nodeName !== "SUP").map((node) => node.textContent).join("").trim();
  // A table that stacks on a phone keeps its meaning: roles for who listens, the head of its column before each cell.
  for (const table of document.querySelectorAll("table.stack")) {
    const heads = [...table.tHead.rows[0].cells].map((cell) => (cell.querySelector(".vh") ? "" : wordsOf(cell)));
    table.setAttribute("role", "table");
    for (const group of [table.tHead, ...table.tBodies]) group.setAttribute("role", "rowgroup");
    for (const row of table.rows) {
      row.setAttribute("role", "row");
      for (const cell of row.cells) {
        cell.setAttribute("role", cell.closest("thead") ? "columnheader" : cell.matches("th") ? "rowheader" : "cell");
        if (cell.cellIndex > 0 && heads[cell.cellIndex] && cell.innerHTML.trim() && !cell.closest("thead")) cell.dataset.head = heads[cell.cellIndex];
      }
    }
  }

  document.addEventListener("keydown", (event) => {
    const q = document.getElementById("q");
    if (event.key === "/" && q && !event.ctrlKey && !event.metaKey && !event.altKey
        && !event.target.closest("input, textarea, select, [contenteditable]")) {
      event.preventDefault();
      q.focus();
      q.select();
    }
    if (event.key === "Escape" && event.target === q) q.blur();
    if (event.key === "?" && q && !event.target.closest("input, textarea, select, [contenteditable]")) {
      window.location.assign(q.form.dataset.keys);
    }
    // In what was found, up and down go from line to line, and from the first one back into the box.
    const hits = [...document.querySelectorAll("[data-hit]")];
    const at = hits.indexOf(document.activeElement);
    const step = event.key === "ArrowDown" ? 1 : event.key === "ArrowUp" ? -1 : 0;
    if (step && hits.length && (at >= 0 || event.target === q)) {
      event.preventDefault();
      (hits[at + step] || (step < 0 ? q : hits[hits.length - 1])).focus();
    }
  });
})();
