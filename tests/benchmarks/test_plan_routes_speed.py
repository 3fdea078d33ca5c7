"""A week out of the database on real streets: 1,400 visits, 25 people. Prints time by stage and memory."""

from __future__ import annotations

import resource
import time
from collections import defaultdict
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from fleet.models import Company, Stop, Technician, Visit, VisitNeed
from fleet.services.plan import fit as plan_fit
from fleet.services.plan import plan_routes as planning
from fleet.services.plan.plan_routes import plan_routes
from fleet.streets.network import build_network, save_network
from fleet.streets.osm_file import StreetPieces
from fleet.streets.store import network_path
from sites.models import Site
from sites.models.geometry import bounding_box
from tests.factories import build_technician

MONDAY = date(2026, 6, 15)
EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)
SIDE = 200  # junctions along each side of the town
BLOCK_DEG = 0.001
SOUTH, WEST = 41.1, -104.85
SECONDS = 60.0
Timed = Callable[..., Any]


def streets() -> StreetPieces:
    """A town of 40,000 junctions, every sixth street a quick one, a river with two bridges."""
    rng = np.random.default_rng(3)
    row, column = np.divmod(np.arange(SIDE * SIDE), SIDE)
    lat = SOUTH + BLOCK_DEG * row + rng.normal(0, BLOCK_DEG / 10, SIDE * SIDE)
    lon = WEST + BLOCK_DEG * 1.3 * column + rng.normal(0, BLOCK_DEG / 10, SIDE * SIDE)
    here = np.arange(SIDE * SIDE)
    east, north = here[column < SIDE - 1], here[row < SIDE - 1]
    river = SIDE // 2
    dry = (row[north] != river) | np.isin(column[north], (SIDE // 4, 3 * SIDE // 4))
    start = np.concatenate([east, north[dry]])
    end = np.concatenate([east + 1, north[dry] + SIDE])
    is_quick = np.concatenate([row[east] % 6 == 0, column[north[dry]] % 6 == 0])
    length = 111_195 * np.hypot(lat[end] - lat[start], (lon[end] - lon[start]) * 0.753)
    took = length / (np.where(is_quick, 50, 28) / 3.6)
    both = (np.r_[start, end], np.r_[end, start], np.r_[length, length], np.r_[took, took])
    return StreetPieces(lat, lon, *both)


def town(sites: int, people: int) -> None:
    """Gardens with a need each, and technicians from six depots."""
    rng = np.random.default_rng(5)
    spread = SIDE * BLOCK_DEG
    lat, lon = SOUTH + rng.uniform(0, spread, sites), WEST + rng.uniform(0, 1.3 * spread, sites)
    made = []
    for number in range(sites):
        point = shapely.Point(lon[number], lat[number])
        hours = (clock(8), clock(12)) if rng.random() < 0.15 else (None, None)
        made.append(
            Site(
                code=f"B-{number:04}", name=f"garden {number}", timezone="America/Denver", soil="clay_loam",
                latitude=lat[number], longitude=lon[number], imported_on=MONDAY, visit_from=hours[0],
                visit_to=hours[1], geometry=shapely.to_wkb(point), **bounding_box(point),
            )
        )  # fmt: skip
    Site.objects.bulk_create(made)
    skills = rng.choice(["", "", "", "wiring", "audit"], sites)
    VisitNeed.objects.bulk_create(
        VisitNeed(
            key=f"n{number}", site=site, kind="sensor_check", reason="check", raised_on=MONDAY,
            service_min=float(rng.integers(20, 76)), value_per_day=float(rng.gamma(2, 7)),
            skill=str(skills[number]),
        )
        for number, site in enumerate(made)
    )  # fmt: skip
    for number in range(people):
        place = (SOUTH + spread * (0.2 + 0.3 * (number % 3)), WEST + spread * (0.3 + 0.6 * (number % 2)))
        build_technician(
            f"T{number:02}", name=f"Person {number}", start_latitude=place[0], start_longitude=place[1],
            end_latitude=place[0], end_longitude=place[1], workdays="mon,tue,wed,thu,fri,sat,sun",
        )  # fmt: skip


@pytest.fixture
def stages(monkeypatch: pytest.MonkeyPatch) -> dict[str, float]:
    """Seconds that each stage of a planning took."""
    took: dict[str, float] = defaultdict(float)

    def timed(where: Any, name: str, words: str) -> None:
        own = getattr(where, name)

        def run(*args: Any, **given: Any) -> Any:
            began = time.perf_counter()
            try:
                return own(*args, **given)
            finally:
                took[words] += time.perf_counter() - began

        monkeypatch.setattr(where, name, run)

    timed(planning, "_prepare", "needs to visits")
    timed(plan_fit, "build_problem", "places and streets")
    timed(plan_fit, "solve", "search")
    timed(planning, "draw_ways", "lines along streets")
    timed(planning, "_keep", "writing")
    return took


@pytest.mark.benchmark
@pytest.mark.django_db
def test_a_week_of_two_hundred_gardens_a_day_out_of_the_database(
    company: Company, stages: dict[str, float], tmp_path: Path, settings: Any
) -> None:
    settings.DATA_DIR = tmp_path
    network = build_network(streets())
    save_network(network, network_path(tmp_path))
    town(1400, 25)
    for what in ("from nothing", "again, two people away and a third of the customers told"):
        stages.clear()
        began = time.perf_counter()
        done = plan_routes(now=EARLY, week=MONDAY, seconds=SECONDS, seed=1)
        whole = time.perf_counter() - began
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        parts = ", ".join(f"{words} {took:.1f} s" for words, took in stages.items())
        print(f"{what}: {whole:.1f} s for {SECONDS:g} s asked ({parts}); {memory:.0f} MB")  # noqa: T201
        print(f"  {done.summary()}")  # noqa: T201
        served = Stop.objects.filter(visit__isnull=False).order_by("pk")
        for stop in served[::3]:
            hours = (stop.arrive - timedelta(minutes=30), stop.arrive + timedelta(minutes=60))
            Visit.objects.filter(stops=stop).update(
                state=Visit.State.TOLD, told_at=EARLY, window_from=hours[0], window_to=hours[1]
            )
        Technician.objects.filter(code__in=("T03", "T11")).update(days_off=MONDAY.isoformat())
    assert not done.is_estimated
