// At the door: what still waits on this phone, counted only; it is sealed until its owner is back.
(() => {
  "use strict";
  const store = self.rootroundStore, word = document.querySelector("[data-waits]");
  if (!store?.can || !word) return;
  store.keepClean().then(() => store.items()).then((items) => {
    if (!items.length) return;
    word.textContent = `${items.length} thing${items.length === 1 ? " waits" : "s wait"} on this phone to be sent. Sealed; sent when the same person signs in again.`;
    word.hidden = false;
  }).catch(() => {});
})();
