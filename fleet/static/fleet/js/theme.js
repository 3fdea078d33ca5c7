// Runs before the first paint: the chosen theme, else the system's. Says "theme" to whoever draws on canvas.
(() => {
  "use strict";
  const root = document.documentElement;
  root.classList.add("js");
  const system = window.matchMedia("(prefers-color-scheme: dark)");
  const kept = () => { try { return localStorage.getItem("rootround-theme"); } catch { return null; } };
  const apply = (theme) => {
    root.dataset.theme = theme;
    document.dispatchEvent(new CustomEvent("rootround:theme", { detail: theme }));
  };
  apply(kept() || (system.matches ? "dark" : "light"));
  system.addEventListener("change", () => { if (!kept()) apply(system.matches ? "dark" : "light"); });
  document.addEventListener("click", (event) => {
    if (!event.target.closest('[data-act="theme"]')) return;
    const next = root.dataset.theme === "dark" ? "light" : "dark";
    try { localStorage.setItem("rootround-theme", next); } catch { /* private window: this page only */ }
    apply(next);
  });
})();
