"""The search-and-act box with a keyboard and nothing else."""

from __future__ import annotations

import shutil
from typing import Any

import pytest

from fleet.models import Company, User
from tests.factories import build_site

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
PASSWORD = "garden-water-42"
FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


def test_gardens_and_actions_are_reached_by_keys_alone(live_server: Any, transactional_db: None) -> None:
    from playwright.sync_api import sync_playwright

    Company.objects.create(pk=1, name="Marlow & Finch Garden Water")
    User.objects.create_user("hana", password=PASSWORD, role=User.Role.DISPATCHER)
    build_site("CB-14", name="Okafor garden")
    build_site("CB-15", name="Okafor annexe")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        page = browser.new_page()
        page.goto(f"{live_server.url}/words/")
        for key in ("hana", "Tab", PASSWORD, "Enter"):
            page.keyboard.press(key) if key in ("Tab", "Enter") else page.keyboard.type(key)
        page.wait_for_selector("#q")
        page.keyboard.press("/")
        page.keyboard.type("okafor")
        page.keyboard.press("Enter")
        page.wait_for_url("**/search/**")
        page.wait_for_function("document.activeElement.matches('[data-hit]')")
        first = page.evaluate("document.activeElement.textContent.trim().slice(-5)")
        page.keyboard.press("ArrowDown")
        second = page.evaluate("document.activeElement.textContent.trim().slice(-5)")
        page.keyboard.press("ArrowUp")
        page.keyboard.press("ArrowUp")
        box = page.evaluate("document.activeElement.id")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
        page.wait_for_url("**/sites/CB-15/")
        page.keyboard.press("/")
        page.keyboard.type("bring")
        page.keyboard.press("Enter")
        page.wait_for_function("document.activeElement.matches('[data-hit]')")
        page.keyboard.press("Enter")
        page.wait_for_url("**/bring/")
        page.keyboard.press("?")
        page.wait_for_url("**/keys/")
        page.keyboard.press("/")
        page.keyboard.type("okaf", delay=20)
        page.wait_for_selector("#suggest [role=option]")
        suggested = page.locator("#suggest [role=option]").all_inner_texts()
        page.keyboard.press("ArrowDown")
        page.keyboard.press("ArrowDown")
        chosen = page.evaluate(
            "document.getElementById(document.activeElement.getAttribute('aria-activedescendant')).dataset.url"
        )
        page.keyboard.press("Escape")
        is_shut = page.locator("#suggest").is_hidden()
        page.keyboard.type("or", delay=20)
        page.wait_for_selector("#suggest [role=option]")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
        page.wait_for_url("**/sites/CB-14/")
        browser.close()

    assert [line.split()[0] for line in suggested] == ["CB-14", "CB-15"]
    assert (chosen, is_shut) == ("/sites/CB-15/", True)

    assert (first, second, box) == ("CB-14", "CB-15", "q")
