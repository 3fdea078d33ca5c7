"""A technician sees the own visits of a few days and their gardens; gate codes on the day; nobody else's."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from fleet.access import ROLES
from fleet.models import Company, Finding, Photo, Route, Stop, User
from sites.models import Change, Site
from tests.conftest import DAY, NOW
from tests.factories import build_sensor, build_zone
from tests.fleet.on_site.test_phone_sending import a_stop

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]
SECRETS = ("QT-02", "4471", "555 0100", "T. Okafor", "Other note", "otherphoto")


def on_day(stop: Stop, days: int) -> Stop:
    """The stop, on another day."""
    route, _ = Route.objects.get_or_create(
        technician=stop.route.technician,
        day=DAY + timedelta(days=days),
        defaults={"start_at": NOW, "end_at": NOW, "planned_at": NOW},
    )
    stop.route = route
    stop.save()
    return stop


def addresses_of(stop: Stop) -> dict[str, str]:
    """Every address that names a garden, a stop, a photo or an audit of it."""
    assert stop.visit is not None
    site = stop.visit.site
    code = site.controllers.get().code
    photo = Photo.objects.create(
        client_key=f"photo-{stop.pk}", visit=stop.visit, caption="otherphoto", taken_at=NOW, received_at=NOW,
        received_sha256="0" * 64, sha256="0" * 64, size_bytes=1, width_px=1, height_px=1,
    )  # fmt: skip
    by_words = {"code": site.code, "controller": code, "station": 1}
    found = {}
    for name in ROLES:
        for words in (
            {"code": site.code},
            {"code": site.code, "controller": code},
            by_words,
            {"pk": photo.pk if name == "fleet:photo" else stop.pk},
            {"code": site.code, "pk": 1},
        ):
            try:
                found[name] = reverse(name, kwargs=words)
            except Exception:  # noqa: BLE001, S112 (another form of address)
                continue
    return found


def test_no_address_shows_a_technician_anothers_garden(
    company: Company, technician_user: User, stranger: User, sign_in: SignIn
) -> None:
    a_stop(technician_user)
    other = a_stop(stranger, "QT-02")
    assert other.visit is not None
    controller = other.visit.site.controllers.get()
    build_zone(controller, 1)
    build_sensor(controller)
    Finding.objects.create(client_key="o", visit=other.visit, stop=other, recorded_at=NOW, note="Other note")
    client = sign_in(technician_user)
    walked = addresses_of(other)

    assert len(walked) > 30
    for name, address in walked.items():
        for answer in (client.get(address), client.post(address, {"state": "finished"})):
            assert answer.status_code in (403, 404, 405), (name, answer.status_code)
            text = answer.content.decode(errors="replace")
            assert not [word for word in SECRETS if word in text and word not in address], name
    assert Stop.objects.get(pk=other.pk).state == "ahead"


def test_lists_maps_and_files_name_no_garden_of_anybody_else(
    company: Company, technician_user: User, stranger: User, sign_in: SignIn
) -> None:
    a_stop(technician_user)
    a_stop(stranger, "QT-02")
    # The page says again what was asked, so the garden's own words are what must not stand there.
    Site.objects.filter(code="QT-02").update(
        name="Hushwater terrace", address="1 Hushwater Row", customer="H. Hushwater"
    )
    client = sign_in(technician_user)
    plain = {}
    for name in ROLES:
        try:
            plain[name] = reverse(name)
        except Exception:  # noqa: BLE001, S112 (asks for more words)
            continue

    for name, address in plain.items():
        for query in ("", "?technician=T-otis", f"?date={DAY.isoformat()}&technician=T-otis", "?q=QT-02"):
            text = client.get(f"{address}{query}", follow=True).content.decode(errors="replace")
            assert "hushwater" not in text.lower(), (name, query)
            assert "q=QT-02" in query or "QT-02" not in text, (name, query)


@pytest.mark.parametrize(("days", "status"), [(-8, 404), (-7, 200), (0, 200), (1, 200), (2, 404)])
def test_own_visits_are_seen_some_days_back_and_ahead(
    company: Company, technician_user: User, sign_in: SignIn, days: int, status: int
) -> None:
    stop, client = on_day(a_stop(technician_user), days), sign_in(technician_user)

    assert client.get(reverse("fleet:stop", args=[stop.pk])).status_code == status
    assert client.get(reverse("fleet:site", args=["CB-14"])).status_code == status
    day = client.get(reverse("fleet:day"), {"date": stop.route.day.isoformat()}, follow=True).content.decode()
    assert ("CB-14" in day) == (status == 200)
    Company.objects.update(settings={"phone.days_back": 30, "phone.days_ahead": 5})
    assert client.get(reverse("fleet:stop", args=[stop.pk])).status_code == 200


@pytest.mark.parametrize("days", [-1, 0, 1])
def test_a_gate_code_is_read_on_the_day_and_nowhere_else(
    company: Company, technician_user: User, dispatcher: User, sign_in: SignIn, days: int
) -> None:
    stop, client = on_day(a_stop(technician_user), days), sign_in(technician_user)
    Change.objects.create(
        at=NOW, by="hana", kind="site", key="CB-14", site_code="CB-14", action="changed",
        before={"gate_code": "0815"}, after={"gate_code": "4471"},
    )  # fmt: skip
    pages = [
        reverse("fleet:stop", args=[stop.pk]),
        reverse("fleet:site", args=["CB-14"]),
        reverse("fleet:survey", args=["CB-14"]),
        reverse("fleet:day") + f"?date={stop.route.day.isoformat()}",
    ]

    for page in pages:
        text = client.get(page).content.decode()
        assert "0815" not in text, page
        assert ("4471" in text) == (days == 0 and page != pages[3]), page
    office = sign_in(dispatcher).get(reverse("fleet:site", args=["CB-14"])).content.decode()
    assert "4471" in office
    assert "0815" not in office
    assert Site.objects.get().gate_code == "4471"
