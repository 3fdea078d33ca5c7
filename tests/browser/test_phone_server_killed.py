"""The server itself is killed while a phone sends, and all day long: each thing stands once in the end."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser.phone_hand import Phone, cut_once, picture
from tests.browser.test_pages_in_chromium import CHROMIUM, PASSWORD, chromium
from tests.pipeline.installation import Installation, installation

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium"]
FOUND = """
import json
from fleet.models import Finding, Photo, Stop, Submission
print(json.dumps({
    "notes": sorted(Finding.objects.values_list("note", flat=True)),
    "photos": sorted(Photo.objects.values_list("received_sha256", flat=True)),
    "of": sorted(f"{one.finding.note} {one.caption}" for one in Photo.objects.select_related("finding") if one.finding),
    "taken": Submission.objects.filter(outcome="taken").count(),
    "all": Submission.objects.count(),
    "finished": Stop.objects.filter(state="finished").count(),
}))
"""  # noqa: E501
PREPARE = f"""
from datetime import UTC, date, datetime, timedelta
from fleet.models import Company, Route, Stop, Technician, User
from tests.factories import build_need, build_site, build_technician, build_visit
Company.objects.create(pk=1, name="Marlow & Finch Garden Water", timezone="UTC", demo_today=date(2026, 6, 15))
user = User.objects.create_user("ines", password="{PASSWORD}", role="technician")
now = datetime(2026, 6, 15, 9, tzinfo=UTC)
person = build_technician("T1", user=user)
hours = dict(start_at=now, end_at=now, planned_at=now)
route = Route.objects.create(technician=person, day=date(2026, 6, 15), **hours)
for number in range(STOPS):
    site = build_site(f"CB-{{14 + number}}")
    visit = build_visit(site)
    visit.needs.add(build_need(site))
    at = now + timedelta(hours=number)
    print(Stop.objects.create(route=route, order=number + 1, visit=visit, arrive=at, depart=at).pk)
"""


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Installation]:
    """An installation with its own database, to be served and killed."""
    with installation(tmp_path) as one:
        one.manage("migrate", "--verbosity", "0")
        yield one


def stops_made(here: Installation, count: int) -> list[int]:
    """Stops of one route."""
    return [int(line) for line in here.shell(PREPARE.replace("STOPS", str(count))).split()]


def found(here: Installation) -> dict[str, Any]:
    """What the database holds in the end."""
    told: dict[str, Any] = json.loads(here.shell(FOUND).splitlines()[-1])
    return told


def test_a_killed_server_takes_each_thing_once(here: Installation, chromium: Any) -> None:
    (stop,) = stops_made(here, 1)
    here.serve()
    phone = Phone(chromium, here, "ines")
    phone.start_shift()
    phone.open(f"/day/stops/{stop}/")
    here.kill_server()

    for number in range(6):
        phone.record(f"finding {number}")
        phone.page.wait_for_selector("text=is kept on this phone")
        phone.wait_for_count(number + 1)
    phone.open("/day/")
    assert "CB-14" in phone.page.inner_text("main")
    here.serve()
    # Killed again when a few of the six have gone out.
    sent = 0

    def kill_at_the_third(_method: str, path: str) -> str:
        nonlocal sent
        sent += path == "/day/send/"
        if sent == 3:
            sent += 1
            here.kill_server()
        return ""

    phone.line.cut = kill_at_the_third
    phone.send()
    assert phone.waits() > 0
    phone.line.cut = lambda _method, _path: ""
    here.serve()
    phone.send()
    phone.wait_for_count(0)

    told = found(here)
    assert told["notes"] == [f"finding {number}" for number in range(6)]
    assert told["all"] == 6


SENT_HASHES = """async () => {
  const found = [];
  for (const item of await self.rootroundStore.items()) if (item.kind === "photo") {
    const hash = await crypto.subtle.digest("SHA-256", await self.rootroundStore.file(item));
    found.push([...new Uint8Array(hash)].map((one) => one.toString(16).padStart(2, "0")).join(""));
  }
  return found.sort();
}"""


def test_a_whole_day_of_a_server_that_is_killed_again_and_again_arrives_once(
    here: Installation, chromium: Any
) -> None:
    """Killed before a stop, in the middle of a state and of a photo, and while the whole day goes out."""
    stops = stops_made(here, 3)
    here.serve()
    phone = Phone(chromium, here, "ines")
    phone.start_shift()
    phone.line.strike = here.kill_server
    hashes: set[str] = set()
    for number, stop in enumerate(stops):
        if number == 1:
            here.kill_server()  # the whole second stop stands without a server
        phone.open(f"/day/stops/{stop}/")
        phone.push("on_the_way")
        if number == 2:
            here.serve()
            phone.line.cut = cut_once("/day/send/", "during")
        phone.push("at_the_gate")
        phone.take_photo(picture(number), f"photo {number}")
        hashes |= set(phone.page.evaluate(SENT_HASHES))
        phone.record(f"finding {number}")
        phone.until("document.querySelector('#finding textarea[name=note]').value === ''")
        phone.push("finished")
        phone.page.wait_for_url("**/day/")
        phone.until(f"document.querySelectorAll('[data-stop-row].done').length === {number + 1}")
    for path, what in (("/day/send/", "before"), ("/day/photo/", "during"), ("/day/send/", "during")):
        here.kill_server()
        here.serve()
        phone.line.cut = cut_once(path, what)
        phone.send()
    here.kill_server()
    here.serve()
    phone.line.cut = lambda _method, _path: ""
    for _ in range(20):
        phone.send()
        if phone.waits() == 0:
            break
    phone.wait_until_empty()

    struck = {(path, what) for _, path, what in phone.line.log if what}
    assert {("/day/send/", "during"), ("/day/photo/", "during")} <= struck
    told = found(here)
    assert told["notes"] == [f"finding {number}" for number in range(3)]
    assert told["of"] == [f"finding {number} photo {number}" for number in range(3)]
    assert hashes <= set(told["photos"])
    assert len(told["photos"]) == 3
    assert told["taken"] == told["all"] == 4 * len(stops)
    assert told["finished"] == len(stops)
    assert phone.complaints == []
