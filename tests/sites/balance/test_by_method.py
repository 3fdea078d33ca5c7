"""Irrigation of the balance comes from bypass logs of every method, the less sure the coarser it counts."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from sites.calc.balance.irrigation import COUNT_ERROR, IrrigationSource
from sites.models import BypassLog, Controller, ProgramLine, ProgramSet, Zone
from sites.models.choices import LogMethod
from sites.selectors.balance import balance_days
from sites.services.balance import update_balance
from sites.services.record_bypass import import_bypass
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from tests.sites.balance.test_service import _weather

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 5, 1), date(2026, 6, 14)
LOGGED = date(2026, 5, 20)
DAYS = 20


@pytest.fixture
def garden() -> Controller:
    """One lawn with two starts of 12 minutes each day and no rain."""
    location = build_location()
    _weather(location, FIRST, LAST)
    controller = build_controller(build_site(location=location))
    build_zone(controller, 1, precipitation_rate_mm_h=30.0, distribution_uniformity=0.75)
    build_sensor(controller, 1)
    setting = ProgramSet.objects.create(controller=controller, as_of=FIRST)
    ProgramLine.objects.create(
        program_set=setting,
        letter="A",
        days="daily",
        starts="04:00;05:30",
        station=1,
        run_min=12,
        run_order=1,
    )
    return controller


def bring(tmp_path: Path, method: str, *, every: int) -> None:
    """A file of logs of 20 days, one row for so many days; one start of two was blocked each day."""
    rows = ["site,controller,start,end,starts_bypassed,starts_scheduled,method"]
    for left in range(0, DAYS, every):
        start, end = LOGGED + timedelta(days=left), LOGGED + timedelta(days=left + every)
        rows.append(f"CB-14,A,{start},{end},{every},{2 * every},{method}")
    path = tmp_path / f"{method}{every}.csv"
    path.write_text("\n".join(rows))
    report = import_bypass(path=path, today=LAST)
    assert not report.problems


def figures() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Net irrigation of the logged days [mm], where it comes from, and depletion's error [mm]."""
    update_balance(until_day=LAST)
    zone = Zone.objects.get().pk
    found = balance_days(zone_ids=[zone], start=LOGGED, end=LOGGED + timedelta(days=DAYS))
    return found.irrigation_net_mm[:, 0], found.irrigation_source[:, 0], found.depletion_sd_mm[:, 0]


# 30 mm/h x 12 min / 60 x (0.4 + 0.6 x 0.75): one run of two.
ONE_RUN_MM = 5.1


@pytest.mark.parametrize("method", LogMethod.values)
@pytest.mark.parametrize(
    ("every", "source"),
    [(1, IrrigationSource.LOG), (10, IrrigationSource.LOG_PERIOD)],
    ids=["by the day", "by the period"],
)
def test_what_ran_is_taken_from_logs_of_each_method(
    garden: Controller, tmp_path: Path, method: str, every: int, source: IrrigationSource
) -> None:
    before, assumed, unsure = figures()
    bring(tmp_path, method, every=every)
    after, told, sure = figures()

    assert set(assumed.tolist()) == {IrrigationSource.ASSUMED}
    assert before == pytest.approx(2 * ONE_RUN_MM, rel=1e-5)
    assert set(told.tolist()) == {source}
    assert after == pytest.approx(ONE_RUN_MM, rel=1e-5)
    assert set(BypassLog.objects.values_list("method", flat=True)) == {method}
    assert sure[-1] != unsure[-1]


def test_the_coarser_a_log_counts_the_less_sure_the_depletion(garden: Controller, tmp_path: Path) -> None:
    by_method = {}
    for method in LogMethod.values:
        for every in (1, 10):
            BypassLog.objects.all().delete()
            bring(tmp_path, method, every=every)
            by_method[method, every] = float(figures()[2].max())

    for every in (1, 10):
        errors = [
            by_method[method, every] for method in ("logger", "counter_read", "from_meter", "customer_card")
        ]
        assert errors == sorted(errors)
        assert len(set(errors)) == len(errors)
    assert all(by_method[method, 10] > by_method[method, 1] for method in LogMethod.values)


def test_every_method_has_an_error() -> None:
    assert set(COUNT_ERROR) == set(LogMethod.values)
