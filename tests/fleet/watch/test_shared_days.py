"""A ban week or a power cut is nobody's timer: streets and suppliers that stand still together."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
import pytest

from fleet.calc.watch.shared_days import Peers, common_standstill, nobody
from fleet.models import Flag, WatchState
from fleet.services.watch.sensors import watch_sensors
from sites.models import BypassLog, Controller, ProgramLine, ProgramSet, Sensor, Site
from tests.fleet.watch.test_sensors import LAST, _controller, _log, _weather

DAYS, SITES = 30, 8


def _still(peers: Peers, silent: npt.NDArray[np.int64], *, skips: bool = False) -> npt.NDArray[np.bool_]:
    """Standstill of eight daily programs of which some are silent on days 10 to 19."""
    scheduled = np.full((DAYS, SITES), 2)
    skipped = np.zeros((DAYS, SITES), dtype=np.int64)
    for site in silent:
        if skips:
            skipped[10:20, site] = 2
        else:
            scheduled[10:20, site] = 0
    book = np.full((DAYS, SITES), 2)
    return common_standstill(scheduled, skipped, book, np.ones((DAYS, SITES), dtype=bool), peers)


def _street(apart_m: float) -> Peers:
    """Eight gardens in a row."""
    return Peers(
        site=np.arange(SITES),
        supplier=np.full(SITES, -1),
        x_m=apart_m * np.arange(SITES, dtype=np.float64),
        y_m=np.zeros(SITES),
    )


@pytest.mark.parametrize("skips", [False, True], ids=["no start", "every start skipped"])
def test_a_street_without_power_is_no_timers_fault(skips: bool) -> None:
    found = _still(_street(30.0), np.arange(5), skips=skips)

    assert found[11:19, :5].all()
    assert not found[:9].any()
    assert not found[:, 5:].any()


def test_far_gardens_are_no_street() -> None:
    assert not _still(_street(400.0), np.arange(5)).any()


def test_two_timers_on_one_wall_are_no_street() -> None:
    street = _street(1.0)
    same_site = Peers(np.zeros(SITES, dtype=np.int64), street.supplier, street.x_m, street.y_m)

    assert not _still(same_site, np.arange(5)).any()


def test_one_silent_timer_among_running_ones_stands_alone() -> None:
    assert not _still(_street(30.0), np.array([3])).any()


def test_most_of_a_suppliers_gardens_stand_still_by_a_ban() -> None:
    ban = Peers(np.arange(SITES), np.zeros(SITES, dtype=np.int64), *[np.full(SITES, np.nan)] * 2)

    assert _still(ban, np.arange(7))[12:18, :7].all()
    assert not _still(ban, np.arange(3)).any()


def test_all_others_of_a_small_supplier_must_stand_still() -> None:
    supplier = np.array([0, 0, 0, 1, 1, 1, 2, 2])
    small = Peers(np.arange(SITES), supplier, *[np.full(SITES, np.nan)] * 2)

    found = _still(small, np.array([0, 1, 2, 3, 4, 6, 7]))

    assert found[12:18, :3].all()
    assert not found[:, 3:6].any()  # one of the three ran on: no ban
    assert not found[:, 6:].any()  # two gardens alone are no evidence of a ban


def test_without_peers_nothing_is_common() -> None:
    assert not _still(nobody(SITES), np.arange(SITES)).any()


def _fleet(count: int) -> list[Controller]:
    """Good sensors at one weather location, far from each other."""
    location = _weather()
    made = []
    for number in range(count):
        controller = _controller(location, f"G-{number}")
        _log(controller)
        Site.objects.filter(pk=controller.site_id).update(longitude=-100.0 + 0.02 * number, latitude=40.0)
        made.append(controller)
    return made


def _stop(controllers: list[Controller], first: date, days: int) -> None:
    """Every start of these days was skipped."""
    BypassLog.objects.filter(
        controller__in=controllers, start__gte=first, start__lt=first + timedelta(days=days)
    ).update(starts_bypassed=0, starts_skipped=2)


@pytest.mark.django_db
def test_a_suppliers_ban_week_raises_no_flag_and_is_told() -> None:
    fleet = _fleet(8)
    Site.objects.update(supplier="Town water")
    _stop(fleet, LAST - timedelta(days=8), 9)

    watch_sensors(as_of=LAST)

    assert not Flag.objects.exists()
    state = WatchState.objects.get(controller=fleet[0])
    assert state.cause == ""
    assert "of the same supplier" in state.evidence


@pytest.mark.django_db
def test_a_week_after_the_ban_no_other_program_is_suspected() -> None:
    fleet = _fleet(8)
    Site.objects.update(supplier="Town water")
    _stop(fleet, LAST - timedelta(days=17), 10)
    BypassLog.objects.filter(starts_skipped=2).update(starts_scheduled=0, starts_skipped=0)

    watch_sensors(as_of=LAST)

    assert not Flag.objects.exists()
    assert not WatchState.objects.filter(cause="program_differs").exists()


@pytest.mark.django_db
def test_a_power_cut_in_a_street_raises_no_flag_but_one_dead_timer_does() -> None:
    fleet = _fleet(6)
    street, alone = fleet[:4], fleet[5]
    Site.objects.filter(pk__in=[one.site_id for one in street]).update(longitude=-100.0)
    _stop([*street, alone], LAST - timedelta(days=9), 10)

    watch_sensors(as_of=LAST)

    assert list(Flag.objects.values_list("controller_id", "cause")) == [(alone.pk, "no_power")]


@pytest.mark.django_db
def test_a_counter_read_with_every_start_skipped_is_a_timer_that_is_off() -> None:
    fleet = _fleet(3)
    off = fleet[1]
    first = LAST - timedelta(days=20)
    BypassLog.objects.filter(controller=off, start__gte=first).delete()
    BypassLog.objects.create(
        controller=off,
        start=first,
        end=LAST + timedelta(days=1),
        starts_scheduled=42,
        starts_bypassed=0,
        starts_skipped=42,
        method="counter_read",
    )

    watch_sensors(as_of=LAST)

    state = WatchState.objects.get(controller=off)
    assert (state.status, state.cause) == ("flag", "no_power")
    assert "skipped" in state.evidence


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["logger", "counter_read"])
def test_fewer_starts_than_the_book_gives_are_another_program(method: str) -> None:
    fleet = _fleet(4)
    other = fleet[2]
    first = LAST - timedelta(days=20)
    rows = BypassLog.objects.filter(controller=other, start__gte=first)
    if method == "logger":
        rows.update(starts_scheduled=1, starts_bypassed=0)
    else:
        rows.delete()
        BypassLog.objects.create(
            controller=other,
            start=first,
            end=LAST + timedelta(days=1),
            starts_scheduled=21,
            starts_bypassed=8,
            method=method,
        )

    watch_sensors(as_of=LAST)

    state = WatchState.objects.get(controller=other)
    assert (state.status, state.cause) == ("flag", "program_differs")
    assert "program in the book" in state.evidence


@pytest.mark.django_db
def test_a_program_changed_in_the_log_counts_from_its_own_day() -> None:
    fleet = _fleet(3)
    changed = fleet[1]
    first = LAST - timedelta(days=14)
    programs = ProgramSet.objects.create(controller=changed, as_of=first)
    ProgramLine.objects.create(
        program_set=programs, letter="A", days="daily", starts="04:00", station=1, run_min=16, run_order=1
    )
    rows = BypassLog.objects.filter(controller=changed, start__gte=first)
    rows.filter(starts_bypassed=2).update(starts_bypassed=1)
    rows.update(starts_scheduled=1)

    watch_sensors(as_of=LAST)

    assert WatchState.objects.get(controller=changed).cause != "program_differs"
    assert not Flag.objects.exists()


@pytest.mark.django_db
def test_a_log_from_before_the_sensor_says_nothing_on_it() -> None:
    fleet = _fleet(3)
    late = fleet[0]
    installed = LAST - timedelta(days=40)
    BypassLog.objects.filter(controller=late, start__lt=installed).update(starts_bypassed=0)
    Sensor.objects.filter(controller=late).update(installed_on=installed)

    watch_sensors(as_of=LAST)

    assert WatchState.objects.get(controller=late).status != "flag"
