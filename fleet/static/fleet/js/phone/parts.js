// Parts off the truck: count with a thumb, find one by its name, what waits in the queue is told.
(() => {
  "use strict";
  const box = document.querySelector("[data-parts]"), main = document.querySelector("[data-stop]");
  if (!box || !main) return;
  const store = self.rootroundStore, rows = [...box.querySelectorAll("[data-part]")], find = box.querySelector("[data-part-find]");
  const input = (row) => row.querySelector("input");
  const count = (row) => Math.max(0, Math.round(Number(input(row).value.trim()) || 0));
  const sum = () => {
    const used = rows.filter((row) => count(row)).map((row) => `${count(row)} ${row.dataset.name}`);
    box.querySelector("[data-parts-sum]").textContent = used.join(", ") || "none";
    for (const row of rows) {
      const over = count(row) > Number(row.dataset.count) - Number(row.dataset.queued || 0), word = row.querySelector("[data-over]");
      word.textContent = over && count(row) ? "more than the truck holds by the book" : "";
    }
  };
  const narrow = () => {
    const asked = find.value.trim().toLowerCase();
    for (const row of rows) row.hidden = Boolean(asked) && !row.dataset.name.toLowerCase().includes(asked) && !count(row);
  };
  for (const row of rows) {
    for (const button of row.querySelectorAll("button")) {
      button.hidden = false;
      button.addEventListener("click", () => {
        const next = Math.max(0, count(row) + Number(button.value));
        input(row).value = next ? String(next) : "";
        input(row).dispatchEvent(new Event("input", { bubbles: true }));
      });
    }
  }
  find.closest("p").hidden = false;
  find.addEventListener("input", narrow);
  find.addEventListener("keydown", (event) => { if (event.key === "Enter") event.preventDefault(); });

  // What is written on this phone and has not gone out is off the truck already.
  const queued = async () => {
    const off = new Map();
    if (store?.can) {
      for (const item of await store.items()) {
        if (item.kind !== "finding" || item.state === "refused") continue;
        try {
          for (const [name, value] of Object.entries((await store.content(item)).body.fields)) {
            if (name.startsWith("part-")) off.set(name, (off.get(name) || 0) + Number(value));
          }
        } catch { /* somebody else's */ }
      }
    }
    for (const row of rows) {
      const taken = off.get(input(row).name) || 0;
      row.dataset.queued = taken;
      row.querySelector("[data-queued]").textContent = taken ? `, ${taken} of them in findings not sent yet` : "";
    }
    sum();
  };
  for (const name of ["input", "change", "rootround:restored"]) box.addEventListener(name, sum);
  document.addEventListener("rootround:recorded", () => { find.value = ""; narrow(); sum(); });
  store?.onChange?.(queued);
  queued();
})();
