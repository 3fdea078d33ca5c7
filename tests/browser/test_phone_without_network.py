"""A technician's day with the network cut at the worst moments: nothing is lost, nothing comes twice."""

from __future__ import annotations

from typing import Any

import pytest

from fleet.models import Finding, Stop, Submission
from tests.browser.phone_hand import Phone, cut_once, login_of, stops_of_today
from tests.browser.test_pages_in_chromium import CHROMIUM, chromium, town

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium", "town"]
# Bytes of the pages that lie on the phone, and what the phone says of them.
BYTES_KEPT = """async () => {
  const pack = await self.rootroundStore.meta("pack"), cache = await caches.open(pack.cache);
  let bytes = 0;
  for (const one of await cache.keys()) bytes += (await (await cache.match(one)).arrayBuffer()).byteLength;
  return [bytes, pack.size];
}"""


def test_a_whole_day_without_network_arrives_in_order_and_once(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    kept, told = phone.page.evaluate(BYTES_KEPT)
    assert kept == told > 0
    phone.cut()

    for stop in stops[:3]:
        phone.open("/day/")
        assert stop.visit is not None
        assert stop.visit.site.code in phone.page.inner_text("main")
        phone.open(f"/day/stops/{stop.pk}/")
        assert phone.page.locator("svg.lotmap").count() == 1
        phone.page.click("text=Map to print")
        phone.page.wait_for_selector("text=north is up")
        assert phone.page.locator("svg.lotmap").evaluate("one => one.getBoundingClientRect().width") > 300
        assert stop.visit.site.code in phone.page.inner_text("h1")
        phone.open(f"/day/stops/{stop.pk}/")
        phone.push("on_the_way")
        phone.push("at_the_gate")
        phone.record(f"Seen {stop.pk}")
        phone.page.wait_for_selector("text=is kept on this phone")
        phone.push("finished")
        phone.page.wait_for_url("**/day/")
    count = 4 * len(stops[:3])
    phone.wait_for_count(count)
    phone.until("document.querySelector('[data-day]').textContent.includes('not sent yet')")
    assert Submission.objects.count() == 0
    phone.mend()
    phone.send()
    phone.wait_for_count(0)

    assert Submission.objects.count() == count
    assert sorted(Finding.objects.values_list("note", flat=True)) == sorted(
        f"Seen {stop.pk}" for stop in stops[:3]
    )
    assert set(Stop.objects.filter(pk__in=[s.pk for s in stops[:3]]).values_list("state", flat=True)) == {
        "finished"
    }
    assert phone.complaints == []


@pytest.mark.parametrize("moment", ["before", "after"])
def test_a_line_that_breaks_while_sending_delivers_once(
    town: None, live_server: Any, chromium: Any, moment: str
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.line.cut = cut_once("/day/send/", moment)

    phone.record("The line broke")
    # It goes out by itself: at once where two senders stand in line, else after a pause.
    phone.page.wait_for_selector("text=The finding is recorded")
    phone.wait_for_count(0)

    assert Finding.objects.get().note == "The line broke"
    assert Submission.objects.get().outcome == "taken"
    assert ("POST", "/day/send/", moment) in phone.line.log


def test_a_phone_may_install_the_pages_as_an_app(town: None, live_server: Any, chromium: Any) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    tools = phone.context.new_cdp_session(phone.page)

    manifest = tools.send("Page.getAppManifest")
    errors = tools.send("Page.getInstallabilityErrors")["installabilityErrors"]

    assert manifest["errors"] == []
    assert manifest["url"].endswith("/day/app.webmanifest")
    # A test's own window is a private one, which never offers it.
    assert {one["errorId"] for one in errors} <= {"in-incognito"}
