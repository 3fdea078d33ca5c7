"""The day that breaks, by keyboard: proposed, accepted, undone; hours found for a customer."""

from __future__ import annotations

from typing import Any

import pytest

from fleet.models import DayBreak, HeldWindow, Stop, Visit
from tests.browser.test_pages_in_chromium import Visitor, chromium, pytestmark, town
from tests.fleet.plan.test_day_breaks import whole_plan

__all__ = ["chromium", "pytestmark", "town"]


@pytest.mark.parametrize("size", [(1440, 900), (390, 844)])
def test_all_four_breaks_are_proposed_and_undone_by_keyboard(
    town: None, live_server: Any, chromium: Any, size: tuple[int, int]
) -> None:
    hana = Visitor(chromium, live_server.url, "hana", size)
    page = hana.page
    site = Visit.objects.order_by("pk")[0].site
    for kind in ("Running late", "Ill today", "Customer cancelled", "Urgent leak"):
        hana.open("/week/")
        before = whole_plan()[0]
        page.locator(".breakbar a", has_text=kind).focus()
        page.keyboard.press("Enter")
        page.wait_for_selector(".breakform")
        if kind == "Urgent leak":
            page.keyboard.type(site.code)
            page.keyboard.press("Tab")
            page.keyboard.type("Water runs down the drive.")
        assert hana.violations() == []
        page.locator(".breakform .btn.main").focus()
        page.keyboard.press("Enter")
        page.wait_for_selector("text=Accept this plan")
        assert whole_plan()[0] == before
        assert hana.violations() == []
        page.locator("button", has_text="Accept this plan").focus()
        page.keyboard.press("Enter")
        page.wait_for_selector("text=The new plan is in force")
        row = DayBreak.objects.order_by("-pk")[0]
        assert row.state == "accepted"
        page.locator("button", has_text="Undo last change").focus()
        page.keyboard.press("Enter")
        page.wait_for_selector("text=is undone")
        assert [(s["visit_id"], s["arrive"]) for s in whole_plan()[0]] == [
            (s["visit_id"], s["arrive"]) for s in before
        ]
    assert hana.complaints == []


def test_hours_are_found_held_and_confirmed(town: None, live_server: Any, chromium: Any) -> None:
    stop = Stop.objects.filter(visit__isnull=False, state="ahead").order_by("pk")[0]
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    page = hana.page
    hana.open(f"/week/appointment/?visit={stop.visit_id}")
    assert hana.violations() == []

    page.locator(".offers .btn.main").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Held for this customer")
    assert HeldWindow.objects.count() == 1
    assert "left" in page.locator("[data-until]").inner_text()
    assert hana.violations() == []
    page.locator("button", has_text="The customer agrees").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("text=every later plan keeps them")

    assert Visit.objects.get(pk=stop.visit_id or 0).state == "told"
    assert hana.complaints == []
