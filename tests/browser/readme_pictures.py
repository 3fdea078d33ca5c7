"""The pictures of the README, taken from the demo by a browser: `python -m tests.browser.readme_pictures`.

Builds the demo in a folder of its own, serves it, and writes WebP files to `tests/pictures/`. All is made up.
`python -m tests.browser.readme_pictures FOLDER` takes them of a demo that stands in FOLDER already.
"""

from __future__ import annotations

import io
import os
import secrets
import shutil
import sys
import tempfile
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

PICTURES: Final = Path(__file__).resolve().parents[1] / "pictures"
DESK: Final = (1440, 900)
PHONE: Final = (390, 844)
# Quality and longest edge of a picture [px]: a screen stays readable, all of them stay small.
QUALITY: Final = 72
LONGEST_PX: Final = 1440


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: whose screen, which address, how large; `click` is pressed first where there is one."""

    name: str
    login: str
    address: str
    size: tuple[int, int] = DESK
    click: str = ""


def pictures(*, site: str, controller: str, stop: int) -> tuple[Picture, ...]:
    """What the README shows, in its order."""
    return (
        Picture("week", "hana", "/week/"),
        Picture("round", "hana", "/round/"),
        Picture("watch", "hana", f"/watch/{site}/{controller}/"),
        Picture("site", "hana", f"/sites/{site}/"),
        Picture("water", "ruth", "/water/"),
        Picture("day", "ines", "/day/", PHONE),
        Picture("stop", "ines", f"/day/stops/{stop}/", PHONE),
    )


def take(folder: Path) -> None:
    """Take all pictures of the demo in a folder, which is built first where it is not there."""
    os.environ["ROOTROUND_DATA"] = str(folder)
    os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.config.settings"
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    from django.core.management import call_command
    from django.core.wsgi import get_wsgi_application

    application = get_wsgi_application()
    call_command("demo", no_serve=True)
    password = _known_password()
    import waitress

    server = waitress.create_server(application, host="127.0.0.1", port=0, threads=4)
    threading.Thread(target=server.run, daemon=True).start()
    _shoot(f"http://127.0.0.1:{server.effective_port}", password)


def _known_password() -> str:
    """Give the three people of the demo one password."""
    from fleet.services.company.company import set_passwords

    password = secrets.token_urlsafe(12)
    set_passwords(passwords=dict.fromkeys(("hana", "ines", "ruth"), password))
    return password


def _chosen() -> tuple[Picture, ...]:
    """The pictures, with a garden that has something to tell and a stop of the technician's day."""
    from fleet.models import Company, Flag, Stop

    today = Company.objects.get().demo_today
    assert today is not None
    flag = Flag.objects.filter(closed_on__isnull=True).order_by("-probability", "pk")[0]
    stops = Stop.objects.filter(route__day=today, visit__isnull=False)
    stop = stops.filter(route__technician__user__username="ines").order_by("order")[0]
    return pictures(site=flag.controller.site.code, controller=flag.controller.code, stop=stop.pk)


def _shoot(base: str, password: str) -> None:
    """Sign in as each person and take their pictures."""
    from PIL import Image
    from playwright.sync_api import sync_playwright

    from tests.browser.test_pages_in_chromium import CHROMIUM, FLAGS

    PICTURES.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        for one in _chosen():
            page = browser.new_page(
                viewport={"width": one.size[0], "height": one.size[1]}, color_scheme="light"
            )
            _sign_in(page, base, one.login, password)
            page.goto(base + one.address)
            page.wait_for_load_state("networkidle")
            if one.click:
                page.click(one.click)
            page.wait_for_timeout(800)  # maps have drawn what they asked for
            with Image.open(io.BytesIO(page.screenshot())) as image:
                image.thumbnail((LONGEST_PX, LONGEST_PX))
                path = PICTURES / f"{one.name}.webp"
                image.save(path, "WEBP", quality=QUALITY, method=6)
            sys.stdout.write(f"{path.name} {path.stat().st_size // 1000} kB {one.address}\n")
            page.close()
        browser.close()


def _sign_in(page: Any, base: str, login: str, password: str) -> None:
    """Give name and password."""
    page.goto(f"{base}/sign-in/")
    page.fill("input[name=username]", login)
    page.fill("input[name=password]", password)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)


if __name__ == "__main__":
    given = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    own = given or Path(tempfile.mkdtemp())
    take(own)
    if given is None:
        shutil.rmtree(own, ignore_errors=True)
