// Runs before the first paint: the theme of the account or of this device, whichever was chosen last, else the system's. Says "theme" to whoever draws on canvas.
(() => {
  "use strict";
  const root = document.documentElement;
  root.classList.add("js");
  const dark = window.matchMedia("(prefers-color-scheme: dark)"), more = window.matchMedia("(prefers-contrast: more)");
  const named = (isMore, isDark) => (isMore ? (isDark ? "contrast-dark" : "contrast") : isDark ? "dark" : "light");
  const system = () => named(more.matches, dark.matches);
  const kept = () => { try { return localStorage.getItem("rootround-theme"); } catch { return null; } };
  // A choice under "Your settings" reaches this device once; the button may change it here afterwards.
  const chosen = root.dataset.chosen;
  try {
    if (chosen !== undefined && chosen !== (localStorage.getItem("rootround-chosen") || "")) {
      localStorage.setItem("rootround-chosen", chosen);
      if (chosen) localStorage.setItem("rootround-theme", chosen); else localStorage.removeItem("rootround-theme");
    }
  } catch { /* private window: this page only */ }
  const apply = (theme) => {
    root.dataset.theme = theme;
    document.dispatchEvent(new CustomEvent("rootround:theme", { detail: theme }));
  };
  apply(kept() || chosen || system());
  for (const wish of [dark, more]) wish.addEventListener("change", () => { if (!kept()) apply(system()); });
  document.addEventListener("click", (event) => {
    if (!event.target.closest('[data-act="theme"]')) return;
    const now = root.dataset.theme, next = named(now.startsWith("contrast"), !now.endsWith("dark"));
    try { localStorage.setItem("rootround-theme", next); } catch { /* private window: this page only */ }
    apply(next);
  });
})();
