// Copy a prepared text: buttons with data-copy name the element that holds it. Without script they stay hidden.
(() => {
  "use strict";
  document.querySelectorAll("[data-copy]").forEach((button) => {
    const source = document.getElementById(button.dataset.copy);
    const said = button.parentElement.querySelector("[data-copied]");
    if (!source || !navigator.clipboard) return;
    button.hidden = false;
    button.addEventListener("click", async () => {
      try {
        await navigator.clipboard.writeText(source.textContent);
        if (said) said.textContent = "Copied.";
      } catch {
        if (said) said.textContent = "The browser did not allow it: mark the text and copy it by hand.";
      }
    });
  });
})();
