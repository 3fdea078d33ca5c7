"""Signing in with a second factor, as a person does: set up, then asked for."""

from __future__ import annotations

import base64
import shutil
import time
from typing import Any

import pytest

from fleet.calc.totp import hotp_code, totp_step
from fleet.models import Company, User

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
PASSWORD = "garden-water-42"
FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


def code_of(letters: str, *, steps: int = 0) -> str:
    """What an app on the phone makes of the letters."""
    secret = base64.b32decode(letters + "=" * (-len(letters) % 8))
    return hotp_code(secret, totp_step(time.time()) + steps)


def give_password(page: Any) -> None:
    """Fill in the first form."""
    page.fill("#id_username", "leah")
    page.fill("#id_password", PASSWORD)
    page.click("main .btn.main")


def test_a_second_factor_is_set_up_and_asked_for(live_server: Any, transactional_db: None) -> None:
    from playwright.sync_api import sync_playwright

    Company.objects.create(pk=1, name="Marlow & Finch Garden Water")
    User.objects.create_user("leah", password=PASSWORD, role=User.Role.ADMINISTRATOR)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        page = browser.new_page()
        wrong: list[str] = []
        page.on("console", lambda said: wrong.append(said.text) if "Content Security" in said.text else None)
        page.goto(f"{live_server.url}/account/second-factor/")
        give_password(page)
        page.wait_for_selector(".qrbox svg")
        box = page.locator(".qrbox svg").bounding_box()
        letters = page.inner_text("code.secret")
        page.fill("#code", code_of(letters, steps=-1))
        page.fill("#password", PASSWORD)
        page.click("form .btn.main")
        page.wait_for_selector(".codes")
        recovery = page.locator(".codes code").all_inner_texts()
        page.goto(f"{live_server.url}/account/")
        page.click("text=Sign out >> nth=-1")
        page.wait_for_selector("#id_username")
        page.goto(f"{live_server.url}/people/")
        give_password(page)
        page.wait_for_selector("#code")
        focus = page.evaluate("document.activeElement.id")
        page.fill("#code", "000000")
        page.keyboard.press("Enter")
        page.wait_for_selector("[role=alert]")
        page.fill("#code", recovery[3])
        page.keyboard.press("Enter")
        page.wait_for_url("**/people/")
        theme = page.evaluate("document.documentElement.dataset.theme")
        page.goto(f"{live_server.url}/account/")
        page.check("input[name=theme][value=contrast]")
        page.click("form .btn.main")
        page.wait_for_selector("text=Every page is shown this way")
        chosen = page.evaluate("document.documentElement.dataset.theme")
        browser.close()

    assert box is not None
    assert box["width"] > 150
    assert len(recovery) == 10
    assert focus == "code"
    assert (theme, chosen) == ("light", "contrast")
    assert wrong == []
