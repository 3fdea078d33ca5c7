"""A whole day on a line that breaks at the worst moments; and one stop worked by keyboard alone."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest

from fleet.models import Finding, Photo, Stop, Submission
from tests.browser.phone_hand import Phone, login_of, picture, stops_of_today
from tests.browser.test_pages_in_chromium import CHROMIUM, chromium, town

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium", "town"]
# Whether the thing that has the focus lies, at its middle, under something else (WCAG 2.2, 2.4.11).
COVERED = """() => {
  const one = document.activeElement, box = one.getBoundingClientRect();
  if (one === document.body || !box.width || one.matches('.vh, .skip')) return '';
  const top = document.elementFromPoint(box.left + box.width / 2, box.top + Math.min(box.height / 2, 20));
  const label = one.labels && one.labels[0];
  return top && (one.contains(top) || top.contains(one) || (label && label.contains(top))) ? '' : one.outerHTML.slice(0, 90);
}"""  # noqa: E501


def test_a_whole_day_on_a_line_that_breaks_again_and_again_arrives_once(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()[:3]
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    asked = Counter[str]()

    def breaks(method: str, path: str) -> str:
        """Of three things sent one is lost, of another the answer; pages fail, too."""
        asked[path if method == "POST" else "page"] += 1
        if path in ("/day/send/", "/day/photo/"):
            return ("after", "before", "")[asked[path] % 3]
        is_page = method == "GET" and path.startswith("/day/") and path.endswith("/")
        return "before" if is_page and asked["page"] % 4 == 0 else ""

    phone.line.cut = breaks
    for number, stop in enumerate(stops):
        phone.open(f"/day/stops/{stop.pk}/")
        phone.push("on_the_way")
        phone.push("at_the_gate")
        phone.take_photo(picture(number), f"photo {number}")
        phone.record(f"finding {number}")
        phone.until("document.querySelector('#finding textarea[name=note]').value === ''")
        phone.push("finished")
        phone.page.wait_for_url("**/day/")
    for _ in range(40):
        phone.send()
        if phone.waits() == 0:
            break
    phone.wait_until_empty()

    assert {what for _, path, what in phone.line.log if path == "/day/send/"} == {"", "before", "after"}
    assert Submission.objects.filter(outcome="taken").count() == Submission.objects.count() == 4 * len(stops)
    assert sorted(Finding.objects.values_list("note", flat=True)) == [f"finding {n}" for n in range(3)]
    assert {(one.finding.note[-1], one.caption[-1]) for one in Photo.objects.all() if one.finding} == {
        (f"{n}", f"{n}") for n in range(3)
    }
    assert Photo.objects.count() == 3
    states = Stop.objects.filter(pk__in=[stop.pk for stop in stops]).values_list("state", flat=True)
    assert set(states) == {"finished"}
    assert phone.complaints == []


def test_a_stop_is_worked_with_the_keyboard_alone_and_the_focus_is_always_in_sight(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.open(f"/day/stops/{stops[0].pk}/")
    covered, seen, page = [], set(), phone.page
    for _ in range(400):
        page.keyboard.press("Tab")
        found = page.evaluate(COVERED)
        if found:
            covered.append(found)
        name = page.evaluate("document.activeElement.name || document.activeElement.textContent.trim()")
        seen.add(name)
        if name == "note":
            page.keyboard.type("By keyboard")
        if name == "Record the finding":
            page.keyboard.press("Enter")
            break
    page.wait_for_selector("text=The finding is recorded")
    page.focus("button[value=on_the_way]")
    page.keyboard.press("Enter")
    phone.eventually(lambda: Stop.objects.get(pk=stops[0].pk).state == "on_the_way")

    assert covered == []
    assert {"note", "need", "parts_used", "service_min"} <= seen
    assert Finding.objects.get().note == "By keyboard"
