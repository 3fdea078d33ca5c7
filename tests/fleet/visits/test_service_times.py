"""Times on site that technicians note become the plan's, slowly."""

from __future__ import annotations

from datetime import timedelta
from math import exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.visits.service_times import FEWEST, learned_times, random_effects
from fleet.calc.visits.value import SERVICE_MIN
from fleet.models import Company, Finding, Flag, VisitNeed
from fleet.selectors.visits.service_times import observed_service_min, service_times
from fleet.services.visits.needs_by_hand import NeedInput, change_need
from fleet.services.visits.raise_needs import raise_needs
from tests.conftest import DAY, NOW
from tests.factories import build_controller, build_sensor, build_site, build_visit, build_zone


def test_random_effects_of_the_thirteen_vaccine_trials() -> None:
    """BCG trials of Colditz et al. 1994, log risk ratios as Viechtbauer 2010 prints them; from memory.

    DerSimonian-Laird: tau2 0.3088, mean -0.7141, standard error 0.1787.
    """
    means = [-0.8893, -1.5854, -1.3481, -1.4416, -0.2175, -0.7861, -1.6209, 0.0120, -0.4694, -1.3713, -0.3394, 0.4459, -0.0173]  # fmt: skip # noqa: E501
    variances = [0.3256, 0.1946, 0.4154, 0.0200, 0.0512, 0.0069, 0.2230, 0.0040, 0.0564, 0.0730, 0.0124, 0.5325, 0.0714]  # fmt: skip # noqa: E501

    found = random_effects(means, variances)

    assert found.tau2 == pytest.approx(0.3088, abs=5e-4)
    assert (found.mean, found.se) == pytest.approx((-0.7141, 0.1787), abs=5e-4)


def test_random_effects_of_the_eight_schools() -> None:
    """Rubin 1981, as in Gelman et al., Bayesian Data Analysis, 5.5; from memory: pooled 7.7, error 4.1."""
    effects = [28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0]
    errors = [15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0]

    found = random_effects(effects, [error**2 for error in errors])

    assert found.tau2 == 0.0
    assert (found.mean, found.se) == pytest.approx((7.7, 4.1), abs=0.05)


@given(plan=st.floats(5, 300), seen=st.lists(st.floats(1, 900), min_size=FEWEST, max_size=40))
def test_what_is_learned_lies_between_the_plan_and_what_was_seen(plan: float, seen: list[float]) -> None:
    found = learned_times({"audit": plan}, {"audit": seen})["audit"]

    assert min(plan, *seen) - 1e-6 <= found.minutes <= max(plan, *seen) + 1e-6
    assert found.low_min < found.minutes < found.high_min
    assert (found.visits, 0 < found.weight < 1) == (len(seen), True)


def test_few_findings_say_nothing_and_many_say_nearly_all() -> None:
    def minutes(count: int) -> float:
        return learned_times({"audit": 40.0}, {"audit": [60.0] * count})["audit"].minutes

    assert minutes(2) == 40.0
    assert 40.0 < minutes(3) < minutes(8) < minutes(40) < 60.0
    assert minutes(400) == pytest.approx(60.0, abs=0.1)


def test_kinds_lend_each_other_what_is_common_to_them() -> None:
    """Where four kinds take half as long again, a fifth with few findings leans there, not to the plan."""
    planned = dict.fromkeys("abcde", 60.0)
    many = {kind: [90.0, 85.0, 95.0] * 6 for kind in "abcd"}

    alone = learned_times(planned, {"e": [60.0] * 3})["e"]
    among = learned_times(planned, {**many, "e": [60.0] * 3})["e"]

    assert alone.minutes == pytest.approx(60.0)
    assert 60.0 < among.minutes < 90.0
    assert learned_times(planned, many)["e"].minutes == 60.0  # nothing was seen of it: the plan stays


@given(st.floats(0.3, 3.0))
def test_units_of_the_plan_do_not_matter(factor: float) -> None:
    seen = {"a": [30.0, 50.0, 40.0, 44.0], "b": [20.0, 25.0, 22.0]}
    one = learned_times({"a": 40.0, "b": 20.0}, seen)
    other = learned_times(
        {"a": 40.0 * factor, "b": 20.0 * factor}, {k: [x * factor for x in v] for k, v in seen.items()}
    )

    for kind in "ab":
        assert other[kind].minutes == pytest.approx(one[kind].minutes * factor)


@pytest.mark.django_db
def test_findings_move_the_minutes_of_open_needs_unless_a_person_set_them(company: Company) -> None:
    controllers = []
    for code in ("CB-14", "CB-15"):
        controller = build_controller(build_site(code))
        build_zone(controller, 1)
        build_sensor(controller)
        Flag.objects.create(controller=controller, cause="reads_wet", raised_on=DAY, probability=0.9)
        controllers.append(controller)
    raise_needs(day=DAY)
    by_hand = VisitNeed.objects.get(controller=controllers[1], kind="sensor_check")
    assert by_hand.service_min == SERVICE_MIN["sensor_check"]
    said = NeedInput(kind="sensor_check", reason="x", service_min=55.0)
    change_need(need_id=by_hand.pk, need=said, by="hana", now=NOW, day=DAY)
    for number in range(8):
        Finding.objects.create(
            client_key=f"time-{number}", visit=build_visit(build_site(f"QT-{number:02}")), recorded_at=NOW,
            kind="sensor_check", service_min=80.0,
        )  # fmt: skip
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

    raise_needs(day=DAY + timedelta(days=1))

    assert observed_service_min(day=DAY) == {"sensor_check": [80.0] * 8}
    learned = service_times(day=DAY)["sensor_check"]
    assert (learned.visits, learned.planned_min) == (8, SERVICE_MIN["sensor_check"])
    assert SERVICE_MIN["sensor_check"] < learned.minutes < 80.0
    assert learned.minutes == pytest.approx(40.0 * exp(learned.weight * log(2.0)))
    needs = dict(VisitNeed.objects.filter(kind="sensor_check").values_list("controller", "service_min"))
    assert needs[controllers[0].pk] == round(learned.minutes, 1)
    assert needs[controllers[1].pk] == 55.0
