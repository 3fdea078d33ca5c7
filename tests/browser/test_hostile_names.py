"""Maps and pages in a real browser, with names that would run if anything took them for code."""

from __future__ import annotations

from typing import Any

import pytest

from fleet.models import Stop, User
from fleet.services.company.company import set_passwords
from sites.models import Site, Zone
from tests.browser.test_pages_in_chromium import CHROMIUM, PASSWORD, Visitor, chromium, town  # noqa: F401
from tests.pipeline.hostile import HOSTILE, write_hostile_names

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
# Whatever was taken for code would open a dialog or leave an element of its own.
INJECTED = (
    "[...document.querySelectorAll('img, script')].filter(e => e.tagName === 'IMG' ? e.src.endsWith('/x')"
    r" : e.type !== 'application/json' && /alert\(1\)/.test(e.textContent)).length"
)
MARKS = ".leaflet-interactive, .leaflet-marker-icon"


@pytest.mark.usefixtures("town")
def test_every_map_shows_a_hostile_name_as_text(live_server: Any, chromium: Any) -> None:  # noqa: F811
    write_hostile_names()
    site = Site.objects.filter(controllers__sensor__isnull=False).order_by("code")[0]
    controller = site.controllers.filter(sensor__isnull=False).order_by("code")[0]
    stop = (
        Stop.objects.filter(visit__isnull=False).select_related("route__technician__user").order_by("pk")[0]
    )
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    dialogs: list[str] = []

    def heard(dialog: Any) -> None:
        dialogs.append(dialog.message)
        dialog.dismiss()

    hana.page.on("dialog", heard)

    for path in (
        "/week/",
        "/sites/",
        f"/sites/{site.code}/",
        f"/sites/{site.code}/{controller.code}/siting/",
        f"/sites/{site.code}/{controller.code}/installation/",
        f"/watch/{site.code}/{controller.code}/",
        "/search/?q=alert",
        "/weather/",
    ):
        hana.open(path)
        # Hovering and choosing brings out labels and tips.
        marks = hana.page.locator(MARKS)
        for at in range(min(3, marks.count())):
            marks.nth(at).dispatch_event("mouseover")
            marks.nth(at).dispatch_event("click")
        assert hana.page.evaluate(INJECTED) == 0, path
    assert "<script>alert(1)</script>${7*7}" in _text_of(hana, f"/sites/{site.code}/")

    login = stop.route.technician.user
    assert isinstance(login, User)
    set_passwords(passwords={login.username: PASSWORD})
    phone = Visitor(chromium, live_server.url, login.username, (390, 844))
    phone.page.on("dialog", heard)
    phone.open(f"/day/stops/{stop.pk}/")
    assert phone.page.evaluate(INJECTED) == 0
    assert "<script>alert(1)</script>${7*7}" in phone.page.inner_text("body")

    ruth = Visitor(chromium, live_server.url, "ruth", (1440, 900))
    ruth.page.on("dialog", heard)
    for path in ("/water/", f"/water/sites/{site.code}/"):
        ruth.open(path)
        assert ruth.page.evaluate(INJECTED) == 0, path

    assert dialogs == []
    for visitor in (hana, phone, ruth):
        assert visitor.complaints == []
        assert visitor.outside == []
    assert Zone.objects.exclude(name=HOSTILE).count() == 0


def _text_of(visitor: Visitor, path: str) -> str:
    """Text that a page shows."""
    visitor.open(path)
    return str(visitor.page.inner_text("body"))
