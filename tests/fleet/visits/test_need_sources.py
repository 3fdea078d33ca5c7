"""Every source of needs raises its need from data, with its value per day of waiting and its parts."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Final

import pytest

from fleet.models import BackflowRule, Company, Flag, MeterLeak, User, VisitKind, VisitNeed
from fleet.services.bring.record_visits import import_visits
from fleet.services.ledger.leaks import update_leaks
from fleet.services.on_site.finding_input import FindingInput
from fleet.services.on_site.findings import record_finding
from fleet.services.visits.needs_by_hand import NeedInput, add_need
from fleet.services.visits.raise_needs import COMPUTED, raise_needs
from sites.models import Meter, MeterVolume, Recommendation
from tests.conftest import DAY, NOW
from tests.factories import build_controller, build_sensor, build_site, build_zone
from tests.fleet.on_site.test_phone_sending import a_stop
from tests.fleet.visits.test_contract_needs import garden
from tests.fleet.visits.test_contract_pages import bought

pytestmark = pytest.mark.django_db


def flag() -> date:
    """The watch holds a sensor for stuck, with water at stake."""
    controller = build_controller(build_site())
    Flag.objects.create(
        controller=controller,
        cause="stuck_dry",
        raised_on=DAY,
        probability=0.9,
        litres_at_stake_per_week=7000,
    )
    return DAY


def program() -> date:
    """The weekly round found a program worth changing."""
    controller = build_controller(build_site())
    build_zone(controller, 1)
    Recommendation.objects.create(
        controller=controller, week=DAY, is_change=True, computed_on=DAY, water_at_stake_l=9000,
        dry_zone_days_spared=12,
    )  # fmt: skip
    return DAY


def wires() -> date:
    """The governing station cannot close its pass."""
    Recommendation.objects.create(
        controller=build_controller(build_site()), week=DAY, is_change=False, computed_on=DAY,
        needs_wire_move=True,
    )  # fmt: skip
    return DAY


def log() -> date:
    """A sensor whose log never came."""
    build_sensor(build_controller(build_site()))
    return DAY


def audit() -> date:
    """A garden that nobody audited within a year."""
    build_site(imported_on=DAY - timedelta(days=400))
    return DAY


def start_up() -> date:
    """The season's first day at a garden's place."""
    garden()
    return date(2026, 4, 25)


def winterize() -> date:
    """Four weeks before the early hard freeze."""
    garden()
    return date(2026, 9, 25)


def backflow() -> date:
    """A supplier who asks for a test each year."""
    site = garden()
    site.supplier = "Hill Water"
    site.save()
    BackflowRule.objects.create(supplier="Hill Water", every_months=12, who_may_test="a certified tester")
    return DAY


def contract() -> date:
    """A visit that the customer has paid for is due."""
    bought(garden(), audit=1)
    return DAY


def leak() -> date:
    """A meter that has not stood still since April, read by the day."""
    meter = Meter.objects.create(site=build_site(), code="M1", kind="irrigation")
    first = date(2026, 2, 1)
    days = [first + timedelta(days=k) for k in range((DAY - first).days)]
    litres = [900.0 * (k % 3 == 0) + 240.0 * (day >= date(2026, 4, 1)) for k, day in enumerate(days)]
    MeterVolume.objects.bulk_create(
        MeterVolume(
            meter=meter, start=day, end=day + timedelta(days=1), volume_l=used, volume_given=used, unit="l"
        )
        for day, used in zip(days, litres, strict=True)
    )
    update_leaks(day=DAY)
    assert MeterLeak.objects.get().is_open
    return DAY


# name -> (what sets it up, origin, kind, parts of its value)
COMPUTED_SOURCES: Final[dict[str, tuple[Callable[[], date], str, str, set[str]]]] = {
    "flag": (flag, "watch", "sensor_check", {"water"}),
    "program": (program, "round", "program_change", {"water", "turf"}),
    "wires": (wires, "round", "move_station_wire", {"priority"}),
    "log": (log, "logs", "log_missing", {"priority"}),
    "audit": (audit, "calendar", "audit", {"priority"}),
    "start-up": (start_up, "calendar", "start_up", {"priority"}),
    "winterize": (winterize, "calendar", "winterize", {"priority"}),
    "backflow": (backflow, "calendar", "backflow_test", {"priority"}),
    "contract": (contract, "contract", "audit", {"contract"}),
    "leak": (leak, "meter", "repair", {"water", "priority"}),
}


@pytest.mark.parametrize("name", COMPUTED_SOURCES)
def test_data_raise_the_need_once_with_its_worth(name: str, company: Company) -> None:
    set_up, origin, kind, parts = COMPUTED_SOURCES[name]
    day = set_up()

    done = raise_needs(day=day)

    need = VisitNeed.objects.get()
    assert (done.raised, need.origin, need.kind, need.state) == (1, origin, kind, "open")
    assert set(need.value_parts) <= parts
    assert need.value_per_day == pytest.approx(sum(need.value_parts.values()))
    assert need.value_per_day > 0
    assert len(need.reason) > 20
    assert need.service_min > 0
    again = raise_needs(day=day)
    assert (again.raised, again.refreshed, again.withdrawn) == (0, 0, 0)


def test_every_source_that_data_have_is_tried_here() -> None:
    tried = {origin for _, origin, _, _ in COMPUTED_SOURCES.values()}

    assert tried == set(COMPUTED)
    assert tried | set(VisitNeed.BY_PEOPLE) == set(VisitNeed.Origin.values)


def test_a_person_and_a_file_raise_needs_with_stated_values(company: Company, tmp_path: Path) -> None:
    site = build_site()
    need = NeedInput(kind="complaint", reason="Water stands on the lawn", priority=2)
    add_need(site_id=site.pk, need=need, by="hana", now=NOW, day=DAY)
    (tmp_path / "visits.csv").write_text(
        f"site,kind,value_per_day,priority,note\n{site.code},repair,12.5,,Head leans\n"
        f"{site.code},dig,,3,\n{site.code},audit,,,\n",
        encoding="utf-8",
    )
    import_visits(path=tmp_path / "visits.csv", by="hana", now=NOW)

    told = {
        need.kind: (need.origin, need.value_per_day, need.value_parts) for need in VisitNeed.objects.all()
    }
    assert told == {
        "complaint": ("person", 20.0, {"priority": 20.0}),
        "repair": ("imported", 12.5, {"priority": 12.5}),
        "dig": ("imported", 30.0, {"priority": 30.0}),
        "audit": ("imported", 0.0, {"priority": 0.0}),
    }


def test_a_finding_raises_what_is_left_to_do_and_patches(company: Company, technician_user: User) -> None:
    stop = a_stop(technician_user)
    finding = FindingInput(
        client_key="one", stop_id=stop.pk, recorded_at=NOW, need_is_met=False, turf="patchy",
        follow_up="The valve box stands in water",
    )  # fmt: skip
    record_finding(finding=finding, by="ines")
    record_finding(finding=finding, by="ines")

    rows = VisitNeed.objects.filter(origin="finding").order_by("kind")
    assert [(need.kind, need.value_per_day) for need in rows] == [
        (VisitKind.AUDIT, 5.0),
        (VisitKind.REPAIR, 5.0),
    ]
    assert "The valve box stands in water" in rows[1].reason
    assert "check its coverage" in rows[0].reason
