"""Behind each reason for which a visit is left out stands what would change it."""

from __future__ import annotations

from datetime import time

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, Visit
from fleet.routing import reasons
from fleet.services.plan.plan_routes import plan_routes
from fleet.services.plan.unserved_change import CHANGES
from tests.conftest import DAY, NOW
from tests.factories import build_need, build_site, build_technician


def test_every_reason_has_its_change() -> None:
    assert set(reasons.WORDS) <= set(CHANGES)


@pytest.mark.django_db
def test_a_full_day_names_who_would_have_to_work_how_much_longer(
    company: Company, sign_in: object, dispatcher: object
) -> None:
    build_technician(shift_start=time(8, 0), shift_end=time(16, 0), break_min=0)
    for number in range(4):
        site = build_site(f"S{number}", longitude=-104.7 + 0.002 * number)
        build_need(site, kind="audit", value_per_day=90.0 - number, service_min=118.0)

    plan_routes(now=NOW.replace(hour=1), day=DAY, iterations=60)

    left = Visit.objects.exclude(unserved_code="").get()
    assert left.unserved_code == reasons.NO_ROOM
    assert left.unserved_change == "15 minutes more of Ines Calder on Monday."
    client: Client = sign_in(dispatcher)  # type: ignore[operator]
    page = client.get(reverse("fleet:visits")).content.decode()
    assert "What would change it: 15 minutes more of Ines Calder on Monday." in page


@pytest.mark.django_db
def test_a_missing_skill_and_hours_outside_every_shift_say_what_they_want(company: Company) -> None:
    build_technician(skills="audit")
    build_need(build_site("A"), kind="move_station_wire", skill="wiring", value_per_day=50)
    build_need(
        build_site("B"),
        kind="audit",
        value_per_day=50,
        earliest=NOW.replace(hour=8),
        latest=NOW.replace(hour=9),
    )

    plan_routes(now=NOW.replace(hour=1), week=DAY, iterations=20)

    told = {visit.site.code: visit.why_unserved for visit in Visit.objects.select_related("site")}
    assert "What would change it: somebody at work with this skill" in told["A"]
    assert "What would change it: other hours agreed with the customer" in told["B"]
