"""Two station wires change places: book, sensor, programs and their order follow, and back again."""

from __future__ import annotations

from datetime import date

import pytest

from sites.models import (
    Change,
    Controller,
    ProgramLine,
    ProgramSet,
    Recommendation,
    RecommendationLine,
    Sensor,
    Zone,
)
from sites.services.exchange_stations import CannotExchange, exchange_stations
from sites.services.restore import restore_changes
from tests.conftest import DAY, NOW
from tests.factories import build_controller, build_sensor, build_site, build_zone

SPRING = date(2026, 4, 1)


@pytest.fixture
def timer(db: None) -> Controller:
    """Three zones, the sensor in the first; a program of April; a round that asks for the exchange."""
    controller = build_controller(build_site())
    for station in (1, 2, 3):
        build_zone(controller, station)
    build_sensor(controller, 1)
    spring = ProgramSet.objects.create(controller=controller, as_of=SPRING)
    answer = Recommendation.objects.create(
        controller=controller, week=DAY, is_change=False, computed_on=DAY, needs_wire_move=True
    )
    for order, (station, minutes) in enumerate(((1, 10.0), (2, 20.0), (3, 30.0)), start=1):
        line = {
            "letter": "A",
            "days": "daily",
            "starts": "04:00",
            "station": station,
            "run_min": minutes,
            "run_order": order,
        }
        ProgramLine.objects.create(program_set=spring, **line)
        RecommendationLine.objects.create(recommendation=answer, **line)
    return controller


def lines(as_of: date) -> list[tuple[int, float, int]]:
    rows = ProgramLine.objects.filter(program_set__as_of=as_of).order_by("run_order")
    return list(rows.values_list("station", "run_min", "run_order"))


def exchange(timer: Controller, first: int = 1, second: int = 3, *, minutes_keyed: bool = True) -> int:
    done = exchange_stations(
        controller_id=timer.pk,
        first=first,
        second=second,
        minutes_keyed=minutes_keyed,
        by="hana",
        at=NOW,
        today=DAY,
    )
    return done.change_id


def test_zones_and_sensor_take_the_new_numbers(timer: Controller) -> None:
    exchange(timer)

    assert dict(Zone.objects.values_list("station", "name")) == {1: "zone 3", 2: "zone 2", 3: "zone 1"}
    assert Sensor.objects.get().station == 3
    assert not Recommendation.objects.get().needs_wire_move
    timer.site.refresh_from_db()
    assert timer.site.stale_from == DAY


def test_the_past_keeps_its_order_and_from_now_on_the_governing_station_runs_last(timer: Controller) -> None:
    exchange(timer)

    # zone 1 ran first with 10 minutes in April; the zone is called 3 now.
    assert lines(SPRING) == [(3, 10.0, 1), (2, 20.0, 2), (1, 30.0, 3)]
    assert lines(DAY) == [(1, 30.0, 1), (2, 20.0, 2), (3, 10.0, 3)]
    kept = RecommendationLine.objects.values_list("station", "run_min")
    assert set(kept) == {(3, 10.0), (2, 20.0), (1, 30.0)}


def test_minutes_that_nobody_keyed_in_stay_on_the_timers_numbers(timer: Controller) -> None:
    exchange(timer, minutes_keyed=False)

    assert lines(DAY) == [(1, 10.0, 1), (2, 20.0, 2), (3, 30.0, 3)]


@pytest.mark.parametrize("minutes_keyed", [True, False])
def test_one_step_takes_all_of_it_back(timer: Controller, minutes_keyed: bool) -> None:
    entry = exchange(timer, minutes_keyed=minutes_keyed)

    restore_changes(change_ids=[entry], by="ruth", at=NOW, today=DAY)

    assert dict(Zone.objects.values_list("station", "name")) == {1: "zone 1", 2: "zone 2", 3: "zone 3"}
    assert Sensor.objects.get().station == 1
    assert lines(SPRING) == [(1, 10.0, 1), (2, 20.0, 2), (3, 30.0, 3)]
    assert not ProgramSet.objects.filter(as_of=DAY).exists()
    assert Recommendation.objects.get().needs_wire_move
    assert list(Change.objects.order_by("pk").values_list("by", flat=True)) == ["hana", "ruth"]


def test_a_program_of_the_same_day_comes_back_as_it_was(timer: Controller) -> None:
    same = ProgramSet.objects.create(controller=timer, as_of=DAY)
    ProgramLine.objects.create(
        program_set=same, letter="A", days="odd", starts="05:00", station=1, run_min=7.0, run_order=1
    )
    entry = exchange(timer)
    assert lines(DAY) == [(3, 7.0, 1)]

    restore_changes(change_ids=[entry], by="ruth", at=NOW, today=DAY)

    assert lines(DAY) == [(1, 7.0, 1)]


def test_an_exchange_under_a_later_one_cannot_be_taken_back(timer: Controller) -> None:
    entry = exchange(timer)
    exchange(timer, 2, 3)

    with pytest.raises(CannotExchange, match="take the later exchange back first"):
        restore_changes(change_ids=[entry], by="ruth", at=NOW, today=DAY)


@pytest.mark.parametrize(("first", "second"), [(1, 1), (1, 9), (5, 6)])
def test_stations_that_are_not_there_stay(timer: Controller, first: int, second: int) -> None:
    with pytest.raises(CannotExchange):
        exchange(timer, first, second)

    assert Change.objects.count() == 0
