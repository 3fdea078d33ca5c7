"""The dispatcher tries a price before it is kept, and a quote's approval lets its visit be planned."""

from __future__ import annotations

import shutil
from typing import Any

import pytest

from fleet.models import Company, Quote, User, VisitNeed
from fleet.selectors.visits.settings_page import settings_in_force
from tests.factories import build_need, build_site

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
PASSWORD = "garden-water-42"
FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


def test_a_price_is_tried_then_kept_and_an_approval_frees_a_visit(
    live_server: Any, transactional_db: None
) -> None:
    from playwright.sync_api import sync_playwright

    Company.objects.create(pk=1, name="Marlow & Finch Garden Water", currency="USD")
    User.objects.create_user("hana", password=PASSWORD, role=User.Role.DISPATCHER)
    need = build_need(build_site(), kind="repair", reason="second controller")
    complaints: list[str] = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        page = browser.new_page()
        page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
        page.goto(f"{live_server.url}/prices/")
        for key in ("hana", "Tab", PASSWORD, "Enter"):
            page.keyboard.press(key) if key in ("Tab", "Enter") else page.keyboard.type(key)
        page.wait_for_selector("#v-cost_per_km")
        page.fill("#v-cost_per_km", "0.9")
        page.click("button[value=try]")
        page.wait_for_selector(".preview")
        tried = settings_in_force().cost_per_km
        page.click("button[value=save]")
        page.wait_for_url("**/prices/")
        kept = settings_in_force().cost_per_km
        page.get_by_role("button", name="Put back").click()
        page.wait_for_selector("text=Put back. Needs are valued anew")
        back = settings_in_force().cost_per_km

        page.goto(f"{live_server.url}/visits/{need.pk}/")
        page.get_by_role("link", name="Make a quote").click()
        page.get_by_role("button", name="Start the draft").click()
        page.wait_for_selector("#q-title")
        page.fill("[name=words-0]", "Controller")
        page.fill("[name=price-0]", "240")
        page.get_by_role("button", name="Keep the draft").click()
        page.get_by_role("button", name="Note it as sent").click()
        page.wait_for_selector("#s-how")
        waits = VisitNeed.objects.get().blocked_by
        page.fill("#s-how", "on the phone")
        page.get_by_role("button", name="Approved").click()
        page.wait_for_selector("text=Its visit can be planned now")
        browser.close()

    assert (tried, kept, back) == (0.45, 0.9, 0.45)
    assert "waits for the customer" in waits
    assert (Quote.objects.get().state, VisitNeed.objects.get().blocked_by) == ("approved", "")
    assert complaints == []
