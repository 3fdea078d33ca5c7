"""A dispatcher's morning with a keyboard and nothing else: sign in, see, decide, move, publish, take back."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db.models import Count

from fleet.models import CustomerCall, Route, Stop, Visit
from fleet.services.plan.told_windows import tell_window
from sites.models import Recommendation
from tests.browser.test_board_in_chromium import feasible
from tests.browser.test_pages_in_chromium import CHROMIUM, NOW, PASSWORD, TODAY, chromium, town

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
            if key in ("Enter", "Tab", "ArrowDown", "ArrowUp", "/", "?"):
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

    def choose(self, selector: str, value: str) -> None:
        """Reach a list of choices by tabs and an option of it by arrows."""
        if not self.page.evaluate("(wanted) => document.activeElement.matches(wanted)", selector):
            self.tab_to(selector)
        steps = self.page.evaluate(
            "([list, value]) => { const at = document.querySelector(list); "
            "return [...at.options].findIndex((one) => one.value === value) - at.selectedIndex }",
            [selector, value],
        )
        self.type(*(["ArrowDown"] * steps if steps > 0 else ["ArrowUp"] * -steps))
        assert self.page.evaluate("document.activeElement.value") == value

    def enter(self) -> None:
        """Press what has the focus, and wait for the page that it leads to."""
        with self.page.expect_navigation():
            self.type("Enter")
        self.page.wait_for_load_state("networkidle")

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


def signed_in(chromium: Any, address: str) -> Keys:
    """The dispatcher at her week, signed in by keys."""
    page = chromium.new_page()
    page.set_default_timeout(90_000)
    keys = Keys(page)
    page.goto(f"{address}/")
    keys.type("hana", "Tab", PASSWORD, "Enter")
    page.wait_for_url("**/week/")
    page.wait_for_load_state("networkidle")
    return keys


def test_a_stop_is_moved_locked_and_put_back_by_keys(town: None, live_server: Any, chromium: Any) -> None:
    stop, technician, _ = feasible()
    before, visit_id = stop.route.technician_id, stop.visit_id
    keys = signed_in(chromium, live_server.url)

    keys.tab_to(f"a.stop[data-stop='{stop.pk}']")
    keys.type("Enter")
    keys.page.wait_for_url("**/week/stops/*/")
    keys.choose("#technician", str(technician))
    keys.tab_to("button[value=move]")
    keys.type("Enter")
    keys.page.wait_for_selector("text=is moved")
    moved = Stop.objects.get(visit=visit_id)
    assert moved.route.technician_id == technician

    keys.tab_to("a[data-stop='%d'], a[href$='/week/stops/%d/']" % (moved.pk, moved.pk))  # noqa: UP031 (braces)
    keys.type("Enter")
    keys.page.wait_for_url("**/week/stops/*/")
    keys.tab_to("form[action$='/lock/'] button")
    keys.enter()
    assert Visit.objects.get(pk=visit_id or 0).is_locked

    keys.go("this week", "**/week/")
    keys.tab_to("form[action$='/week/undo/'] button")
    keys.enter()
    assert Stop.objects.get(visit=visit_id).route.technician_id == before


def test_somebody_is_ill_and_the_customers_who_knew_are_called_by_keys(
    town: None, live_server: Any, chromium: Any
) -> None:
    route = Route.objects.filter(day=TODAY).annotate(n=Count("stops__visit")).order_by("-n", "pk")[0]
    for stop in route.stops.filter(visit__isnull=False):
        tell_window(
            visit_id=stop.visit_id or 0, window_from=stop.arrive - timedelta(minutes=30),
            window_to=stop.arrive + timedelta(minutes=90), by="hana", now=NOW, day=TODAY,
        )  # fmt: skip
    keys = signed_in(chromium, live_server.url)

    keys.tab_to(".breakbar a[href*='kind=ill']")
    keys.type("Enter")
    keys.page.wait_for_selector(".breakform")
    keys.choose("#technician", str(route.technician_id))
    keys.tab_to(".breakform .btn.main")
    keys.type("Enter")
    keys.page.wait_for_selector("text=Accept this plan")
    assert "Accept this plan" in keys.page.evaluate("document.activeElement.textContent")
    keys.type("Enter")
    keys.page.wait_for_selector("text=The new plan is in force")

    keys.go("calls", "**/week/calls/")
    keys.tab_to(".call input[name=note]")
    keys.type("her husband")
    keys.tab_to(".call button[value=agreed]")
    keys.enter()
    call = CustomerCall.objects.get(outcome="agreed")
    assert (call.note, call.by) == ("her husband", "hana")


def test_a_dispatchers_morning_by_keys_alone(town: None, live_server: Any, chromium: Any) -> None:
    keys = signed_in(chromium, live_server.url)
    page = keys.page

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
