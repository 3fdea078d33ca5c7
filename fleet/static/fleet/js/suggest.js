// The box on top suggests while one writes: down and up choose, Enter opens what is chosen, else searches; Esc shuts the list.
(() => {
  "use strict";
  const box = document.getElementById("q"), list = document.getElementById("suggest");
  if (!box || !list) return;
  const address = box.form.dataset.suggest;
  let timer = null, at = -1, asked = "";

  box.setAttribute("role", "combobox");
  box.setAttribute("aria-autocomplete", "list");
  box.setAttribute("aria-controls", list.id);
  const mark = (place) => {
    at = place;
    [...list.children].forEach((line, number) => line.setAttribute("aria-selected", String(number === at)));
    if (at < 0) box.removeAttribute("aria-activedescendant"); else box.setAttribute("aria-activedescendant", list.children[at].id);
  };
  const shut = () => {
    list.hidden = true;
    box.setAttribute("aria-expanded", "false");
    mark(-1);
  };
  const show = (lines) => {
    list.replaceChildren(...lines.map((line, number) => {
      const item = document.createElement("li"), kind = document.createElement("span");
      item.id = `suggest-${number}`;
      item.setAttribute("role", "option");
      item.dataset.url = line.url;
      kind.textContent = line.kind;
      item.append(line.words, kind);
      return item;
    }));
    list.hidden = !lines.length;
    box.setAttribute("aria-expanded", String(!list.hidden));
    mark(-1);
  };
  const ask = async () => {
    const text = box.value.trim();
    asked = text;
    if (text.length < 2) { shut(); return; }
    try {
      const answer = await fetch(`${address}?q=${encodeURIComponent(text)}`, { headers: { Accept: "application/json" } });
      // A slow answer to fewer letters must not replace a newer one.
      if (answer.ok && asked === text && document.activeElement === box) show((await answer.json()).lines);
    } catch { shut(); }
  };

  shut();
  box.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(ask, 160); });
  box.addEventListener("blur", shut);
  list.addEventListener("mousedown", (event) => {
    const line = event.target.closest("[data-url]");
    event.preventDefault();
    if (line) location.assign(line.dataset.url);
  });
  box.addEventListener("keydown", (event) => {
    if (event.key === "Enter") { clearTimeout(timer); asked = ""; }
    if (list.hidden) return;
    const count = list.children.length;
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      // What is being chosen from stays as it is seen: no later answer replaces it.
      clearTimeout(timer);
      asked = "";
      const step = event.key === "ArrowDown" ? 1 : -1;
      mark(at < 0 && step < 0 ? count - 1 : at + step >= count ? -1 : at + step);
    } else if (event.key === "Enter" && at >= 0) {
      location.assign(list.children[at].dataset.url);
    } else if (event.key === "Escape") {
      shut();
    } else {
      return;
    }
    event.preventDefault();
    event.stopPropagation();
  });
})();
