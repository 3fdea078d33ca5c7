"""What waits on a phone goes out over a bad line: nothing is lost, nothing comes twice, all is told."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest

from fleet.models import Finding, Photo, Stop, Submission
from fleet.selectors.on_site.photo_files import photo_folder, photo_path
from tests.browser.phone_hand import Hold, Phone, cut_once, login_of, picture, stops_of_today
from tests.browser.test_pages_in_chromium import CHROMIUM, chromium, town

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]

__all__ = ["chromium", "town"]

FINDINGS = 30


def test_thirty_findings_with_photos_come_once_byte_for_byte(
    town: None, live_server: Any, chromium: Any, settings: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    for number in range(FINDINGS):
        phone.take_photo(picture(number), f"photo {number}")
        phone.record(f"finding {number}")
        phone.page.wait_for_selector("[data-photo-list]:empty", state="attached")
        phone.wait_for_count(2 * (number + 1))
    sent = phone.page.evaluate(
        """async () => {
          const found = [];
          for (const item of await self.rootroundStore.items()) if (item.kind === "photo") {
            const hash = await crypto.subtle.digest("SHA-256", await self.rootroundStore.file(item));
            found.push([...new Uint8Array(hash)].map((one) => one.toString(16).padStart(2, "0")).join(""));
          }
          return found;
        }"""
    )
    breaks = Counter[str]()

    def every_third(_method: str, path: str) -> str:
        if path not in ("/day/send/", "/day/photo/"):
            return ""
        breaks[path] += 1
        return {0: "after", 1: "before"}.get(breaks[path] % 6, "")

    phone.line.cut = every_third
    phone.mend()
    for _ in range(60):
        phone.send()
        if phone.waits() == 0:
            break
    phone.wait_for_count(0)

    assert len(set(sent)) == FINDINGS
    assert sorted(Photo.objects.values_list("received_sha256", flat=True)) == sorted(sent)
    assert Finding.objects.count() == FINDINGS
    assert {photo.finding.note for photo in Photo.objects.all() if photo.finding} == {
        f"finding {number}" for number in range(FINDINGS)
    }
    for photo in Photo.objects.select_related("finding"):
        assert photo.finding is not None
        assert photo.caption.split()[1] == photo.finding.note.split()[1]
        assert photo_path(folder=photo_folder(data_dir=settings.DATA_DIR), sha256=photo.sha256).is_file()
    assert breaks["/day/send/"] > FINDINGS


def test_a_state_that_was_lost_on_the_way_back_is_not_done_twice(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.line.cut = cut_once("/day/send/", "after")

    phone.push("on_the_way")
    phone.eventually(lambda: Stop.objects.get(pk=stops[0].pk).state == "on_the_way")
    # Whether the phone has asked again by now or not: it knows where it stands, and goes on.
    phone.push("at_the_gate")
    phone.eventually(lambda: Stop.objects.get(pk=stops[0].pk).state == "at_the_gate")
    phone.wait_until_empty()

    assert ("POST", "/day/send/", "after") in phone.line.log
    assert sum(one[:2] == ("POST", "/day/send/") for one in phone.line.log) >= 3
    assert Stop.objects.get(pk=stops[0].pk).state == "at_the_gate"
    assert Submission.objects.count() == 2


def test_what_another_sender_sends_is_told_where_it_was_written(
    town: None, live_server: Any, chromium: Any
) -> None:
    """The first question to the server hangs while a finding and a state are written; its send takes both."""
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.line.cut = hold = Hold("/day/me.json")
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.eventually(hold.asked.is_set)

    phone.record("Written while the line hung")
    phone.page.wait_for_selector("text=is kept on this phone")
    phone.push("on_the_way")
    phone.wait_for_count(2)
    hold.free.set()
    phone.page.wait_for_selector("text=The finding is recorded")
    phone.wait_until_empty()
    phone.push("at_the_gate")
    phone.eventually(lambda: Stop.objects.get(pk=stops[0].pk).state == "at_the_gate")
    phone.wait_until_empty()

    assert Finding.objects.get().note == "Written while the line hung"
    assert Stop.objects.get(pk=stops[0].pk).state == "at_the_gate"
    assert Submission.objects.count() == 3
    assert phone.complaints == []


def test_a_finding_written_without_network_is_told_as_recorded_when_it_has_gone_out(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.record("In the dead corner")
    phone.page.wait_for_selector("text=is kept on this phone")
    phone.push("on_the_way")
    phone.wait_for_count(2)
    phone.mend()
    phone.send()

    phone.page.wait_for_selector("text=The finding is recorded")
    # The page of the phone's own copy knows what was sent since it was made.
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.page.wait_for_selector("button[value=at_the_gate]:visible")
    assert "not sent yet" not in phone.page.inner_text(".ph-top")
