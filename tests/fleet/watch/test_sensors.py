"""The watch as a stage: states and flags in the database."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from django.core.management import call_command

from fleet.exports.flags import COLUMNS, features, rows
from fleet.models import Flag, WatchFit, WatchState
from fleet.services.watch.sensors import watch_sensors
from sites.models import BypassLog, Controller, ProgramLine, ProgramSet
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from weather.models import DailyWeather, Location

FIRST = date(2026, 4, 1)
DAYS = 100
LAST = FIRST + timedelta(days=DAYS - 1)
FETCHED = datetime(2026, 7, 10, tzinfo=UTC)

pytestmark = pytest.mark.django_db


def _weather() -> Location:
    """A dry summer with a good storm every twelve days."""
    location = build_location()
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=location,
            day=FIRST + timedelta(days=number),
            issued=FIRST + timedelta(days=number),
            source="test",
            fetched_at=FETCHED,
            eto_mm=6.0,
            eto_sd_mm=0.5,
            rain_mm=25.0 if number % 12 == 5 else 0.0,
            rain_used_mm=25.0 if number % 12 == 5 else 0.0,
            rain_sd_mm=1.0,
        )
        for number in range(DAYS)
    )
    return location


def _controller(location: Location, code: str, **sensor: Any) -> Controller:
    """A lawn with two starts a day that the sensor may block."""
    site = build_site(code, soil="loam", location=location)
    controller = build_controller(site)
    build_zone(controller, 1, precipitation_rate_mm_h=30.0, distribution_uniformity=0.7)
    build_sensor(controller, 1, **{"threshold_kpa": 42.0, **sensor})
    programs = ProgramSet.objects.create(controller=controller, as_of=FIRST)
    ProgramLine.objects.create(
        program_set=programs,
        letter="A",
        days="daily",
        starts="04:00;05:00",
        station=1,
        run_min=8,
        run_order=1,
    )
    return controller


def _log(controller: Controller, blocked_after: int | None = None, from_day: int = 0) -> None:
    """Blocks for four days after each storm and every third day; from a day on always so many, if given."""
    rows_to_come = []
    for number in range(from_day, DAYS):
        blocked = 2 if (number - 5) % 12 < 5 or number % 3 == 0 else 0
        if blocked_after is not None and number >= 45:
            blocked = blocked_after
        day = FIRST + timedelta(days=number)
        rows_to_come.append(
            BypassLog(
                controller=controller,
                start=day,
                end=day + timedelta(days=1),
                starts_scheduled=2,
                starts_bypassed=blocked,
            )
        )
    BypassLog.objects.bulk_create(rows_to_come)


@pytest.fixture
def fleet() -> dict[str, Controller]:
    """Good sensors, one that always blocks, one that never does, one without a log, a new one."""
    location = _weather()
    made = {code: _controller(location, code) for code in ("G-1", "G-2", "G-3", "WET", "DRY", "MUTE")}
    made["NEW"] = _controller(location, "NEW", installed_on=LAST - timedelta(days=4))
    for code in ("G-1", "G-2", "G-3"):
        _log(made[code])
    _log(made["WET"], blocked_after=2)
    _log(made["DRY"], blocked_after=0)
    _log(made["NEW"], from_day=DAYS - 4)
    return made


def _statuses() -> dict[str, str]:
    return dict(WatchState.objects.values_list("controller__site__code", "status"))


def test_states_and_flags_are_written_and_a_second_run_changes_nothing(fleet: dict[str, Controller]) -> None:
    first = watch_sensors(as_of=LAST)
    states = list(WatchState.objects.order_by("controller_id").values())
    flags = list(Flag.objects.order_by("id").values())

    second = watch_sensors(as_of=LAST)

    assert first.controllers == len(fleet)
    assert first.raised == len(flags) > 0
    assert second.raised == 0
    assert list(WatchState.objects.order_by("controller_id").values()) == states
    assert list(Flag.objects.order_by("id").values()) == flags


def test_stuck_sensors_are_flagged_and_good_ones_are_not(fleet: dict[str, Controller]) -> None:
    watch_sensors(as_of=LAST)

    status = _statuses()
    assert status["WET"] == status["DRY"] == "flag"
    assert all(status[code] != "flag" for code in ("G-1", "G-2", "G-3"))
    wet = WatchState.objects.get(controller=fleet["WET"])
    assert wet.cause in ("stuck_wet", "reads_wet")
    assert wet.since is not None
    assert abs((wet.since - (FIRST + timedelta(days=45))).days) <= 14
    assert wet.litres_at_stake_per_week is not None
    assert wet.litres_at_stake_per_week > 0
    assert "neighbours blocked" in wet.evidence
    assert WatchState.objects.get(controller=fleet["DRY"]).cause in ("stuck_dry", "reads_dry")


def test_no_log_and_a_new_sensor_have_states_of_their_own(fleet: dict[str, Controller]) -> None:
    watch_sensors(as_of=LAST)

    assert _statuses()["MUTE"] == "no_log"
    assert _statuses()["NEW"] == "commissioning"


def test_an_open_flag_is_never_silently_dropped(fleet: dict[str, Controller]) -> None:
    watch_sensors(as_of=LAST)
    BypassLog.objects.filter(controller=fleet["WET"]).delete()

    watch_sensors(as_of=LAST)

    assert Flag.objects.filter(controller=fleet["WET"], closed_on__isnull=True).exists()
    state = WatchState.objects.get(controller=fleet["WET"])
    assert state.status == "flag"
    assert state.evidence.startswith("Flagged on")


def test_a_fortnight_in_order_closes_a_flag_by_data(fleet: dict[str, Controller]) -> None:
    flag = Flag.objects.create(
        controller=fleet["G-1"], cause="stuck_wet", raised_on=LAST - timedelta(days=40), probability=0.6
    )

    watch_sensors(as_of=LAST)

    flag.refresh_from_db()
    assert flag.closed_on == LAST
    assert flag.closed_by == Flag.ClosedBy.DATA


def test_a_finding_answers_the_evidence_before_it(fleet: dict[str, Controller]) -> None:
    Flag.objects.create(
        controller=fleet["WET"],
        cause="stuck_wet",
        raised_on=LAST - timedelta(days=20),
        closed_on=LAST,
        closed_by=Flag.ClosedBy.FINDING,
        truth="confirmed",
        probability=0.9,
    )

    watch_sensors(as_of=LAST)

    assert _statuses()["WET"] != "flag"


def test_a_flag_put_to_rest_rests(fleet: dict[str, Controller]) -> None:
    watch_sensors(as_of=LAST)
    Flag.objects.filter(controller=fleet["DRY"]).update(
        resting_until=LAST + timedelta(days=10), resting_reason="garden party"
    )

    watch_sensors(as_of=LAST)

    assert _statuses()["DRY"] == "resting"


def test_skipped_starts_only_are_a_timer_that_is_off(fleet: dict[str, Controller]) -> None:
    BypassLog.objects.filter(controller=fleet["G-2"], start__gte=LAST - timedelta(days=20)).update(
        starts_bypassed=0, starts_skipped=2
    )

    watch_sensors(as_of=LAST)

    state = WatchState.objects.get(controller=fleet["G-2"])
    assert (state.status, state.cause) == ("flag", "no_power")
    assert "skipped" in state.evidence


def test_a_site_without_weather_is_told_and_not_judged(fleet: dict[str, Controller]) -> None:
    site = build_site("NOSKY", soil="loam")
    controller = build_controller(site)
    build_zone(controller, 1)
    build_sensor(controller, 1)

    watched = watch_sensors(as_of=LAST)

    assert watched.left_out == {controller.pk: "no weather for the site"}
    assert not WatchState.objects.filter(controller=controller).exists()


def test_one_sensor_speaks_for_all_stations_of_its_controller(fleet: dict[str, Controller]) -> None:
    watch_sensors(as_of=LAST)
    before = WatchState.objects.get(controller=fleet["WET"]).litres_at_stake_per_week
    build_zone(fleet["WET"], 2, precipitation_rate_mm_h=30.0, distribution_uniformity=0.7)
    programs = ProgramSet.objects.get(controller=fleet["WET"])
    ProgramLine.objects.create(
        program_set=programs,
        letter="A",
        days="daily",
        starts="04:00;05:00",
        station=2,
        run_min=8,
        run_order=2,
    )

    watch_sensors(as_of=LAST)

    after = WatchState.objects.get(controller=fleet["WET"]).litres_at_stake_per_week
    assert before is not None
    assert after is not None
    np.testing.assert_allclose(after, 2 * before, rtol=0.01)
    assert WatchState.objects.filter(controller=fleet["WET"]).count() == 1


def test_the_export_has_the_columns_of_the_contract(fleet: dict[str, Controller]) -> None:
    watch_sensors(as_of=LAST)

    found = list(rows())

    assert len(found) == len(fleet)
    assert all(tuple(row) == COLUMNS for row in found)
    flagged = next(row for row in found if row["site"] == "WET")
    assert flagged["raised_on"] == LAST.isoformat()
    assert len(list(features())) == len(found)
    assert list(rows(as_of=FIRST)) == []


def test_the_fit_is_kept_for_the_week(fleet: dict[str, Controller]) -> None:
    watch_sensors(as_of=LAST)
    watch_sensors(as_of=LAST + timedelta(days=3))

    assert WatchFit.objects.count() == 1


def test_the_command_ends_with_one_line(
    fleet: dict[str, Controller], capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("watch_sensors", "--as-of", LAST.isoformat())

    assert capsys.readouterr().out.strip().splitlines()[-1].startswith(f"{len(fleet)} controllers to")


def test_an_empty_company_has_nothing_to_watch() -> None:
    assert watch_sensors(as_of=LAST).controllers == 0


def test_the_number_of_queries_does_not_grow_with_the_fleet(
    fleet: dict[str, Controller], django_assert_max_num_queries: Any
) -> None:
    location = Location.objects.get()
    for number in range(10):
        _log(_controller(location, f"M-{number}"))

    with django_assert_max_num_queries(46):
        watch_sensors(as_of=LAST)
