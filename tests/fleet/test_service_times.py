"""Times on site that technicians note become the plan's, slowly."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.service_times import FEWEST, learned_min
from fleet.calc.visit_value import SERVICE_MIN
from fleet.models import Company, Finding, Flag, VisitNeed
from fleet.selectors.service_times import observed_service_min
from fleet.services.raise_needs import raise_needs
from tests.conftest import DAY, NOW
from tests.factories import build_controller, build_sensor, build_site, build_visit, build_zone


@given(plan=st.floats(1, 300), seen=st.lists(st.floats(1, 600), min_size=FEWEST, max_size=60))
def test_what_is_learned_lies_between_the_plan_and_what_was_seen(plan: float, seen: list[float]) -> None:
    learned = learned_min(plan, seen)

    low, high = min(plan, *seen), max(plan, *seen)
    assert low - 1e-9 <= learned <= high + 1e-9


def test_few_findings_say_nothing_and_many_say_nearly_all() -> None:
    assert learned_min(40.0, [60.0, 60.0]) == 40.0
    assert learned_min(40.0, [60.0] * 8) == 50.0
    assert learned_min(40.0, [60.0] * 400) == pytest.approx(60.0, abs=0.5)


@pytest.mark.django_db
def test_findings_move_the_minutes_of_the_needs_that_are_raised_after_them(company: Company) -> None:
    site = build_site()
    controller = build_controller(site)
    build_zone(controller, 1)
    build_sensor(controller)
    for number in range(8):
        visit = build_visit(build_site(f"QT-{number:02}"))
        Finding.objects.create(
            client_key=f"time-{number}", visit=visit, recorded_at=NOW, kind="sensor_check", service_min=80.0
        )
    undone = build_visit(build_site("ZZ-01"))
    Finding.objects.create(
        client_key="undone", visit=undone, recorded_at=NOW, kind="sensor_check", service_min=1.0,
        check_state="undone",
    )  # fmt: skip
    two = build_visit(build_site("ZZ-02"))
    for kind in ("sensor_check", "program_change"):
        Finding.objects.create(
            client_key=f"two-{kind}", visit=two, recorded_at=NOW, kind=kind, service_min=5.0
        )
    Flag.objects.create(controller=controller, cause="reads_wet", raised_on=DAY, probability=0.9)

    raise_needs(day=DAY + timedelta(days=1))

    assert observed_service_min(day=DAY) == {"sensor_check": [80.0] * 8}
    need = VisitNeed.objects.get(kind="sensor_check")
    assert need.service_min == (SERVICE_MIN["sensor_check"] + 80.0) / 2
