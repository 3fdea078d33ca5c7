"""How long the map of all gardens takes: `python -m tests.benchmarks.map_drawn ADDRESS --password P`.

Opens pages with the map in a real Chromium (1440 x 900) and prints the time from the beginning of the
navigation until the marks are painted: of the first look, with an empty cache, and of later ones.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
from typing import Any, Final

from playwright.sync_api import sync_playwright

PAGES: Final = ("/week/", "/watch/")
TARGET_MS: Final = 1_500
# The map says when it is ready; two frames later what it drew has been painted.
WATCH: Final = """
addEventListener("DOMContentLoaded", () => {
  const holder = document.querySelector(".map[data-sites]");
  if (!holder) return;
  const painted = () => requestAnimationFrame(() => requestAnimationFrame(() => {
    holder.dataset.painted = performance.now().toFixed(0);
  }));
  new MutationObserver((changes, self) => {
    if (holder.dataset.ready) { self.disconnect(); painted(); }
  }).observe(holder, { attributes: true, attributeFilter: ["data-ready"] });
});
"""


def look(page: Any, address: str) -> tuple[float, int]:
    """Open a page; time until its map was painted [ms], and how many gardens were on it."""
    with page.expect_response(lambda answer: "/map/sites.json" in answer.url) as answered:
        page.goto(address)
    page.wait_for_selector(".map[data-painted]")
    took = float(page.eval_on_selector(".map[data-painted]", "one => one.dataset.painted"))
    return took, len(answered.value.json()["sites"])


def main() -> None:
    """Measure."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("address", help="http://127.0.0.1:8000")
    asked.add_argument("--login", default="hana")
    asked.add_argument("--password", required=True)
    asked.add_argument("--looks", type=int, default=10, help="how often each page is opened (10)")
    options = asked.parse_args()
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        sys.exit("no Chromium on this machine")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
        page.set_default_timeout(60_000)
        page.add_init_script(WATCH)
        page.goto(f"{options.address}/sign-in/")
        page.fill("input[name=username]", options.login)
        page.fill("input[name=password]", options.password)
        with page.expect_navigation():
            page.keyboard.press("Enter")
        for path in PAGES:
            page.goto(f"{options.address}/words/")
            times, count = [], 0
            for _ in range(options.looks):
                took, count = look(page, options.address + path)
                times.append(took)
            later = statistics.median(times[1:])
            figures = f"first {times[0]:.0f} ms, later {later:.0f} (median), {max(times[1:]):.0f} at most"
            print(f"{path:<10}{count} gardens: {figures}; wanted: {TARGET_MS}")  # noqa: T201
        browser.close()


if __name__ == "__main__":
    main()
