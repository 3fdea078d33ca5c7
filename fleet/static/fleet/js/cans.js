// Boxes of an audit's cans: a pasted block fills on from the box it goes into, Enter leads to the next box, and the
// line above says how many cans there are. Without script the boxes and the paste field do the same by themselves.
(() => {
  "use strict";
  const holder = document.querySelector("[data-cans]");
  if (!holder) return;
  const said = document.querySelector("[data-cans-said]");
  const more = document.querySelector("[data-more-cans]");
  const first = said ? said.textContent : "";
  const boxes = () => [...holder.querySelectorAll("input")];

  const add = (count) => {
    for (let i = 0; i < count; i += 1) {
      const number = boxes().length + 1;
      const label = holder.firstElementChild.cloneNode(true);
      label.querySelector("span").textContent = String(number);
      const box = label.querySelector("input");
      box.value = "";
      box.setAttribute("aria-label", `Can ${number}, mL`);
      if (box.dataset.draft) box.dataset.draft = `can-${number}`;
      holder.append(label);
    }
  };

  self.rootroundCans = { upTo: (count) => { while (boxes().length < count) add(8); } };

  const tell = () => {
    if (!said) return;
    const values = boxes().map((box) => box.value.trim().replace(",", ".")).filter(Boolean).map(Number);
    const sum = values.reduce((all, one) => all + one, 0);
    if (!values.length) said.textContent = first;
    else if (values.some((one) => !Number.isFinite(one))) said.textContent = `${values.length} cans, one is no number`;
    else said.textContent = `${values.length} can${values.length === 1 ? "" : "s"}, ${(sum / values.length).toFixed(1)} mL on average`;
  };

  holder.addEventListener("paste", (event) => {
    const words = event.clipboardData.getData("text").split(/[\s;,]+/).filter(Boolean);
    if (words.length < 2 || !event.target.matches("input")) return;
    event.preventDefault();
    const at = boxes().indexOf(event.target);
    if (at + words.length > boxes().length) add(Math.ceil((at + words.length - boxes().length) / 8) * 8);
    const all = boxes();
    words.forEach((word, i) => { all[at + i].value = word; });
    all[Math.min(at + words.length, all.length - 1)].focus();
    tell();
  });
  holder.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches("input")) return;
    event.preventDefault();
    const all = boxes(), at = all.indexOf(event.target);
    if (at + 1 === all.length) add(8);
    boxes()[at + 1].focus();
  });
  holder.addEventListener("input", tell);
  if (more) {
    more.hidden = false;
    more.addEventListener("click", () => { const at = boxes().length; add(8); boxes()[at].focus(); });
  }
  tell();
})();
