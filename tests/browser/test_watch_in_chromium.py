"""The sensor watch in a real Chromium: narrow the list, read the evidence, rest a flag and close it."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest

from fleet.models import Flag, WatchState
from tests.browser.test_pages_in_chromium import (  # noqa: F401
    CHROMIUM,
    TODAY,
    Visitor,
    chromium,
    town,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]


def _flagged() -> Flag:
    """One open flag; made where the small town has none."""
    flag = Flag.objects.filter(closed_on__isnull=True).select_related("controller__site").first()
    if flag is None:
        state = WatchState.objects.exclude(trace={}).select_related("controller__site").earliest("pk")
        WatchState.objects.filter(pk=state.pk).update(status="flag", cause="stuck_wet", probability=0.9)
        flag = Flag.objects.create(
            controller=state.controller, cause="stuck_wet", probability=0.9, raised_on=TODAY
        )
    return flag


def test_a_dispatcher_narrows_the_list_rests_a_flag_wakes_and_closes_it(
    town: None,  # noqa: F811
    live_server: Any,
    chromium: Any,  # noqa: F811
) -> None:
    flag = _flagged()
    site = flag.controller.site.code
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    page = hana.page
    hana.open("/watch/")
    page.fill("#wq", site)
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator("tr[data-site]").count() == 1
    assert page.locator("tr[data-site]").get_attribute("data-site") == site

    with page.expect_navigation():
        page.click("tr[data-site] a.row")
    page.focus("details.numbers summary")
    page.keyboard.press("Enter")
    assert page.locator("details.numbers tbody tr").first.is_visible()
    with page.expect_download() as saved:
        page.click("text=Save as CSV")
    assert saved.value.path().read_text().startswith("day,starts,ran,bypassed")

    page.fill("#ru", str(TODAY + timedelta(days=9)))
    page.fill("#rr", "turf is being relaid")
    with page.expect_navigation():
        page.click("button:text-is('Let it rest')")
    assert "It rests until" in page.inner_text("main")
    with page.expect_navigation():
        page.click("text=Wake it now")
    page.select_option("#st", "confirmed")
    page.fill("#sn", "Cable was cut; Ines saw it")
    with page.expect_navigation():
        page.click("text=Close the flag")

    flag.refresh_from_db()
    assert (flag.truth, flag.closed_by) == ("confirmed", "finding")
    assert "Earlier flags" in page.inner_text("main")
    assert hana.complaints == []


@pytest.mark.parametrize(("size", "theme"), [((1440, 900), "light"), ((390, 844), "dark")])
def test_the_pages_of_the_watch_keep_the_policy_and_the_guidelines(
    town: None,  # noqa: F811
    live_server: Any,
    chromium: Any,  # noqa: F811
    size: tuple[int, int],
    theme: str,
) -> None:
    flag = _flagged()
    hana = Visitor(chromium, live_server.url, "hana", size, theme)
    problems = {}
    for path in (
        "/watch/?show=all",
        f"/watch/{flag.controller.site.code}/{flag.controller.code}/",
        "/watch/record/",
    ):
        hana.open(path)
        if theme == "dark":
            hana.page.evaluate("document.documentElement.dataset.theme = 'dark'")
        if hana.page.locator("details.numbers summary").count():
            hana.page.click("details.numbers summary")
        found = hana.violations()
        if found:
            problems[path] = found
        assert hana.page.evaluate("document.documentElement.scrollWidth") <= size[0], path

    assert problems == {}
    assert hana.complaints == []
    assert hana.outside == []


def test_the_evidence_prints_with_its_checks(
    town: None,  # noqa: F811
    live_server: Any,
    chromium: Any,  # noqa: F811
) -> None:
    flag = _flagged()
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    hana.open(f"/watch/{flag.controller.site.code}/{flag.controller.code}/")

    hana.page.emulate_media(media="print")

    assert hana.page.locator("text=What to check, in this order").is_visible()
    assert not hana.page.locator("#rr").is_visible()
    assert re.search(r"[0-9]", hana.page.inner_text("main"))
