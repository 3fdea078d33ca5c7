"""Every page of the office keeps the guidelines, its policy and its width, at a desk and on a phone."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from fleet.access import ROLES
from fleet.models import Flag, ServiceContract, Stop, User, VisitNeed
from sites.models import Recommendation
from tests.browser.test_pages_in_chromium import CHROMIUM, PASSWORD, Visitor, chromium, town
from tests.fleet.access.every_address import every_address

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium", "town"]


def pages() -> list[str]:
    """Every address without words that answers with a page, and pages of things that are there."""
    client = Client()
    client.force_login(User.objects.get(username="leah"), backend="django.contrib.auth.backends.ModelBackend")
    found = []
    for address in every_address():
        if address.words or address.name not in ROLES or address.name == "fleet:home":
            continue
        answer = client.get(reverse(address.name))
        if answer.status_code == 200 and "text/html" in answer["Content-Type"]:
            found.append(reverse(address.name))
    flag = Flag.objects.select_related("controller__site").first()
    stop = Stop.objects.filter(visit__isnull=False).select_related("route").order_by("pk").first()
    need, program = VisitNeed.objects.order_by("pk").first(), Recommendation.objects.order_by("pk").first()
    contract = ServiceContract.objects.order_by("pk").first()
    assert contract is not None
    assert flag is not None
    assert stop is not None
    assert need is not None
    assert program is not None
    code, controller = flag.controller.site.code, flag.controller.code
    own = f"/sites/{code}/{controller}/"
    return [
        *found, f"/sites/{code}/", f"/sites/{code}/draw/", f"/sites/{code}/audits/",
        f"/sites/{code}/customer/",
        f"{own}sheet/", f"{own}sheet/?for=home", f"{own}siting/", f"{own}installation/", f"{own}year/",
        f"{own}what-if/", f"{own}exchange/", f"{own}label/", f"{own}1/audit/", f"/watch/{code}/{controller}/",
        f"/water/sites/{code}/", f"/water/sites/{code}/paper/", f"/visits/{need.pk}/",
        f"/week/stops/{stop.pk}/",
        f"/round/{program.pk}/edit/", f"/technicians/{stop.route.technician_id}/",
        f"/contracts/{contract.pk}/", f"/contracts/new/?site={code}",
        "/season/?rule=Wend Valley Water", "/search/?q=NM", "/week/breaks/new/?kind=urgent",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("size", "theme"), [((1440, 900), "dark"), ((390, 844), "light")], ids=["desk, dark", "phone"]
)
def test_every_page_keeps_the_guidelines_its_policy_and_its_width(
    town: None, live_server: Any, chromium: Any, size: tuple[int, int], theme: str
) -> None:
    User.objects.create_user("leah", password=PASSWORD, role=User.Role.ADMINISTRATOR, is_staff=True)
    leah = Visitor(chromium, live_server.url, "leah", size, theme)

    problems: dict[str, object] = {}
    walked = pages()
    for path in walked:
        leah.open(path)
        found = leah.violations()
        wide = leah.page.evaluate("document.documentElement.scrollWidth")
        if found or wide > size[0] or leah.complaints:
            problems[path] = (found, wide, leah.complaints.copy())
        leah.complaints.clear()

    assert len(walked) > 60
    assert problems == {}
    assert leah.outside == []


@pytest.mark.parametrize(
    ("wishes", "theme"),
    [
        ({"contrast": "more"}, "contrast"),
        ({"contrast": "more", "color_scheme": "dark"}, "contrast-dark"),
        ({"color_scheme": "dark"}, "dark"),
        ({}, "light"),
    ],
    ids=["more contrast", "more contrast in the dark", "dark", "no wish"],
)
def test_a_page_keeps_to_what_the_device_wishes(
    live_server: Any, chromium: Any, wishes: dict[str, str], theme: str
) -> None:
    page = chromium.new_page()
    page.emulate_media(**wishes)
    page.goto(f"{live_server.url}/sign-in/")

    assert page.evaluate("document.documentElement.dataset.theme") == theme
    page.emulate_media(forced_colors="active")
    assert page.evaluate("matchMedia('(forced-colors: active)').matches")
    assert page.evaluate("getComputedStyle(document.querySelector('.btn.main')).forcedColorAdjust") == "none"
