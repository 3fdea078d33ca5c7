"""Large files brought in a real Chromium from a real server, looked at and saved by a worker beside it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Error as PageError

from tests.browser.messy_files import COLUMNS, gardens, houses, more_zones
from tests.browser.test_pages_in_chromium import CHROMIUM, PASSWORD, Visitor, chromium
from tests.pipeline.installation import Installation, installation

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium"]
GARDENS = 400
OFFICE = f"""
from datetime import date
from fleet.models import Company, User
Company.objects.create(
    pk=1, name="Marlow & Finch Garden Water", timezone="America/Denver", demo_today=date(2026, 6, 15))
User.objects.create_user("hana", password="{PASSWORD}", role="dispatcher")
"""


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Installation]:
    """An installation with an empty book, its server and its worker."""
    with installation(tmp_path) as one:
        one.manage("migrate", "--verbosity", "0")
        one.shell(OFFICE)
        one.serve()
        one.worker()
        yield one


def bring(person: Visitor, path: Path) -> None:
    """Choose the file on the page, send it, and wait until it was looked at."""
    person.open("/bring/")
    person.page.set_input_files("input[type=file]", str(path))
    with person.page.expect_navigation():
        person.page.click("text=Look at this file")
    wait_for_worker(person)


def press(person: Visitor, button: str) -> None:
    """Press a button, and wait until the worker is through with what it asks for."""
    with person.page.expect_navigation():
        person.page.get_by_role("button", name=button, exact=True).first.click()
    wait_for_worker(person)


def wait_for_worker(person: Visitor) -> None:
    """Wait until the page is no longer the one that waits, and load it anew in the middle."""
    for look in range(1200):
        try:
            if person.page.locator("main").count() and not person.page.locator("[data-bring]").count():
                return
            if look == 2:
                person.page.reload()
        except PageError:  # the page leads on by itself meanwhile
            pass
        person.page.wait_for_timeout(100)
    pytest.fail("the worker never came to its end")


def count(here: Installation, table: str, where: str = "1 = 1") -> int:
    return int(here.rows(f"select count(*) from {table} where {where}")[0][0])  # noqa: S608


def test_three_messy_files_come_in_by_the_worker_with_reloads_in_the_middle(
    here: Installation, chromium: Any, tmp_path: Path
) -> None:
    hana = Visitor(chromium, here.url, "hana", (1440, 900))

    bring(hana, gardens(tmp_path, GARDENS))
    hana.page.get_by_label("Holds").select_option("*")
    for theirs, ours in COLUMNS.items():
        hana.page.get_by_label(f"Meaning of {theirs}", exact=True).select_option(ours)
    press(hana, "Go on")
    hana.page.get_by_label("Our word for Lawn in plant").select_option("cool_turf")
    press(hana, "Look at what it would do")
    assert "60 repairs offered" in hana.page.inner_text("main")
    assert "8 rows refused" in hana.page.inner_text("main")
    assert count(here, "sites_site") == count(here, "sites_change") == 0
    press(hana, "Accept all")
    press(hana, "Save only the good rows")
    told = hana.page.inner_text("main")
    assert "What did this file change?" in told
    assert told.count("column station: '99': expected a station up to 6") == 8

    bring(hana, more_zones(tmp_path, GARDENS))
    assert hana.page.get_by_label("Meaning of folder", exact=True).input_value() == "site"
    press(hana, "Go on")
    if hana.page.get_by_role("button", name="Look at what it would do", exact=True).count():
        press(hana, "Look at what it would do")
    assert "800 repairs offered" in hana.page.inner_text("main")  # heights in metres above the sea
    press(hana, "Accept all")
    press(hana, "Save all")

    bring(hana, houses(tmp_path, GARDENS))
    hana.page.get_by_label("Holds").select_option("structure")
    hana.page.get_by_label("Meaning of ACCT", exact=True).select_option("site")
    hana.page.get_by_label("Meaning of USE_CODE", exact=True).select_option("type")
    press(hana, "Go on")
    press(hana, "Save all")
    assert "400 new" in hana.page.inner_text("main")

    assert count(here, "sites_site") == count(here, "sites_controller") == GARDENS
    assert count(here, "sites_zone") == 5 * GARDENS - 8
    assert count(here, "sites_structure") == GARDENS
    assert count(here, "sites_change") == 8 * GARDENS - 8
    assert count(here, "sites_change", "reason like '%mended: self-crossing%'") == 20
    assert count(here, "fleet_stagerun", "stage = 'save_file' and state = 'done'") == 3
    assert count(here, "fleet_stagerun", "state <> 'done'") == 0
    assert here.rows("select count(*) from sites_zone where min_lon < -104.71 or max_lon > -104.6") == [(0,)]
    assert hana.complaints == []
    assert hana.outside == []
