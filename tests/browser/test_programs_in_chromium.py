"""What if, the year, a program by hand and the round's list, in a real Chromium."""

from __future__ import annotations

import re
from typing import Any

import pytest

from sites.models import Recommendation
from tests.browser.test_pages_in_chromium import (  # noqa: F401
    CHROMIUM,
    Visitor,
    chromium,
    town,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]


def test_a_changed_field_changes_the_answer_at_once_and_writes_nothing(
    town: None,  # noqa: F811
    live_server: Any,
    chromium: Any,  # noqa: F811
) -> None:
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    hana.open("/sites/NM-01/A/what-if/")
    before = hana.page.inner_text("#answer")
    rows = Recommendation.objects.count()

    hana.page.select_option("select[name=stage]", "one")
    hana.page.wait_for_selector("#answer >> text=one day a week")

    assert "nothing changed yet" in before
    assert "stage=one" in hana.page.url
    assert Recommendation.objects.count() == rows
    hana.page.reload()
    hana.page.wait_for_load_state("networkidle")
    assert "one day a week" in hana.page.inner_text("#answer")
    assert hana.complaints == []


def test_programs_are_ticked_and_accepted_with_the_keyboard(
    town: None,  # noqa: F811
    live_server: Any,
    chromium: Any,  # noqa: F811
) -> None:
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    waiting = Recommendation.objects.filter(is_change=True, status="recommended").count()
    assert waiting
    hana.open("/round/")

    hana.page.focus("input[name=pk]")
    hana.page.keyboard.press("Space")
    hana.page.focus("text=Accept ticked")
    with hana.page.expect_navigation():
        hana.page.keyboard.press("Enter")
    hana.page.wait_for_load_state("networkidle")

    assert re.search(r"1 programs? (is|are) accepted", hana.page.inner_text("body"))
    assert Recommendation.objects.filter(status="accepted").count() == 1


def test_a_program_is_checked_and_kept_by_hand(
    town: None,  # noqa: F811
    live_server: Any,
    chromium: Any,  # noqa: F811
) -> None:
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    answer = Recommendation.objects.filter(lines__isnull=False).order_by("pk").first()
    assert answer is not None
    hana.open(f"/round/{answer.pk}/edit/")

    hana.page.fill("textarea[name=startsA]", "12:00")
    hana.page.fill("textarea[name=reason]", "")
    with hana.page.expect_navigation():
        hana.page.click("text=Check >> nth=-1")
    hana.page.wait_for_load_state("networkidle")
    said = hana.page.inner_text("main")
    hana.page.fill("textarea[name=reason]", "test run with the customer")
    with hana.page.expect_navigation():
        hana.page.click("button[value=save]")
    hana.page.wait_for_load_state("networkidle")

    assert "issued only with a written reason" in said
    answer.refresh_from_db()
    assert answer.outside_reason == "test run with the customer"
    assert hana.complaints == []
