"""Bringing a file of sites in a real Chromium: columns, repair, map, save, throw away, guidelines."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fleet.models import Company, User
from sites.models import Change, Site, Zone
from tests.browser.test_pages_in_chromium import CHROMIUM, FLAGS, PASSWORD, Visitor
from tests.sites.importing.book_files import box, feature, point
from tests.sites.importing.test_book_repairs import BOW_TIE

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
WIDE, PHONE = (1440, 900), (390, 844)
MEANT = {
    "What": "kind",
    "Account": "site",
    "Title": "name",
    "Clock": "controller",
    "Outputs": "station_count",
    "Valve": "station",
    "Crop": "plant",
    "Nozzle": "head",
}


@pytest.fixture
def chromium() -> Iterator[Any]:
    """A running browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def office(transactional_db: None, settings: Any, tmp_path: Path) -> None:
    """A company with an empty book and one dispatcher."""
    settings.DATA_DIR = tmp_path / "data"
    Company.objects.create(
        pk=1, name="Marlow & Finch Garden Water", timezone="America/Denver", demo_today=date(2026, 6, 15)
    )
    User.objects.create_user(username="hana", password=PASSWORD, role=User.Role.DISPATCHER)


@pytest.fixture
def parcels(tmp_path: Path) -> Path:
    """A garden with a zone that crosses itself and one on a station that is not there, in foreign columns."""
    zone = {"Account": "CB-14", "Clock": "A", "Crop": "cool_turf", "Nozzle": "fixed_spray"}
    things = [
        feature("site", box(0, 0, 4, 4), Account="CB-14", Title="Okafor garden"),
        feature("controller", point(0.5, 0.5), Account="CB-14", Clock="A", Outputs=6),
        feature("zone", box(0, 0), **zone, Valve=1, Title="front lawn"),
        feature("zone", box(3, 0), **zone, Valve=9, Title="side lawn"),
    ]
    things[2]["geometry"]["coordinates"] = [BOW_TIE]
    for thing in things:
        thing["properties"]["What"] = thing["properties"].pop("kind")
    path = tmp_path / "parcels.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": things}))
    return path


def bring(person: Visitor, path: Path) -> None:
    """Choose the file on the page and send it."""
    person.open("/bring/")
    person.page.set_input_files("input[type=file]", str(path))
    person.page.click("text=Look at this file")
    person.page.wait_for_selector("text=What do its columns mean?")


def press(person: Visitor, button: str) -> None:
    """Press a button of the page and wait for the next."""
    with person.page.expect_navigation():
        person.page.get_by_role("button", name=button, exact=True).first.click()
    person.page.wait_for_load_state("networkidle")


def map_columns(person: Visitor) -> None:
    """Say what every column means."""
    person.page.get_by_label("Holds").select_option("*")
    for theirs, ours in MEANT.items():
        person.page.get_by_label(f"Meaning of {theirs}", exact=True).select_option(ours)
    press(person, "Go on")


def width_of(drawn: Any) -> float:
    """How many units of the drawing are in sight."""
    return float(drawn.get_attribute("viewBox").split()[2])


def at_ease(person: Visitor, width: int) -> None:
    """Nothing to object to on the page, and nothing cut off."""
    assert person.violations() == [], person.page.url
    assert person.page.evaluate("document.documentElement.scrollWidth") <= width, person.page.url


def test_a_file_is_mapped_repaired_and_saved_by_mouse(
    office: None, parcels: Path, live_server: Any, chromium: Any
) -> None:
    hana = Visitor(chromium, live_server.url, "hana", WIDE)
    bring(hana, parcels)
    at_ease(hana, 1440)

    map_columns(hana)
    repairs = hana.page.get_by_role("region", name="Single repairs")
    assert "zone CB-14/A/1" in repairs.inner_text()
    assert "self-crossing" in repairs.inner_text()
    refused = hana.page.get_by_role("region", name="Refused rows", exact=True).last
    assert "a station up to 6" in refused.inner_text()
    at_ease(hana, 1440)

    ring = hana.page.locator("#m2 .bring-ring")
    assert ring.evaluate("one => getComputedStyle(one).stroke") == "none"
    refused.get_by_role("link").click()
    assert ring.evaluate("one => getComputedStyle(one).stroke") != "none"
    assert hana.page.locator("#m2 text").text_content() == "2"
    # The number led close up to its mark; buttons and keys change the scale, and 0 shows all of it again.
    drawn = hana.page.locator("svg.canvas")
    widths = [width_of(drawn)]
    hana.page.get_by_role("button", name="Closer").click()
    widths.append(width_of(drawn))
    hana.page.locator("[data-bring-map]").press("-")
    widths.append(width_of(drawn))
    hana.page.locator("[data-bring-map]").press("0")
    widths.append(width_of(drawn))
    assert widths[1] < widths[0] <= widths[2] <= widths[3] == 760
    assert hana.page.locator("#m2").get_attribute("transform").endswith("scale(1)")
    assert Change.objects.count() == 0

    press(hana, "Accept these")
    assert hana.page.get_by_role("button", name="Take back", exact=True).first.is_visible()
    press(hana, "Save only the good rows")
    assert "Repairs made" in hana.page.inner_text("main")
    at_ease(hana, 1440)

    with hana.page.expect_navigation():
        hana.page.click("main a.code >> text=CB-14")
    hana.page.wait_for_load_state("networkidle")
    assert hana.page.url.endswith("/sites/CB-14/")
    assert "zone CB-14/A/1 added" in hana.page.inner_text("main")
    assert Site.objects.get().name == "Okafor garden"
    assert Zone.objects.get().station == 1
    assert "mended: self-crossing" in Change.objects.get(kind="zone").reason
    assert hana.complaints == []
    assert hana.outside == []


def test_a_file_thrown_away_on_the_phone_leaves_nothing(
    office: None, parcels: Path, live_server: Any, chromium: Any, settings: Any
) -> None:
    hana = Visitor(chromium, live_server.url, "hana", PHONE)
    bring(hana, parcels)
    at_ease(hana, 390)
    map_columns(hana)
    at_ease(hana, 390)

    press(hana, "Throw away")

    assert "parcels.geojson is thrown away. Nothing of it was written." in hana.page.inner_text("body")
    assert "Files that wait" not in hana.page.inner_text("main")
    at_ease(hana, 390)
    assert list((settings.DATA_DIR / "uploads").glob("*.data")) == []
    assert Site.objects.count() == Change.objects.count() == 0
    assert hana.complaints == []
