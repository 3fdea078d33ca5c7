"""Audit, survey and siting as a technician and a dispatcher do them, in a real Chromium."""

from __future__ import annotations

from typing import Any

import pytest

from fleet.models import Stop
from fleet.services.company.company import set_passwords
from sites.models import Site, ZoneAudit
from tests.browser.phone_hand import NOTHING_WAITS, until
from tests.browser.test_pages_in_chromium import CHROMIUM, PASSWORD, Visitor, chromium, town

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium", "town"]
CANS = (
    "38\t42\t35\t29\t31\t44\n47\t40\t36\t33\t27\t25\n41\t39\t37\t34\t30\t28\n45\t43\t36\t32\t26\t24\n40\t41"
)


def _paste(person: Visitor, text: str) -> None:
    """Paste into the first can, as from a spreadsheet."""
    person.page.evaluate(
        """text => {
          const box = document.querySelector('[data-cans] input'), data = new DataTransfer();
          data.setData('text', text);
          const how = {clipboardData: data, bubbles: true, cancelable: true};
          box.dispatchEvent(new ClipboardEvent('paste', how));
        }""",
        text,
    )


def test_a_block_of_cans_is_pasted_checked_and_saved(town: None, live_server: Any, chromium: Any) -> None:
    hana = Visitor(chromium, live_server.url, "hana", (390, 844))
    hana.open("/sites/NM-01/A/1/audit/")

    _paste(hana, CANS)
    assert "26 cans" in hana.page.inner_text("[data-cans-said]")
    hana.page.fill("#f-run_min", "10")
    hana.page.fill("#f-opening", "105")
    with hana.page.expect_navigation():
        hana.page.click("button[value=check]")
    hana.page.wait_for_load_state("networkidle")
    assert ZoneAudit.objects.count() == 0
    assert hana.violations() == []
    assert hana.page.evaluate("document.documentElement.scrollWidth") <= 390
    with hana.page.expect_navigation():
        hana.page.click("button[value=save]")
    hana.page.wait_for_load_state("networkidle")

    assert len(ZoneAudit.objects.get().catch_ml) == 26
    assert "is kept" in hana.page.inner_text("main")
    assert (hana.complaints, hana.outside) == ([], [])


def test_an_answer_of_the_survey_is_saved_when_it_is_left_and_waits_without_network(
    town: None, live_server: Any, chromium: Any
) -> None:
    stop = Stop.objects.filter(visit__isnull=False).select_related("route__technician__user").first()
    assert stop is not None
    assert stop.visit is not None
    site = stop.visit.site
    login = stop.route.technician.user.username if stop.route.technician.user else "ines"
    set_passwords(passwords={login: PASSWORD})
    person = Visitor(chromium, live_server.url, login, (390, 844))
    person.open(f"/sites/{site.code}/survey/")
    assert person.violations() == []
    assert person.page.evaluate("document.documentElement.scrollWidth") <= 390

    person.page.fill("textarea[name=access_notes]", "Blue gate, dog")
    with person.page.expect_response("**/survey/answer/"):
        person.page.keyboard.press("Tab")
    assert Site.objects.get(pk=site.pk).access_notes == "Blue gate, dog"

    person.context.set_offline(True)
    person.page.fill("input[name=phone]", "555 0199")
    person.page.keyboard.press("Tab")
    person.page.wait_for_selector("text=kept on this phone")
    # The page or the phone's background worker sends it, whichever wakes first: only the empty queue tells.
    person.context.set_offline(False)
    until(person.page, NOTHING_WAITS)

    assert Site.objects.get(pk=site.pk).phone == "555 0199"
    assert person.outside == []


def test_advised_places_and_their_ways_are_drawn(town: None, live_server: Any, chromium: Any) -> None:
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    hana.open("/sites/NM-01/A/siting/")

    assert hana.page.locator(".dev-advice").count() >= 1
    assert hana.page.locator("path.wire.new").count() >= 1
    assert (hana.complaints, hana.outside) == ([], [])
