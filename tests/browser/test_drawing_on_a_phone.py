"""Drawing a garden on a phone: a box at the cross, a zone by finger."""

from __future__ import annotations

from typing import Any

import pytest

from sites.models import Site, ValveBox, Zone
from tests.browser.test_drawing import (
    PATH,
    at,
    garden,
    save,
    visitor,
)
from tests.browser.test_pages_in_chromium import chromium, pytestmark

__all__ = ["chromium", "garden", "pytestmark"]


def test_on_a_phone_a_box_is_put_at_the_cross_and_a_form_is_filled(
    garden: Site, live_server: Any, chromium: Any
) -> None:
    hana = visitor(chromium, live_server, size=(390, 844))
    page = hana.page
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.click("#draw-bar [data-do=valve_box]")
    page.click("[data-tool=put]")
    page.fill("#f-spare_wires", "3")
    page.keyboard.press("Tab")
    assert hana.violations() == []
    assert "Saved: 1 change" in save(page)

    box = ValveBox.objects.get()
    assert (box.name, box.spare_wires) == ("box 1", 3)
    assert box.shape is not None


def test_a_zone_is_drawn_by_finger(garden: Site, live_server: Any, chromium: Any) -> None:
    hana = visitor(chromium, live_server)
    phone = chromium.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True,
        storage_state=hana.context.storage_state(),
    )  # fmt: skip
    page = phone.new_page()
    page.goto(f"{live_server.url}{PATH}")
    page.wait_for_selector("#draw-map[data-ready=yes]")
    page.uncheck("#draw-snap")
    page.tap("#draw-bar [data-do=zone]")
    page.locator("#draw-map").scroll_into_view_if_needed()
    for corner in ((-104.69950, 41.20012), (-104.69940, 41.20012), (-104.69940, 41.20018)):
        page.touchscreen.tap(*at(page, *corner))
    page.tap("[data-tool=finish]")
    page.select_option("#f-plant", "annuals")
    page.select_option("#f-head", "dripline")
    page.tap("#draw-save")
    page.wait_for_selector("#draw-save[aria-busy=false]", state="attached")

    assert "Saved: 1 change" in page.inner_text("#draw-status")
    shape = Zone.objects.get(station=3).shape
    assert shape is not None
    assert shape.bounds == pytest.approx((-104.69950, 41.20012, -104.69940, 41.20018), abs=1e-5)
