"""What was drawn is not lost: two people at one garden, history brought back, a reload before saving."""

from __future__ import annotations

import re
from typing import Any

from sites.models import Change, Site, Zone
from tests.browser.test_drawing import (
    choose,
    garden,
    save,
    visitor,
)
from tests.browser.test_pages_in_chromium import chromium, pytestmark

__all__ = ["chromium", "garden", "pytestmark"]


def test_two_people_at_one_garden_lose_nothing(garden: Site, live_server: Any, chromium: Any) -> None:
    hana, omar = (visitor(chromium, live_server, login) for login in ("hana", "omar"))
    for person, name in ((hana, "front lawn"), (omar, "street side")):
        choose(person.page, "1 zone 1")
        person.page.fill("#f-name", name)
        person.page.keyboard.press("Tab")
    choose(omar.page, "2 zone 2")
    omar.page.select_option("#f-sun", "shade")
    assert "Saved" in save(hana.page)

    assert "Not saved" in save(omar.page)
    told = omar.page.inner_text(".conflict")
    assert re.search(r"hana .*zone 1 → front lawn", told)
    assert "street side" in told
    assert omar.violations() == []
    omar.page.click("text=Take theirs, throw mine away")
    assert omar.page.inner_text("#draw-save") == "Saved"
    omar.page.keyboard.press("Control+z")  # thrown away by mistake: it comes back
    assert "Save 2 changes" in omar.page.inner_text("#draw-save")
    assert "Saved: 2 changes" in save(omar.page)

    assert Zone.objects.get(station=1).name == "street side"
    assert Zone.objects.get(station=2).sun == "shade"
    lawn = Change.objects.filter(kind="zone", key="CB-14/A/1").order_by("pk")
    assert [(one.by, one.before) for one in lawn] == [
        ("hana", {"name": "zone 1"}),
        ("omar", {"name": "front lawn"}),
    ]


def test_an_entry_of_the_history_is_restored_from_the_site_page(
    garden: Site, live_server: Any, chromium: Any
) -> None:
    hana = visitor(chromium, live_server)
    page = hana.page
    choose(page, "2 zone 2")
    page.click("text=Remove")
    save(page)
    assert Zone.objects.count() == 1
    hana.open("/sites/CB-14/")
    page.click(".hist summary >> nth=0")
    with page.expect_navigation():
        page.click(".hist button:has-text('Restore')")
    page.wait_for_load_state("networkidle")

    assert "Put back: 1 thing" in page.inner_text("main")
    assert Zone.objects.get(station=2).name == "zone 2"
    assert hana.violations() == []


def test_what_was_not_saved_is_offered_after_a_reload_and_wiped_by_saving(
    garden: Site, live_server: Any, chromium: Any
) -> None:
    hana = visitor(chromium, live_server)
    page = hana.page
    choose(page, "1 zone 1")
    page.fill("#f-name", "front lawn")
    page.keyboard.press("Tab")
    choose(page, "2 zone 2")
    page.click("text=Remove")

    page.reload()
    page.wait_for_selector("#draw-map[data-ready=yes]")
    assert "2 changes of" in page.inner_text("#draw-draft")
    assert page.inner_text("#draw-save") == "Saved"
    assert hana.violations() == []
    page.click("text=Take them up")
    assert page.inner_text("#draw-save") == "Save 2 changes"
    assert page.is_hidden("#draw-draft")
    assert "Saved: 2 changes" in save(page)
    page.reload()
    page.wait_for_selector("#draw-map[data-ready=yes]")
    assert page.is_hidden("#draw-draft")
    assert [(one.station, one.name) for one in Zone.objects.all()] == [(1, "front lawn")]

    choose(page, "1 front lawn")
    page.fill("#f-name", "meadow")
    page.keyboard.press("Tab")
    page.reload()
    page.wait_for_selector("#draw-map[data-ready=yes]")
    page.click("text=Throw them away")
    page.reload()
    page.wait_for_selector("#draw-map[data-ready=yes]")
    assert page.is_hidden("#draw-draft")
    assert Zone.objects.get().name == "front lawn"
    assert hana.complaints == []
