"""The manager enters a contract by keyboard, finds it in the list, renews it, and puts a change back."""

from __future__ import annotations

import shutil
from typing import Any

import pytest

from fleet.models import Company, ServiceContract, User
from tests.factories import build_site

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
PASSWORD = "garden-water-42"
FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


def test_a_contract_is_entered_renewed_and_put_back(live_server: Any, transactional_db: None) -> None:
    from playwright.sync_api import sync_playwright

    Company.objects.create(pk=1, name="Marlow & Finch Garden Water", currency="USD")
    User.objects.create_user("ruth", password=PASSWORD, role=User.Role.MANAGER)
    site = build_site()
    complaints: list[str] = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        page = browser.new_page()
        page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
        page.goto(f"{live_server.url}/contracts/")
        for key in ("ruth", "Tab", PASSWORD, "Enter"):
            page.keyboard.press(key) if key in ("Tab", "Enter") else page.keyboard.type(key)
        page.wait_for_selector("text=No contract runs")
        page.get_by_role("link", name="Enter a contract").click()
        page.fill("#c-site", site.code)
        page.keyboard.press("Enter")
        page.wait_for_selector("#c-price")
        page.focus("#c-price")
        page.keyboard.type("340")
        page.fill("[name=visits_start_up]", "1")
        page.fill("[name=visits_sensor_check]", "2")
        page.focus("[name=visits_sensor_check]")
        page.keyboard.press("Enter")
        page.wait_for_selector("text=The contract is entered.")
        first = ServiceContract.objects.get()

        page.fill("[name=visits_sensor_check]", "3")
        page.get_by_role("button", name="Keep").click()
        page.wait_for_selector("text=Mid-season checks 0 of 3")
        page.get_by_role("button", name="Put back").click()
        page.wait_for_selector("text=Mid-season checks 0 of 2")

        page.fill("#r-price", "360")
        page.get_by_role("button", name="Renew from").click()
        page.wait_for_selector("text=this is the contract that follows")
        page.set_viewport_size({"width": 390, "height": 844})
        page.goto(f"{live_server.url}/contracts/?q={site.code}")
        wide = page.evaluate("document.documentElement.scrollWidth")
        listed = page.locator(".contracts tbody tr").count()
        browser.close()

    following = ServiceContract.objects.exclude(pk=first.pk).get()
    assert (following.starts_on, following.price) == (first.ends_on, 360.0)
    assert (listed, wide) == (2, 390)
    assert complaints == []
