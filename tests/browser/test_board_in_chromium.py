"""The board under the mouse: a stop dragged onto another lane, its cost told first, the move undone."""

from __future__ import annotations

from typing import Any

from fleet.models import Route, Stop, Technician
from fleet.services.on_site.stop_states import set_stop_state
from fleet.services.plan.routes_by_hand import CannotMove, move_stop
from tests.browser.test_pages_in_chromium import NOW, TODAY, Visitor, chromium, pytestmark, town

__all__ = ["chromium", "pytestmark", "town"]


def test_a_stop_is_dragged_to_another_lane_after_its_cost_is_told(
    town: None, live_server: Any, chromium: Any
) -> None:
    stop, technician, x = feasible()
    before = stop.route.technician_id
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    hana.open("/week/")
    page = hana.page

    page.drag_and_drop(
        f"a.stop[data-stop='{stop.pk}']",
        f".lane[data-technician='{technician}']",
        target_position={"x": x, "y": 20},
    )
    page.wait_for_selector("#drop-note [data-do]:not([hidden])")

    assert "driving" in page.locator("#drop-note [data-words]").inner_text()
    assert Stop.objects.get(visit=stop.visit_id).route.technician_id == before  # only asked so far
    with page.expect_navigation():
        page.click("#drop-note [data-do]")
    page.wait_for_load_state("networkidle")

    assert "is moved" in page.locator("body").inner_text()
    assert Stop.objects.get(visit=stop.visit_id).route.technician_id == technician
    with page.expect_navigation():
        page.click("text=Undo last change")
    page.wait_for_load_state("networkidle")
    assert Stop.objects.get(visit=stop.visit_id).route.technician_id == before
    assert hana.complaints == []
    assert hana.violations() == []


def feasible() -> tuple[Stop, int, int]:
    """A stop of the wide day, a person who can take it first or last, and where to let it fall [px]."""
    stops = Stop.objects.filter(route__day=TODAY, visit__isnull=False).select_related("route")
    routes = {route.technician_id: route for route in Route.objects.filter(day=TODAY)}
    for stop in stops.order_by("pk"):
        for technician, route in routes.items():
            if technician == stop.route.technician_id:
                continue
            last = route.stops.filter(visit__isnull=False).count() + 1
            for position, x in ((1, 3), (last, 430)):
                try:
                    move_stop(
                        visit_id=stop.visit_id or 0,
                        technician_id=technician,
                        day=TODAY,
                        now=NOW,
                        position=position,
                        try_only=True,
                    )
                except CannotMove:
                    continue
                return stop, technician, x
    raise AssertionError("no stop of the day can be moved")


def _that_fits(person: Technician) -> Stop:
    """A stop of the wide day that somebody without any can take."""
    for stop in Stop.objects.filter(visit__isnull=False, route__day=TODAY).order_by("pk"):
        try:
            move_stop(visit_id=stop.visit_id or 0, technician_id=person.pk, day=TODAY, now=NOW, try_only=True)
        except CannotMove:
            continue
        return stop
    raise AssertionError("no stop of the day can be moved")


def test_the_visits_pages_hold_the_guidelines_at_the_desk_and_on_the_phone(
    town: None, live_server: Any, chromium: Any
) -> None:
    problems = {}
    for size in ((1440, 900), (390, 844)):
        hana = Visitor(chromium, live_server.url, "hana", size)
        hana.open("/visits/?show=planned")
        card = str(hana.page.locator(".vlist tbody a.row").first.get_attribute("href"))
        for path in ("/visits/?show=planned", "/visits/new/", card):
            hana.open(path)
            problems.update({f"{path} {size}": found for found in [hana.violations()] if found})
            assert hana.page.evaluate("document.documentElement.scrollWidth") <= size[0], (path, size)
        assert hana.complaints == []

    assert problems == {}


def test_the_board_follows_the_day_without_a_reload(town: None, live_server: Any, chromium: Any) -> None:
    stops = list(Stop.objects.filter(visit__isnull=False, route__day=TODAY).order_by("pk")[:2])
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    hana.open("/week/")
    box = hana.page.locator(f"a.stop[data-stop='{stops[0].pk}']")
    assert "done" not in (box.get_attribute("class") or "")

    set_stop_state(stop_id=stops[0].pk, state="finished", at=NOW)
    set_stop_state(stop_id=stops[1].pk, state="not_possible", at=NOW, reason="the gate is locked")
    hana.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    hana.page.wait_for_selector(f"a.stop.done[data-stop='{stops[0].pk}']")

    said = hana.page.text_content("[data-live-said]") or ""
    assert "not possible: the gate is locked" in said
    assert "done" in said
    assert hana.violations() == []
    assert hana.complaints == []


def test_a_stop_is_taken_along_to_people_of_another_page(town: None, live_server: Any, chromium: Any) -> None:
    """Twenty people are two pages: turned by keys, and a stop is carried from one to the other."""
    pattern = Technician.objects.order_by("code").first()
    assert pattern is not None
    for number in range(20 - Technician.objects.count()):
        pattern.pk, pattern.user, pattern.code = None, None, f"ZZ-{number:02}"
        pattern.name = f"Extra {number}"
        pattern.save()
    free = Technician.objects.order_by("code").last()
    assert free is not None
    stop = _that_fits(free)
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    hana.open("/week/")
    page = hana.page
    assert page.locator(".board .who-row").count() == 10

    page.keyboard.press("Shift+ArrowRight")
    page.wait_for_url("**page=2*")
    assert "Extra" in page.locator(".board .who-row").last.inner_text()
    page.keyboard.press("Shift+ArrowLeft")
    page.wait_for_url("**page=1*")
    page.wait_for_selector(f"a.stop[data-stop='{stop.pk}']")
    page.drag_and_drop(f"a.stop[data-stop='{stop.pk}']", "[data-people] [data-page='2']")
    page.wait_for_selector("[data-carried]")
    assert hana.violations() == []
    page.locator(f".lane[data-technician='{free.pk}'] .put").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#drop-note [data-do]:not([hidden])")
    assert Stop.objects.get(visit=stop.visit_id).route.technician_id == stop.route.technician_id
    with page.expect_navigation():
        page.keyboard.press("Enter")  # the button that does it has the focus
    page.wait_for_load_state("networkidle")

    assert "is moved" in page.locator("body").inner_text()
    assert Stop.objects.get(visit=stop.visit_id).route.technician_id == free.pk
    assert page.locator(f".lane[data-technician='{free.pk}'] a.stop").count() == 1
    with page.expect_navigation():
        page.click("text=Undo last change")
    page.wait_for_load_state("networkidle")
    assert Stop.objects.get(visit=stop.visit_id).route.technician_id == stop.route.technician_id
    assert page.locator("[data-page='2'][aria-current]").count() == 1
    assert hana.complaints == []
