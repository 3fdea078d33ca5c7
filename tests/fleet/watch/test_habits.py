"""What the season before teaches the watch of single gardens."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse

from fleet.calc.watch.filter import watch_fleet
from fleet.calc.watch.fit import HABIT_DAYS, learned_habits
from fleet.calc.watch.habits import Habits, no_habits, only, widened
from fleet.calc.watch.result import fault_score, with_fault_odds
from fleet.calc.watch.settings import CAUSES, WatchSettings, starting_fit, with_numbers
from fleet.models import Flag, User, WatchHabit, WatchState
from fleet.scoring.watch_faults import NO_FAULT, Faults
from fleet.scoring.watch_fleets import SimulatedFleet, season_of, simulated_fleet, soil_groups
from fleet.scoring.watch_gardens import USE_GROUPS, Errors
from fleet.selectors.watch.arrays import SPAN_DAYS
from fleet.services.watch.habits import HABIT_LASTS_DAYS, habit_day, learn_habits
from fleet.services.watch.sensors import watch_sensors
from sites.models import BypassLog, Controller, Sensor, Zone
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from tests.fleet.watch.cases import plain_inputs, season
from weather.models import DailyWeather, Location

SETTINGS = WatchSettings()
FIT = with_numbers(
    starting_fit(USE_GROUPS, soil_groups()),
    dose_seen_share=1.0,
    noise_mm=0.2,
    tension_noise=0.1,
    rain_before_share=0.15,
    shift_sd_share=0.1,
)


@pytest.fixture(scope="module")
def first_season() -> tuple[SimulatedFleet, Habits]:
    """A season of a fleet in a continental climate, and what it taught."""
    fleet = simulated_fleet(
        weather=season("continental", days=150, seed=31), physics="two_layers", sites=150, seed=31
    )
    run = watch_fleet(fleet.inputs, FIT, SETTINGS)
    return fleet, learned_habits(fleet.inputs, FIT, run, SETTINGS)


def test_a_season_teaches_how_far_a_garden_strays_from_the_book(
    first_season: tuple[SimulatedFleet, Habits],
) -> None:
    fleet, habits = first_season
    book, garden = fleet.gardens.book, fleet.gardens.garden
    true = np.log(garden.coefficient / book.coefficient) - np.log(garden.dose_mm / book.dose_mm)
    known = habits.known & (fleet.truth.fault == NO_FAULT)

    assert known.sum() > 80
    assert np.corrcoef(habits.use_mean[known], true[known])[0, 1] > 0.7
    assert np.median(habits.use_sd[known]) < 0.7 * FIT.use_sd.mean()


def test_known_gardens_show_an_early_misreading_that_new_ones_hide(
    first_season: tuple[SimulatedFleet, Habits],
) -> None:
    """Every other sensor reads wet from the third week on; the same logs with the habits and without them."""
    fleet, habits = first_season
    sites = habits.known.size
    reads_wet = np.arange(sites) % 2 == 0
    faults = Faults(
        fault=np.where(reads_wet, CAUSES.index("reads_wet"), NO_FAULT),
        onset=np.full(sites, 20),
        dose=np.where(reads_wet, 2.0, 1.0),
        erratic=np.full(sites, 0.5),
    )
    year = season_of(
        replace(fleet.gardens, faults=faults),
        season("continental", days=120, seed=32),
        physics="two_layers",
        errors=Errors(),
        rng=np.random.default_rng(5),
    )
    known = widened(habits, SETTINGS.habit_use_drift, SETTINGS.habit_threshold_drift)
    found, cried = {}, {}
    for name, inputs in (("new", year.inputs), ("known", replace(year.inputs, habits=known))):
        score = fault_score(watch_fleet(inputs, FIT, SETTINGS).probability).max(axis=0)
        flagged = (score > SETTINGS.flag_score) & habits.known
        found[name], cried[name] = int(flagged[reads_wet].sum()), int(flagged[~reads_wet].sum())

    assert found["known"] > 1.3 * found["new"]
    assert cried["known"] <= 0.05 * sites


def test_a_short_or_restless_season_teaches_nothing(first_season: tuple[SimulatedFleet, Habits]) -> None:
    fleet, _ = first_season
    seen = np.flatnonzero(fleet.inputs.seen[:, 0])
    late = fleet.inputs.first_day.copy()
    late[0] = seen[-HABIT_DAYS + 1]
    late[1] = 0
    inputs = replace(fleet.inputs, first_day=late)

    run = watch_fleet(inputs, FIT, SETTINGS)
    known = learned_habits(inputs, FIT, run, SETTINGS).known

    assert not known[0]
    assert not known[fault_score(run.probability[-1]) >= SETTINGS.watch_score].any()
    assert known.sum() > 80


def test_a_known_habit_moves_the_nodes_and_an_unknown_one_leaves_the_groups() -> None:
    habits = Habits(
        *(np.array(part) for part in ([0.5, np.nan], [0.1, np.nan], [-0.2, np.nan], [0.1, np.nan]))
    )
    plain = plain_inputs(days=20, sites=2, ran=np.ones((20, 2), dtype=np.int16), location=np.arange(2))

    new = watch_fleet(plain, starting_fit(1, 1), SETTINGS)
    known = watch_fleet(replace(plain, habits=habits), starting_fit(1, 1), SETTINGS)

    assert np.abs(new.depletion_mm[:, 0] - known.depletion_mm[:, 0]).max() > 0.5
    np.testing.assert_allclose(new.depletion_mm[:, 1], known.depletion_mm[:, 1], atol=1e-5)


def test_odds_of_known_gardens_are_multiplied_and_still_add_up_to_one() -> None:
    probability = np.array([[[0.8, 0.2, 0, 0, 0, 0], [0.5, 0, 0.1, 0.4, 0, 0]]], dtype=np.float32)
    before = fault_score(probability)

    with_fault_odds(probability, np.array([True, False]), 2.0)

    np.testing.assert_allclose(probability.sum(axis=-1), 1.0, rtol=1e-6)
    np.testing.assert_allclose(fault_score(probability) - before, [[np.log(2.0), 0.0]], atol=1e-5)


def test_a_season_widens_what_is_known_and_leaves_the_unknown() -> None:
    habits = only(Habits(np.zeros(2), np.full(2, 0.3), np.zeros(2), np.full(2, 0.4)), np.array([True, False]))

    wider = widened(habits, 0.4, 0.3)

    np.testing.assert_allclose(wider.use_sd, [0.5, np.nan])
    np.testing.assert_allclose(wider.threshold_sd, [0.5, np.nan])
    assert wider.known.tolist() == [True, False]


@pytest.mark.parametrize(
    ("part", "value"), [("use_sd", 0.0), ("threshold_sd", -1.0), ("use_mean", np.nan)], ids=str
)
def test_a_habit_that_is_none_is_refused(part: str, value: float) -> None:
    good = Habits(np.zeros(1), np.ones(1), np.zeros(1), np.ones(1))

    with pytest.raises(ValueError, match="habit"):
        replace(good, **{part: np.array([value])})


def test_nothing_known_is_no_error() -> None:
    assert not no_habits(3).known.any()
    assert no_habits(3).take(np.array([1])).known.tolist() == [False]


# The stage: logs of an old summer, and forty days of the next.
OLD = date(2025, 4, 1)
OLD_DAYS = 120
TODAY = OLD + timedelta(days=OLD_DAYS + 20 + SPAN_DAYS)
NEW_DAYS = 40
FETCHED = datetime(2026, 7, 10, tzinfo=UTC)


def _storms(number: int) -> float:
    return 25.0 if number % 12 == 5 else 0.0


def _days() -> list[date]:
    old = [OLD + timedelta(days=number) for number in range(OLD_DAYS)]
    return old + [TODAY - timedelta(days=number) for number in reversed(range(NEW_DAYS))]


def _log(controller: Controller, blocked_since: date | None = None) -> None:
    """Blocks for four days after each storm and every third day; always from a day on, if given."""
    BypassLog.objects.bulk_create(
        BypassLog(
            controller=controller,
            start=day,
            end=day + timedelta(days=1),
            starts_scheduled=2,
            starts_bypassed=2
            if (number - 5) % 12 < 5 or number % 3 == 0 or (blocked_since and day >= blocked_since)
            else 0,
        )
        for number, day in enumerate(_days())
    )


def _controller(location: Location, code: str) -> Controller:
    controller = build_controller(build_site(code, soil="loam", location=location))
    build_zone(controller, 1, precipitation_rate_mm_h=30.0, distribution_uniformity=0.7)
    build_sensor(controller, 1, threshold_kpa=42.0, installed_on=OLD - timedelta(days=90))
    programs = controller.program_sets.create(as_of=OLD)
    programs.lines.create(letter="A", days="daily", starts="04:00;05:00", station=1, run_min=8, run_order=1)
    return controller


@pytest.fixture
def fleet(db: None) -> dict[str, Controller]:
    """Three gardens in order, and one whose sensor was stuck when the old summer ended."""
    location = build_location()
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=location,
            day=day,
            issued=day,
            source="test",
            fetched_at=FETCHED,
            eto_mm=6.0,
            eto_sd_mm=0.5,
            rain_mm=_storms(number),
            rain_used_mm=_storms(number),
            rain_sd_mm=1.0,
        )
        for number, day in enumerate(_days())
    )
    made = {code: _controller(location, code) for code in ("G-1", "G-2", "G-3", "WET")}
    for code in ("G-1", "G-2", "G-3"):
        _log(made[code])
    _log(made["WET"], blocked_since=OLD + timedelta(days=60))
    return made


def _known() -> set[str]:
    rows = WatchHabit.objects.filter(use_mean__isnull=False)
    return set(rows.values_list("controller__site__code", flat=True))


def _used() -> set[str]:
    rows = WatchState.objects.values_list("controller__site__code", "trace")
    return {code for code, trace in rows if "use_on_book" in (trace or {})}


def test_the_day_that_teaches_lies_before_the_days_watched_and_holds_for_four_weeks() -> None:
    days = [habit_day(TODAY + timedelta(days=number)) for number in range(2 * HABIT_LASTS_DAYS)]

    for number, day in enumerate(days):
        before = TODAY + timedelta(days=number - SPAN_DAYS)
        assert before - timedelta(days=HABIT_LASTS_DAYS) < day <= before
    assert len(set(days)) == 3


def test_the_watch_learns_habits_once_and_uses_them(fleet: dict[str, Controller]) -> None:
    watch_sensors(as_of=TODAY)
    rows = list(WatchHabit.objects.values())

    watch_sensors(as_of=TODAY)

    assert list(WatchHabit.objects.values()) == rows
    assert len(rows) == len(fleet)
    assert _known() == _used() == {"G-1", "G-2", "G-3"}
    assert {row["as_of"] for row in rows} == {habit_day(TODAY)}


def test_without_old_logs_nothing_is_learned(fleet: dict[str, Controller]) -> None:
    BypassLog.objects.filter(start__lt=TODAY - timedelta(days=NEW_DAYS)).delete()

    watch_sensors(as_of=TODAY)

    assert not WatchHabit.objects.exists()
    assert WatchState.objects.count() == len(fleet)
    assert _used() == set()


def test_a_garden_whose_flag_reaches_back_into_the_season_teaches_nothing(
    fleet: dict[str, Controller],
) -> None:
    Flag.objects.create(
        controller=fleet["G-1"],
        cause="reads_wet",
        raised_on=TODAY - timedelta(days=30),
        since=OLD + timedelta(days=40),
        probability=0.9,
    )

    learned = learn_habits(as_of=habit_day(TODAY), settings=SETTINGS)

    assert learned.known == 2
    assert _known() == {"G-2", "G-3"}


def test_a_new_sensor_and_a_new_book_make_the_habit_void(fleet: dict[str, Controller]) -> None:
    watch_sensors(as_of=TODAY)
    Sensor.objects.filter(controller=fleet["G-1"]).update(installed_on=TODAY - timedelta(days=90))
    Zone.objects.filter(controller=fleet["G-2"]).update(precipitation_rate_mm_h=45.0)
    Sensor.objects.filter(controller=fleet["G-3"]).update(threshold_kpa=48.0)

    watch_sensors(as_of=TODAY + timedelta(days=1))

    assert _used() == {"G-3"}


def test_the_page_says_what_the_season_before_taught(
    fleet: dict[str, Controller], dispatcher: User, sign_in: Callable[[User], Client]
) -> None:
    watch_sensors(as_of=TODAY)
    client = sign_in(dispatcher)
    known = client.get(reverse("fleet:watch", args=["G-1", fleet["G-1"].code])).content.decode()
    unknown = client.get(reverse("fleet:watch", args=["WET", fleet["WET"].code])).content.decode()

    assert "Learned from the season up to" in known
    assert "times what the book says" in known
    assert "No earlier season has taught the watch" in unknown
