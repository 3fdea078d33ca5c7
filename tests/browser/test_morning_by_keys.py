"""A dispatcher's morning with a keyboard and nothing else: sign in, see, decide, move, publish, take back."""

from __future__ import annotations

from typing import Any

import pytest

from fleet.models import Route, Stop
from sites.models import Recommendation
from tests.browser.test_pages_in_chromium import CHROMIUM, PASSWORD, chromium, town

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium", "town"]
MOST_TABS = 260


class Keys:
    """Somebody who has keys and no mouse."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def type(self, *keys: str) -> None:
        for key in keys:
            if key in ("Enter", "Tab", "ArrowDown", "/", "?"):
                self.page.keyboard.press(key)
            else:
                self.page.keyboard.type(key, delay=10)

    def tab_to(self, selector: str) -> None:
        """Press Tab until the focus is there; it must show where it is on the way."""
        for _ in range(MOST_TABS):
            self.page.keyboard.press("Tab")
            if self.page.evaluate("(wanted) => document.activeElement.matches(wanted)", selector):
                outline = self.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
                assert outline != "none", selector
                return
        raise AssertionError(f"{selector} was not reached by {MOST_TABS} tabs")

    def go(self, words: str, address: str) -> None:
        """By the box on top: the first suggestion."""
        self.type("/", words)
        self.page.wait_for_function(
            "(words) => document.querySelector('#suggest [role=option]')"
            "?.textContent.toLowerCase().startsWith(words)",
            arg=words,
        )
        self.type("ArrowDown", "Enter")
        self.page.wait_for_url(address)
        self.page.wait_for_load_state("networkidle")


def test_a_dispatchers_morning_by_keys_alone(town: None, live_server: Any, chromium: Any) -> None:
    page = chromium.new_page()
    page.set_default_timeout(90_000)
    keys = Keys(page)
    page.goto(f"{live_server.url}/")
    keys.type("hana", "Tab", PASSWORD, "Enter")
    page.wait_for_url("**/week/")

    # Which sensors are flagged, and why?
    keys.go("sensor watch", "**/watch/")
    keys.tab_to("table a.row")
    keys.type("Enter")
    page.wait_for_url("**/watch/*/*/")

    # A program of the round is accepted.
    keys.go("weekly round", "**/round/")
    keys.tab_to("td form button[name=status][value=accepted]")
    keys.type("Enter")
    page.wait_for_selector("text=is accepted")
    assert Recommendation.objects.filter(status="accepted").exists()

    # A stop is looked at, its move tried, and the week published and taken back.
    keys.go("this week", "**/week/")
    keys.tab_to("a[href^='/week/stops/']")
    keys.type("Enter")
    page.wait_for_url("**/week/stops/*/")
    stops = Stop.objects.count()
    keys.tab_to("button[value=try]")
    keys.type("Enter")
    page.wait_for_load_state("networkidle")
    assert Stop.objects.count() == stops
    keys.go("this week", "**/week/")
    keys.tab_to("form[action$='/week/publish/'] button:not([value=withdraw])")
    keys.type("Enter")
    page.wait_for_selector("text=routes are published")
    assert Route.objects.filter(state="published").exists()
    keys.tab_to("button[value=withdraw]")
    keys.type("Enter")
    page.wait_for_selector("text=drafts again")
    assert not Route.objects.filter(state="published").exists()
