"""The first day of a company of one's own, at a screen: from nothing to a colleague at the board."""

from __future__ import annotations

from typing import Any

import pytest

from fleet.models import Company, Technician, User
from sites.models import Site
from tests.browser.test_pages_in_chromium import CHROMIUM, PASSWORD, chromium

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium"]
BOOK = "site,name,address,customer,longitude,latitude\nQR-1,Elm garden,4 Elm Row,N. Quill,-104.71,41.21\n"


def sign_in(page: Any, address: str, name: str) -> None:
    """Sign in by the form."""
    page.goto(f"{address}/sign-in/")
    page.fill("#id_username", name)
    page.fill("#id_password", PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)


def heard(browser: Any) -> tuple[Any, list[str]]:
    """A page of a context of its own, and what it complained about."""
    page = browser.new_context(viewport={"width": 1440, "height": 900}, reduced_motion="reduce").new_page()
    page.set_default_timeout(90_000)
    said: list[str] = []
    page.on("console", lambda one: said.append(one.text) if one.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    return page, said


def test_a_company_is_founded_and_its_first_colleague_comes_in(
    live_server: Any, transactional_db: None, chromium: Any
) -> None:
    User.objects.create_superuser("leah", password=PASSWORD)
    address = live_server.url
    page, said = heard(chromium)
    sign_in(page, address, "leah")
    page.wait_for_url("**/first-steps/")

    page.click("text=Found the company >> nth=-1")
    page.fill("#c-name", "Quill & Reed Gardens")
    page.click("main .btn.main")  # without a time zone
    page.wait_for_selector("[role=alert] >> text=Time zone: expected")
    assert page.input_value("#c-name") == "Quill & Reed Gardens"
    page.select_option("#c-zone", "America/Denver")
    page.click("main .btn.main")
    page.wait_for_url("**/first-steps/")
    page.wait_for_selector("text=The company is founded")

    page.click("main .btn.main >> text=Bring your sites")
    page.set_input_files(
        "input[type=file]", {"name": "b.csv", "mimeType": "text/csv", "buffer": BOOK.encode()}
    )
    page.click("text=Look at this file")
    page.click("button:has-text('Save all')")
    page.wait_for_selector("text=1 new")
    page.goto(f"{address}/technicians/new/")
    page.fill("#t-name", "Ines Calder")
    page.fill("#t-code", "T1")
    page.fill("#t-sla", "41.2")
    page.fill("#t-slo", "-104.7")
    page.click("main .btn.main")
    page.wait_for_selector("text=Ines Calder")
    page.goto(f"{address}/people/")
    page.fill("#username", "hana")
    page.click("text=Invite >> nth=-1")
    link = page.inner_text("code.secret")
    page.goto(f"{address}/first-steps/")
    done = page.locator(".steps .done h2").all_inner_texts()

    other, said_there = heard(chromium)
    other.goto(link)
    for field in ("#id_new_password1", "#id_new_password2"):
        other.fill(field, PASSWORD)
    other.keyboard.press("Enter")
    other.wait_for_url("**/sign-in/")
    sign_in(other, address, "hana")
    other.wait_for_url("**/week/")
    glides = other.evaluate(
        """() => { document.querySelector('.leaflet-map-pane').classList.add('leaflet-zoom-anim');
        return getComputedStyle(document.querySelector('.leaflet-zoom-animated')).transitionDuration }"""
    )
    other.goto(link)
    used_up = other.inner_text("main")

    assert done == ["Name and clock of the company", "The site book", "Who drives", "Who signs in"]
    assert Company.objects.get().timezone == Site.objects.get().timezone == "America/Denver"
    assert Technician.objects.get().name == "Ines Calder"
    assert User.objects.get(username="hana").role == "dispatcher"
    assert glides == "0s"
    assert "This link opens nothing any more." in used_up
    # The browser itself tells of the one form that was refused.
    assert [one for one in said if "status of 422" not in one] == said_there == []
