"""A technician with a phone at the end of a line that can be cut."""

from __future__ import annotations

import contextlib
import io
import threading
import time
from collections.abc import Callable
from typing import Any
from urllib.parse import urlparse

from django.db import OperationalError
from django.db.models import F
from PIL import ExifTags, Image, ImageDraw

from fleet.models import Route, Stop, Technician, User
from fleet.services.company.company import set_passwords
from tests.browser.cut_line import CutLine
from tests.browser.test_pages_in_chromium import PASSWORD, TODAY

SIZE: Any = {"width": 390, "height": 844}
# A busy machine takes its time; a fault is found all the same, only later.
PATIENCE_S = 90.0
NOTHING_WAITS = "self.rootroundStore.items().then(all => all.length === 0)"


def until(page: Any, script: str, seconds: float = PATIENCE_S) -> None:
    """Wait until a script says true; asked from outside, since a page's policy forbids evaluation."""
    end = time.monotonic() + seconds
    while not page.evaluate(script):
        assert time.monotonic() < end, f"never true: {script}"
        page.wait_for_timeout(60)


def stops_of_today() -> list[Stop]:
    """Today's stops of the person who has most of them, in order."""
    stops = list(
        Stop.objects.filter(visit__isnull=False, route__day=TODAY)
        .select_related("visit__site", "route__technician__user")
        .order_by("route_id", "order")
    )
    by_route: dict[int, list[Stop]] = {}
    for stop in stops:
        by_route.setdefault(stop.route_id, []).append(stop)
    own = max(by_route.values(), key=len)
    _give_login(own[0].route.technician)
    return own


def stop_with_a_program() -> Stop:
    """The first stop of the week at which a program is keyed in; its route is driven today."""
    stop = (
        Stop.objects.filter(visit__needs__kind="program_change")
        .select_related("visit__site", "route__technician__user")
        .order_by("route__day", "order")[0]
    )
    early = stop.route.day - TODAY
    Stop.objects.filter(route=stop.route).update(arrive=F("arrive") - early, depart=F("depart") - early)
    Route.objects.filter(technician=stop.route.technician, day=TODAY).exclude(pk=stop.route_id).delete()
    Route.objects.filter(pk=stop.route_id).update(
        day=TODAY, start_at=F("start_at") - early, end_at=F("end_at") - early
    )
    _give_login(stop.route.technician)
    return stop


def _give_login(person: Technician) -> None:
    """A technician may sign in with the password that the tests know."""
    if person.user is None:
        person.user = User.objects.create_user(
            username=f"login-{person.code}", role=User.Role.TECHNICIAN, password=PASSWORD
        )
        person.save(update_fields=["user"])
    set_passwords(passwords={person.user.username: PASSWORD})


def login_of(stops: list[Stop]) -> str:
    """Login of the person who drives the stops."""
    user = stops[0].route.technician.user
    assert user is not None
    return user.username


class Phone:
    """One phone: an own browser context, an own line."""

    def __init__(self, browser: Any, live_server: Any, login: str, context: Any = None) -> None:
        where = urlparse(live_server.url)
        self.line = CutLine((where.hostname or "localhost", where.port or 80))
        self.context = context or browser.new_context(viewport=SIZE, is_mobile=True, has_touch=True)
        self.page = self.context.pages[0] if context and context.pages else self.context.new_page()
        self.page.set_default_timeout(PATIENCE_S * 1000)
        self.complaints: list[str] = []
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", self._heard)
        self.login = login

    def _heard(self, message: Any) -> None:
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.complaints.append(message.text)

    def sign_in(self, login: str = "") -> None:
        self.page.goto(f"{self.line.url}/sign-in/")
        self.page.fill("input[name=username]", login or self.login)
        self.page.fill("input[name=password]", PASSWORD)
        self.page.keyboard.press("Enter")
        self.page.wait_for_url(lambda url: "sign-in" not in url)

    def start_shift(self) -> None:
        """Open the day with network and wait until it lies on the phone."""
        self.sign_in()
        self.open("/day/")
        self.until("self.rootroundStore.meta('pack').then(p => Boolean(p))")
        self.until("Boolean(navigator.serviceWorker.controller)")

    def open(self, path: str) -> None:
        self.page.goto(f"{self.line.url}{path}")
        self.until("Boolean(self.rootroundBar)")

    def until(self, script: str, seconds: float = PATIENCE_S) -> None:
        """Wait until a script says true."""
        until(self.page, script, seconds)

    def eventually(self, is_so: Callable[[], bool], seconds: float = PATIENCE_S) -> None:
        """Wait until the server's side is so; a table that the server writes just now is asked for again."""
        end = time.monotonic() + seconds
        while True:
            with contextlib.suppress(OperationalError):
                if is_so():
                    return
            assert time.monotonic() < end, "it never came"
            self.page.wait_for_timeout(60)

    def cut(self) -> None:
        self.line.is_down = True

    def mend(self) -> None:
        self.line.is_down = False

    def waits(self) -> int:
        """How many things wait, as the bar tells."""
        return int(self.page.inner_text("[data-sendbar] [data-count]"))

    def wait_for_count(self, count: int) -> None:
        self.until(f"document.querySelector('[data-sendbar] [data-count]').textContent === '{count}'")

    def push(self, state: str) -> None:
        """Press the big button of a state."""
        self.page.click(f"button[name=state][value={state}]:visible")

    def record(self, note: str, **values: str) -> None:
        """Fill the form and record."""
        for name, value in values.items():
            self.page.select_option(f"#finding [name={name}]", value)
        self.page.fill("#finding textarea[name=note]", note)
        self.page.click("text=Record the finding")

    def wait_for_draft(self, stop: int, name: str, value: str) -> None:
        """Wait until what was typed or ticked is written down on the phone."""
        self.until(f"self.rootroundStore.draft({stop}).then(d => String(d?.values[{name!r}]) === {value!r})")

    def wait_until_empty(self) -> None:
        """Wait until nothing of anybody waits."""
        self.until(NOTHING_WAITS)

    def take_photo(self, data: bytes, caption: str = "") -> None:
        """Choose a photo, and wait until it lies in the queue."""
        before = self.page.locator("[data-photo-list] li").count()
        self.page.fill("#finding [name=caption]", caption)
        file = {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": data}
        self.page.set_input_files("#f-photo", files=[file])
        self.until(f"document.querySelectorAll('[data-photo-list] li').length > {before}")

    def send(self) -> Any:
        """Send now and wait for what came of it."""
        return self.page.evaluate("self.rootroundBar.send(true)")

    def queue(self) -> list[dict[str, Any]]:
        """What the phone has, without the sealed parts."""
        found: list[dict[str, Any]] = self.page.evaluate(
            "self.rootroundStore.items().then(all => all.map("
            "({id, owner, kind, state, tries}) => ({id, owner, kind, state, tries})))"
        )
        return found


def picture(number: int, *, place: bool = False) -> bytes:
    """A photo as a camera writes it, another one for each number; with its place where asked."""
    image = Image.new("RGB", (640, 480), (40 + number % 200, 120, 90))
    draw = ImageDraw.Draw(image)
    for line in range(0, 480, 7):
        draw.line((0, line, 640, (line * (number + 3)) % 480), fill=(line % 255, number % 255, 20))
    kept = io.BytesIO()
    exif = Image.Exif()
    if place:
        exif.get_ifd(ExifTags.IFD.GPSInfo).update(
            {1: "N", 2: (41.0, 12.0, 0.0), 3: "W", 4: (104.0, 42.0, 0.0)}
        )
    image.save(kept, "JPEG", quality=90, exif=exif)
    return kept.getvalue()


class Hold:
    """A line that lets the requests of a path hang until it is let go."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.asked, self.free = threading.Event(), threading.Event()

    def __call__(self, _method: str, path: str) -> str:
        if path == self.path:
            self.asked.set()
            self.free.wait(PATIENCE_S)
        return ""


def cut_once(path: str, what: str) -> Callable[[str, str], str]:
    """A cut that happens to the first request of a path only."""
    left = [1]

    def cut(_method: str, asked: str) -> str:
        if asked == path and left[0]:
            left[0] -= 1
            return what
        return ""

    return cut
