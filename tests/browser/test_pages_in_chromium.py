"""The pages as a person meets them: in a real Chromium, by keyboard, on a phone, in the dark."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from fleet.demo.company import build_demo_company
from fleet.models import Stop
from fleet.services.company.company import set_passwords
from fleet.services.run_day import run_day

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
TODAY = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 12, 30, tzinfo=UTC)
PASSWORD = "garden-water-42"
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip


@pytest.fixture
def town(transactional_db: None, settings: Any, tmp_path: Path) -> None:
    """Twelve gardens with one day's work done and none before, and passwords that the test knows."""
    settings.DATA_DIR = tmp_path
    told: list[str] = []
    build_demo_company(data_dir=tmp_path, sites=12, seed=5, today=TODAY, tell=told.append, begins_today=True)
    list(run_day(day=TODAY, clock=lambda: NOW, seed=1, planning_s=1.0))
    set_passwords(passwords={"hana": PASSWORD, "ines": PASSWORD, "ruth": PASSWORD})


@pytest.fixture
def chromium() -> Iterator[Any]:
    """A running browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


class Visitor:
    """A signed-in person at a screen, with everything the page complained about."""

    def __init__(
        self, browser: Any, address: str, login: str, size: tuple[int, int], theme: str = "light"
    ) -> None:
        self.address = address
        self.context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, color_scheme=theme, bypass_csp=False
        )
        self.page = self.context.new_page()
        self.page.set_default_timeout(90_000)  # a busy machine takes its time
        self.complaints: list[str] = []
        self.outside: list[str] = []
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", self._asked)
        self.page.goto(f"{address}/sign-in/")
        self.page.fill("input[name=username]", login)
        self.page.fill("input[name=password]", PASSWORD)
        self.page.keyboard.press("Enter")
        self.page.wait_for_url(lambda url: "sign-in" not in url)
        self.page.wait_for_load_state("networkidle")

    def _heard(self, message: Any) -> None:
        if message.type == "error":
            self.complaints.append(message.text)

    def _asked(self, request: Any) -> None:
        if not request.url.startswith((self.address, "data:", "blob:")):
            self.outside.append(request.url)

    def open(self, path: str) -> None:
        self.page.goto(f"{self.address}{path}")
        self.page.wait_for_load_state("networkidle")

    def violations(self) -> list[str]:
        """What axe-core finds against WCAG 2.2 A and AA."""
        # The page's own policy forbids foreign scripts, so axe goes in by the debugger's door.
        self.page.evaluate(AXE)
        # A short stop on the wide day may be narrower than 24 px: its length is its time, and the same deed
        # stands as "Move" in the list beside (WCAG 2.2, 2.5.8, exception "equivalent").
        found = self.page.evaluate(
            "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']})"
            ".then(r => r.violations.map(v => [v.id, v.nodes.map(n => n.target[0]).filter("
            "t => v.id !== 'target-size' || !document.querySelector(t).closest('.lane'))])"
            ".filter(([, nodes]) => nodes.length)"
            ".map(([id, nodes]) => id + ': ' + nodes.slice(0, 3).join(' | ')))"
        )
        return [str(one) for one in found]


def test_the_slash_key_leads_to_the_search(town: None, live_server: Any, chromium: Any) -> None:
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    hana.open("/week/")

    hana.page.keyboard.press("/")
    hana.page.keyboard.type("NM-01")
    with hana.page.expect_navigation():
        hana.page.keyboard.press("Enter")
    hana.page.wait_for_load_state("networkidle")

    assert "NM-01" in hana.page.inner_text("main")


def test_a_technician_reads_a_stop_on_the_phone_and_records_a_finding(
    town: None, live_server: Any, chromium: Any
) -> None:
    stop = (
        Stop.objects.filter(visit__isnull=False)
        .select_related("route__technician__user")
        .order_by("pk")
        .first()
    )
    assert stop is not None
    login = stop.route.technician.user.username if stop.route.technician.user else "ines"
    set_passwords(passwords={login: PASSWORD})
    person = Visitor(chromium, live_server.url, login, (390, 844))
    person.open(f"/day/?date={stop.route.day.isoformat()}")
    assert person.page.evaluate("document.documentElement.scrollWidth") <= 390

    person.open(f"/day/stops/{stop.pk}/")
    assert person.violations() == []
    assert person.page.evaluate("document.documentElement.scrollWidth") <= 390
    person.page.fill("textarea[name=note]", "Splice in box 2 is dry.")
    person.page.click("text=Record the finding")
    person.page.wait_for_selector("text=The finding is recorded")

    assert stop.findings.get().note == "Splice in box 2 is dry."
    assert person.complaints == []
    assert person.outside == []
