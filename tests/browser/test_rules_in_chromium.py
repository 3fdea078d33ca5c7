"""Watering rules and devices in a real Chromium: by mouse, on a phone, in the dark; policy and guidelines."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest

from fleet.models import Company, DeviceToken, User
from sites.models import RuleSet, RuleStage
from sites.selectors.rules import rule_set_content
from tests.browser.test_pages_in_chromium import CHROMIUM, FLAGS, PASSWORD, Visitor
from tests.factories import build_controller, build_site, build_zone

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]


@pytest.fixture
def chromium() -> Iterator[Any]:
    """A running browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def town(transactional_db: None) -> None:
    """A company with one rule set that binds one garden."""
    Company.objects.create(
        pk=1, name="Marlow & Finch Garden Water", timezone="America/Denver", demo_today=date(2026, 6, 15)
    )
    for login, role in (("hana", User.Role.DISPATCHER), ("ada", User.Role.ADMINISTRATOR)):
        User.objects.create_user(username=login, password=PASSWORD, role=role)
    spec = {"name": "nights", "windows": ["20:00-08:00"], "checked_on": "2026-06-01"}
    made = RuleSet.objects.create(code="hill", supplier="Hill Water")
    RuleStage.objects.create(rule_set=made, name="nights", spec=spec)
    build_zone(build_controller(build_site(rule_set="hill")), 1)


def test_a_stage_is_written_previewed_and_saved_by_mouse(town: None, live_server: Any, chromium: Any) -> None:
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    hana.open("/rules/sets/hill/edit/")
    page = hana.page

    with page.expect_navigation():
        page.click("text=Add a stage")
    page.wait_for_load_state("networkidle")
    page.fill("[name=s1-name]", "two days")
    assert page.is_visible("[name=s1-w-all] >> nth=0")
    assert not page.is_visible("[name=s1-w-odd] >> nth=0")
    page.select_option("[name=s1-by]", "parity")
    assert page.is_visible("[name=s1-w-odd] >> nth=0")
    assert not page.is_visible("[name=s1-w-all] >> nth=0")
    page.check("[name=s1-w-odd][value=wed]")
    page.check("[name=s1-w-even][value=thu]")
    with page.expect_navigation():
        page.click("text=Check and preview")
    page.wait_for_load_state("networkidle")
    assert "Mon is not among the days of odd numbers (Wed)" in page.inner_text("main")
    assert page.is_visible("svg.weekgrid")
    assert RuleStage.objects.count() == 1
    page.fill("[name=reason]", "order of June")
    page.click("text=Save the rules")
    page.wait_for_url("**/rules/sets/hill/")

    found = rule_set_content(code="hill")
    assert found is not None
    assert found.specs[1]["weekdays"] == {"odd": ["wed"], "even": ["thu"]}
    assert "order of June" in page.inner_text("main")
    page.click("text=Before and after >> nth=0")
    assert page.is_visible("text=After >> nth=0")
    assert hana.complaints == []
    assert hana.outside == []


@pytest.mark.parametrize(("theme", "size"), [("light", (1440, 900)), ("dark", (390, 844))])
def test_the_pages_keep_the_policy_and_the_guidelines(
    town: None, live_server: Any, chromium: Any, theme: str, size: tuple[int, int]
) -> None:
    ada = Visitor(chromium, live_server.url, "ada", size, theme)
    problems = {}
    for path in (
        "/rules/",
        "/rules/sets/hill/",
        "/rules/sets/hill/?address=12+Mill+Road&week=2026-10-28",
        "/rules/sets/hill/edit/",
        "/rules/sets/hill/edit/?raw",
        "/rules/drill/?set=hill&stage=common-1&on=2026-06-22",
        "/devices/",
    ):
        ada.open(path)
        if theme == "dark":
            ada.page.evaluate("document.documentElement.dataset.theme = 'dark'")
        found = ada.violations()
        if found:
            problems[path] = found
        assert ada.page.evaluate("document.documentElement.scrollWidth") <= size[0], path

    assert problems == {}
    assert ada.complaints == []
    assert ada.outside == []


def test_a_token_is_made_shown_once_and_revoked(town: None, live_server: Any, chromium: Any) -> None:
    ada = Visitor(chromium, live_server.url, "ada", (390, 844))
    ada.open("/devices/")
    ada.page.fill("[name=name]", "logger")
    ada.page.check("[name=kinds][value=bypass]")
    with ada.page.expect_navigation():
        ada.page.click("text=Make the token")
    ada.page.wait_for_load_state("networkidle")

    secret = ada.page.inner_text("code.secret")
    assert secret.startswith("rr_")
    ada.open("/devices/")
    assert secret not in ada.page.content()
    with ada.page.expect_navigation():
        ada.page.click("button:has-text('Revoke')")
    ada.page.wait_for_load_state("networkidle")
    assert DeviceToken.objects.get().revoked_at is not None
    assert ada.complaints == []
