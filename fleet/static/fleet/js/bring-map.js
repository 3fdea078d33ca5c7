// Makes the drawing of a file larger: by buttons, wheel, keys and dragging, and around the mark that somebody points to.
// Marks, points and lines keep their size on the screen; numbers that would lie over each other wait until there is room.
(() => {
  "use strict";
  const box = document.querySelector("[data-bring-map]"), svg = box?.querySelector("svg.canvas");
  if (!svg) return;
  const [, , width, height] = svg.getAttribute("viewBox").split(" ").map(Number);
  const close = Math.min(width, 2 * Number(svg.dataset.close) * (width / height));
  const marks = [...svg.querySelectorAll("[data-mark]")].map((one) => {
    const [x, y] = one.getAttribute("transform").match(/-?[\d.]+/g).map(Number);
    return { one, x, y, text: one.querySelector("text") };
  });
  const points = [...svg.querySelectorAll("circle.head-g")];
  let view = { x: 0, y: 0, w: width };

  const quiet = (size) => {
    const shown = [];
    for (const mark of marks) if (mark.text) {
      const at = mark.x + (mark.text.getAttribute("text-anchor") === "end" ? -45 : 45) * size;
      const free = shown.every((other) => Math.abs(other.at - at) > 62 * size || Math.abs(other.y - mark.y) > 30 * size) &&
        marks.every((other) => Math.abs(other.x - at) > 32 * size || Math.abs(other.y - mark.y) > 22 * size);
      if (free) shown.push({ at, y: mark.y });
      mark.one.classList.toggle("quiet", !free);
    }
  };
  const draw = () => {
    const size = view.w / width, h = view.w * height / width;
    view.x = Math.min(Math.max(view.x, -view.w / 2), width - view.w / 2);
    view.y = Math.min(Math.max(view.y, -h / 2), height - h / 2);
    svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.w} ${h}`);
    for (const { one, x, y } of marks) one.setAttribute("transform", `translate(${x} ${y}) scale(${size})`);
    for (const point of points) point.setAttribute("r", 2 * size);
    quiet(size);
  };
  const scale = (by, x = view.x + view.w / 2, y = view.y + view.w * height / width / 2) => {
    const w = Math.min(width, Math.max(close / 8, view.w * by)), ratio = w / view.w;
    view = w === width ? { x: 0, y: 0, w } : { x: x - (x - view.x) * ratio, y: y - (y - view.y) * ratio, w };
    draw();
  };
  const around = (name) => {
    const mark = marks.find(({ one }) => one.id && `#${one.id}` === name);
    if (!mark) return;
    for (const { one } of marks) one.classList.toggle("on", one === mark.one);
    view = { x: mark.x - close / 2, y: mark.y - close * height / width / 2, w: close };
    draw();
  };
  const place = (event) => {
    const at = svg.getBoundingClientRect();
    return [view.x + (event.clientX - at.left) / at.width * view.w, view.y + (event.clientY - at.top) / at.width * view.w];
  };

  const acts = { "closer": () => scale(0.5), "farther": () => scale(2), "whole": () => scale(width / view.w * 2) };
  for (const button of box.querySelectorAll("[data-zoom]")) button.addEventListener("click", acts[button.dataset.zoom]);
  box.querySelector(".mapctl").hidden = false;
  const keys = { "+": acts.closer, "=": acts.closer, "-": acts.farther, "0": acts.whole };
  const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  box.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = steps[event.key];
    if (step) view = { ...view, x: view.x + step[0] * view.w / 5, y: view.y + step[1] * view.w / 5 };
    else if (!keys[event.key]) return;
    event.preventDefault();
    if (step) draw(); else keys[event.key]();
  });
  // The wheel alone scrolls the page.
  svg.addEventListener("wheel", (event) => {
    if (!event.ctrlKey) return;
    event.preventDefault();
    scale(event.deltaY > 0 ? 1.25 : 0.8, ...place(event));
  }, { passive: false });
  let from = null;
  svg.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "mouse" && event.button === 0) { from = place(event); svg.setPointerCapture(event.pointerId); }
  });
  svg.addEventListener("pointermove", (event) => {
    if (!from) return;
    const [x, y] = place(event);
    view = { ...view, x: view.x + from[0] - x, y: view.y + from[1] - y };
    draw();
  });
  for (const name of ["pointerup", "pointercancel"]) svg.addEventListener(name, () => { from = null; });
  // The browser itself would bring the mark to the upper edge, and the map half out of sight.
  document.addEventListener("click", (event) => {
    const name = event.target.closest?.('a[href^="#m"]')?.getAttribute("href");
    if (!name || name === "#main") return;
    event.preventDefault();
    history.replaceState(null, "", name);
    around(name);
    box.scrollIntoView({ block: "nearest" });
  });
  box.classList.add("live");
  draw();
  around(location.hash);
})();
