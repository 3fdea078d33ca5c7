"""The manager's morning at the quarter's end: what went where, the report on paper, a rebate's dossier."""

from __future__ import annotations

import io
import shutil
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from pypdf import PdfReader

from fleet.models import Company, Rebate, RebateClaim, User
from fleet.services.ledger.record import update_ledger
from tests.fleet.ledger.test_service import UNTIL, bills, dry_location, garden

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
PASSWORD = "garden-water-42"
FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


def text_of(pdf: bytes) -> tuple[int, str]:
    """Pages and words of a PDF."""
    read = PdfReader(io.BytesIO(pdf))
    return len(read.pages), " ".join(" ".join(page.extract_text().split()) for page in read.pages)


def test_quarter_end_from_the_book_to_a_dossier(live_server: Any, transactional_db: None) -> None:
    from playwright.sync_api import sync_playwright

    Company.objects.create(pk=1, name="Marlow & Finch Garden Water")
    User.objects.create_user("ruth", password=PASSWORD, role=User.Role.MANAGER)
    location = dry_location()
    for seed, code in enumerate(("CB-01", "CB-02", "EM-01")):
        bills(garden(code, location), share_after=0.7, seed=seed)
    update_ledger(until_day=UNTIL)
    today = timezone.now().date()
    rebate = Rebate.objects.create(
        name="Sensor rebate", supplier="Wend Valley Water", starts_on=today - timedelta(days=4000),
        ends_on=today + timedelta(days=4000), share_of_cost=0.5, currency="USD", apply_within_days=9000,
        checked_on=today,
    )  # fmt: skip
    wide: list[str] = []
    wrong: list[str] = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.goto(f"{live_server.url}/water/")
        page.fill("#id_username", "ruth")
        page.fill("#id_password", PASSWORD)
        page.click("main .btn.main")
        page.click("text=Where it goes")
        page.wait_for_url("**/water/parts/")
        page.click("text=Neighbourhood")
        page.fill("#pp", "2.5")
        page.click(".partsask .btn")
        page.wait_for_selector("text=At 2.5 USD a m³")
        parts = page.inner_text("main")
        page.goto(f"{live_server.url}/water/report/")
        papers = {size: text_of(page.pdf(format=size)) for size in ("A4", "Letter")}
        page.goto(f"{live_server.url}/water/sites/CB-01/paper/")
        page.emulate_media(media="print")  # the owner's paper does not tell what the office asked
        assert not page.is_visible(".question")
        assert page.is_visible(".a4 h1")
        page.emulate_media(media="null")
        owner = text_of(page.pdf(format="A4"))
        page.goto(f"{live_server.url}/water/rebates/")
        page.click("text=Sensor rebate")
        page.wait_for_selector("text=needs the invoice")
        page.click("text=CB-02")
        page.wait_for_selector("#id_invoice_total")
        page.fill("#id_invoice_total", "300")
        page.click(".rebform .btn.main")
        page.wait_for_selector("text=The dossier is kept.")
        kept = page.inner_text("article")
        page.set_viewport_size({"width": 390, "height": 844})
        for path in (
            "/water/parts/", "/water/report/", "/water/renewals/", "/water/unjudged/",
            "/water/sites/CB-01/paper/", f"/water/rebates/{rebate.pk}/", f"/water/rebates/{rebate.pk}/CB-01/",
        ):  # fmt: skip
            page.goto(f"{live_server.url}{path}")
            if page.evaluate("document.documentElement.scrollWidth") > 390:
                wide.append(path)
        browser.close()

    assert "By neighbourhood" in parts
    assert "would be worth" in parts
    for pages, words in papers.values():
        assert pages <= 2
        assert "How these figures were made" in words
        assert "Where it goes" not in words
    assert owner[0] == 1
    assert "What was saved" in owner[1]
    assert RebateClaim.objects.get().invoice_total == 300.0
    assert "150.00 USD" in kept
    assert wide == []
    assert wrong == []
