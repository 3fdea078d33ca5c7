"""Sentences of the book in the reader's units, on every page that tells why; people's own words stay."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from fleet.models import Company, User, VisitNeed
from fleet.quantities import told
from tests.factories import build_controller, build_need, build_site

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]
SAVES = "Program change on controller A: saves 12.3 m3 in four weeks"
LEAK = "Leak: the meter has not stood still since 2026-06-01, about 40 L an hour by reads at night"
ASKED = "Has 12 mm pipe and 3 m3 of mulch to move first"


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        (SAVES, "saves 3,249 gal in four weeks"),  # 1 m3 = 264.172 gal (exact by definition of the inch)
        (LEAK, "about 11 gal an hour"),
        ("ran through 25 mm of rain", "ran through 0.98 in of rain"),
        ("A night of -3 °C is foretold", "A night of 27 °F is foretold"),
        ("2.5 mm2 of copper, 30 kPa, 12 min", "2.5 mm2 of copper, 30 kPa, 12 min"),
        ("gives 4 L/min", "gives 1.1 gal/min"),
        ("Lena L. saw 3 Lawns", "Lena L. saw 3 Lawns"),
    ],
)
def test_quantities_of_a_sentence_are_told_in_the_readers_units(metric: str, us: str) -> None:
    assert us in told(metric, is_us=True)
    assert told(metric, is_us=False) == metric.replace(" m3", " m³")


@pytest.mark.parametrize("units", ["us", "metric"])
def test_pages_that_say_why_speak_the_readers_units_and_leave_peoples_words(
    company: Company, dispatcher: User, sign_in: SignIn, units: str
) -> None:
    User.objects.filter(pk=dispatcher.pk).update(units=units)
    dispatcher.refresh_from_db()
    controller = build_controller(build_site())
    site = controller.site
    saves = build_need(site, "a", reason=SAVES, origin=VisitNeed.Origin.ROUND, controller=controller)
    build_need(site, "b", reason=LEAK, origin=VisitNeed.Origin.METER)
    build_need(site, "c", reason=ASKED, origin=VisitNeed.Origin.PERSON)
    client = sign_in(dispatcher)

    for path in ("/visits/", "/week/", f"/sites/{site.code}/"):
        text = client.get(path).content.decode()
        assert ("3,249 gal" if units == "us" else "12.3 m³") in text, path
        assert ("11 gal an hour" if units == "us" else "40 L an hour") in text, path
        assert ASKED in text, path
        assert "12.3 m3" not in text, path
    card = client.get(f"/visits/{saves.pk}/").content.decode()
    assert ("3,249 gal" if units == "us" else "12.3 m³") in card
