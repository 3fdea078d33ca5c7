// Count down how long hours are held; when the time is over the page is asked anew.
(() => {
  "use strict";
  const timer = document.querySelector("[data-until]");
  if (!timer) return;
  const ends = Date.now() + Number(timer.dataset.until) * 1000;
  const show = () => {
    const left = Math.max(0, Math.round((ends - Date.now()) / 1000));
    timer.textContent = `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")} left`;
    if (left === 0) {
      clearInterval(beat);
      location.reload();
    }
  };
  const beat = setInterval(show, 1000);
  show();
})();
