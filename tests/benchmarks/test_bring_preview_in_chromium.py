"""A file of the design size in a real browser: 10,000 sites, 60,000 zones, looked at, leafed through, saved.

Prints figures only: what a person waits for, what the page weighs, and what server, worker and browser hold.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.benchmarks.test_import_book_speed import gardens
from tests.browser.test_bring_by_worker import OFFICE, bring, press
from tests.browser.test_pages_in_chromium import CHROMIUM, Visitor, chromium
from tests.pipeline.installation import installation

pytestmark = [
    pytest.mark.benchmark,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium"]
SITES = 10_000


def a_book_with_faults(path: Path) -> Path:
    """The book of the import's own benchmark; in every hundredth garden a zone is wrong."""
    features = list(gardens(SITES))
    zones = [row for row in features if row["properties"]["kind"] == "zone"]
    for row in zones[::600]:
        ring = row["geometry"]["coordinates"][0]
        row["geometry"]["coordinates"] = [[ring[i] for i in (0, 2, 1, 3, 0)]]
    for row in zones[300::600]:
        row["properties"]["station"] = 99
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def peak_mb(pid: int) -> float:
    """Most memory that a process ever held."""
    for line in (Path("/proc") / str(pid) / "status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    return 0.0


def children(pid: int) -> list[int]:
    """A process and all that it started."""
    found = [pid]
    for one in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(one.read_text().rsplit(")", 1)[1].split()[1])
        except (OSError, IndexError):
            continue
        if parent == pid:
            found += children(int(one.parent.name))
    return found


def timed(what: Callable[[], object]) -> float:
    """Seconds that something takes."""
    began = time.perf_counter()
    what()
    return time.perf_counter() - began


def test_the_preview_of_a_book_of_the_design_size(tmp_path: Path, chromium: Any) -> None:
    path = a_book_with_faults(tmp_path / "book.geojson")
    with installation(tmp_path) as here:
        here.manage("migrate", "--verbosity", "0")
        here.shell(OFFICE)
        server, worker = here.serve(), here.worker().pid
        hana = Visitor(chromium, here.url, "hana", (1440, 900))
        page = hana.page

        columns = timed(lambda: bring(hana, path))
        if page.get_by_role("button", name="Go on", exact=True).count():
            columns += timed(lambda: press(hana, "Go on"))
        words = page.inner_text("main")
        again = timed(lambda: page.reload())
        weight = page.evaluate("performance.getEntriesByType('navigation')[0].decodedBodySize")
        nodes = page.evaluate("document.querySelectorAll('*').length")
        page.locator('a[href="#m1"]').first.click()
        frames = page.evaluate(
            """async () => {
              const took = [];
              for (let i = 0; i < 20; i += 1) {
                const began = performance.now();
                document.querySelector(`[data-zoom=${i % 2 ? "farther" : "closer"}]`).click();
                await new Promise(requestAnimationFrame);
                took.push(performance.now() - began);
              }
              return took;
            }"""
        )
        leaf = timed(lambda: page.goto(f"{page.url.split('?')[0].split('#')[0]}?rpage=2"))
        accept = timed(lambda: press(hana, "Accept all"))
        heap = hana.context.new_cdp_session(page).send("Runtime.getHeapUsage")["usedSize"] / 1e6
        save = timed(lambda: press(hana, "Save only the good rows"))
        stored = here.rows("select count(*) from sites_zone")[0][0]
        peaks = [peak_mb(server), max(map(peak_mb, children(worker)))]

    assert "repairs offered" in words
    assert stored == 6 * SITES - SITES // 100
    size, step, worst = path.stat().st_size / 1e6, sorted(frames)[10], max(frames)
    print(  # noqa: T201
        f"{SITES:,} sites, {stored:,} zones, {size:.0f} MB: sent and looked at in {columns:.0f} s; page anew "
        f"{again:.1f} s, {weight / 1e6:.1f} MB, {nodes:,} elements; a step of the map {step:.0f} ms, slowest "
        f"{worst:.0f} ms; next page {leaf:.1f} s; all repairs accepted {accept:.1f} s; saved {save:.0f} s; "
        f"peaks: server {peaks[0]:.0f} MB, worker {peaks[1]:.0f} MB, scripts of the page {heap:.0f} MB"
    )
