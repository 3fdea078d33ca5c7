"""What binds a program, what a threshold should be, how much margin a zone gets, and what is said of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from sites.calc import soil
from sites.calc.balance.run_off import runoff_limit_min
from sites.calc.program.letters import best_programs_and_letters
from sites.calc.search.binding import SOIL, binding_limits
from sites.calc.search.controllers import RuleCase
from sites.calc.search.margin import margins, ratio_spread
from sites.calc.search.problem import Problem
from sites.calc.search.round_words import RoundFacts, reasons
from sites.calc.search.search import best_programs
from sites.calc.search.short import is_short
from sites.calc.search.threshold import ThresholdAdvice, Watched, fragile_zones, threshold_advice
from tests.sites.search.cases import SETTINGS, choice, garden

ONE_DAY_A_WEEK = RuleCase((choice(every=7),))
HALF_AN_HOUR = RuleCase((choice(closes=30), choice(every=2, closes=30)))
FREE = RuleCase((choice(), choice(every=2), choice(every=3), choice(every=4)))


def limit_of(problem: Problem) -> str:
    return binding_limits(problem, *best_programs_and_letters(problem))[0]


def fits(problem: Problem) -> bool:
    chosen, done = best_programs_and_letters(problem)
    return not is_short(problem, done)[0] and chosen.overrun_min[0] == 0


TURF = {"plants": ("cool_turf", "cool_turf"), "heads": ("rotor", "rotor"), "eto_mm": 7.0}


@pytest.mark.parametrize(
    ("tight", "relaxed", "word"),
    [
        pytest.param({"case": ONE_DAY_A_WEEK}, {"case": FREE}, "watering days", id="days"),
        pytest.param({"case": HALF_AN_HOUR}, {"case": FREE}, "hours of the watering rule", id="hours"),
        pytest.param(
            {"max_run_min": 4.0}, {"max_run_min": 240.0}, "longest run that timer or rule allow", id="run"
        ),
        pytest.param(
            {
                "starts_per_program": 1,
                "program_count": 1,
                "texture": "clay",
                "heads": ("fixed_spray", "fixed_spray"),
            },
            {"starts_per_program": 4, "texture": "clay", "heads": ("fixed_spray", "fixed_spray")},
            "starts and letters of the timer",
            id="starts",
        ),
    ],
)
@pytest.mark.parametrize("governed", [True, False], ids=["governed", "clock only"])
def test_the_limit_that_binds_is_named_and_lifting_it_gives_a_program_that_fits(
    tight: dict[str, object], relaxed: dict[str, object], word: str, governed: bool
) -> None:
    bound = garden(governed=governed, **{**TURF, **tight})  # type: ignore[arg-type]
    free = garden(governed=governed, **{**TURF, **relaxed})  # type: ignore[arg-type]

    assert not fits(bound)
    assert limit_of(bound) == word
    assert fits(free)
    assert limit_of(free) == ""


def test_where_no_limit_helps_the_soil_is_named() -> None:
    shallow = garden(texture="sand", root_depth_mm=25.0, threshold_mm=1.5, **TURF)  # type: ignore[arg-type]

    assert limit_of(shallow) == SOIL


def test_where_watering_is_barred_that_is_said() -> None:
    assert limit_of(garden(case=RuleCase(()))) == "no watering is allowed"


@pytest.mark.parametrize(
    ("rate_in_h", "intake_in_h", "accumulation_in", "minutes"),
    [
        (1.60, 0.35, 0.25, 12.0),
        (1.60, 0.15, 0.16, 6.62),
        (1.40, 0.50, 0.26, 17.33),
        (1.40, 0.40, 0.24, 14.4),
        (0.20, 0.20, 0.26, np.inf),
        (0.35, 0.10, 0.10, 24.0),
        (0.80, 0.35, 0.25, 33.3),
    ],
)
def test_longest_runs_of_published_zones(
    rate_in_h: float, intake_in_h: float, accumulation_in: float, minutes: float
) -> None:
    # Zones of the climatologically based controller test, Irrigation Association 2008, 8th draft (zone table
    # from memory), and a loam of 6 % slope; 60 ASA / (PR - IR), Irrigation Association 2005.
    found = runoff_limit_min(25.4 * rate_in_h, 25.4 * intake_in_h, 25.4 * accumulation_in)

    np.testing.assert_allclose(found, minutes, atol=0.05)


def advice(
    problem: Problem,
    *,
    kpa: float = 42.0,
    steps: tuple[float, ...] = (),
    suffers: bool = True,
    **watched: object,
) -> ThresholdAdvice:
    fragile, _ = fragile_zones(problem)
    return threshold_advice(
        problem,
        0,
        fragile=fragile & suffers,
        threshold_kpa=kpa,
        steps_kpa=steps,
        watched=Watched(**{"held_days": 30, "dry_downs": 5, **watched}),  # type: ignore[arg-type]
    )


def at_threshold(kpa: float, **kinds: object) -> Problem:
    problem = garden(**kinds)  # type: ignore[arg-type]
    zone = int(problem.governing[0])
    texture, depth = int(problem.zones.soil[zone]), float(problem.zones.root_depth_mm[zone])
    depth_mm = float(soil.threshold_depletion_mm(texture, kpa, depth))
    return replace(problem, controllers=replace(problem.controllers, threshold_mm=np.array([depth_mm])))


FLOWERS = {"plants": ("cool_turf", "annuals"), "heads": ("rotor", "dripline"), "eto_mm": 7.0}


def test_a_zone_that_runs_dry_between_waterings_asks_for_the_next_wetter_setting() -> None:
    # Common practice, no source: a threshold moves along the unit's own settings, one at a time.
    problem = at_threshold(60.0, **FLOWERS)

    found = advice(problem, kpa=60.0, steps=(20.0, 30.0, 45.0, 60.0, 80.0))

    assert fragile_zones(problem)[0].tolist() == [False, True]
    assert found.threshold_kpa == 45.0
    assert "one step wetter, 60 to 45 kPa" in found.words


def test_without_known_settings_a_step_is_at_most_a_quarter() -> None:
    assert advice(at_threshold(60.0, **FLOWERS), kpa=60.0).threshold_kpa == 45.0


def test_where_no_wetter_setting_is_left_another_zone_should_hold_the_sensor() -> None:
    problem = at_threshold(60.0, **FLOWERS)

    found = advice(problem, kpa=60.0, steps=(60.0, 80.0))

    assert found.threshold_kpa == 60.0
    assert "station 2 should hold the sensor" in found.words


def test_a_threshold_goes_drier_only_after_it_was_watched() -> None:
    # Common practice, no source: settings start moist and move drier only after a watched interval.
    problem = at_threshold(20.0, plants=("cool_turf", "shrubs"), eto_mm=3.0)
    steps = (20.0, 24.0, 40.0)

    assert advice(problem, kpa=20.0, steps=steps).threshold_kpa == 24.0
    assert advice(problem, kpa=20.0, steps=steps, held_days=13).threshold_kpa == 20.0
    assert advice(problem, kpa=20.0, steps=steps, dry_downs=1).threshold_kpa == 20.0
    assert advice(problem, kpa=20.0, steps=steps, held_days=None).threshold_kpa == 20.0


STEPS = (20.0, 24.0, 30.0, 40.0)


def lawn(kpa: float = 30.0, eto_mm: float = 5.0) -> Problem:
    return at_threshold(kpa, plants=("cool_turf", "shrubs"), eto_mm=eto_mm)


def test_evenly_dry_turf_asks_for_a_wetter_step_at_once() -> None:
    # Common practice, no source: evenly dry turf is a question of the setting.
    found = advice(lawn(), kpa=30.0, steps=STEPS, turf_seen="evenly_dry", held_days=1, dry_downs=0)

    assert found.threshold_kpa == 24.0
    assert found.words.startswith(
        "The last visit found the turf evenly dry. Set the threshold one step wetter"
    )


def test_patchy_colour_is_a_question_of_coverage_and_moves_no_threshold() -> None:
    # Common practice, no source.
    found = advice(lawn(20.0, 3.0), kpa=20.0, steps=STEPS, turf_seen="patchy")

    assert found.threshold_kpa == 20.0
    assert "coverage" in found.words
    assert advice(lawn(20.0, 3.0), kpa=20.0, steps=STEPS).threshold_kpa == 24.0


def test_soggy_turf_goes_drier_only_after_the_setting_was_watched() -> None:
    watched = advice(lawn(), kpa=30.0, steps=STEPS, turf_seen="soggy")
    fresh = advice(lawn(), kpa=30.0, steps=STEPS, turf_seen="soggy", held_days=5)
    last = advice(lawn(), kpa=30.0, steps=(20.0, 30.0), turf_seen="soggy")

    assert watched.threshold_kpa == 40.0
    assert fresh.threshold_kpa == 30.0
    assert "after 14 days with 2 dry-downs" in fresh.words
    assert "No drier setting is left" in last.words
    assert all("leaks" in one.words for one in (watched, fresh, last))


@pytest.mark.parametrize(
    ("watched", "words"),
    [
        ({"sensor_days": 6, "dry_downs": 1}, "the sensor is on trial until it was watched"),
        ({"planting_days": 10}, "something was planted here, for 20 more days"),
    ],
)
def test_a_new_sensor_and_a_new_planting_suspend_the_advice(watched: dict[str, object], words: str) -> None:
    dry = advice(lawn(), kpa=30.0, steps=STEPS, turf_seen="evenly_dry", **watched)  # type: ignore[arg-type]

    assert dry.threshold_kpa == 30.0
    assert words in dry.words


def test_a_trial_ends_with_two_weeks_or_two_dry_downs() -> None:
    for days, downs in ((14, 0), (6, 2)):
        done = advice(
            lawn(), kpa=30.0, steps=STEPS, turf_seen="evenly_dry", sensor_days=days, dry_downs=downs
        )
        assert done.threshold_kpa == 24.0


def test_off_season_nothing_is_learned_from_a_sensor() -> None:
    winter = advice(lawn(eto_mm=0.9), kpa=30.0, steps=STEPS, turf_seen="evenly_dry")

    assert winter == ThresholdAdvice(30.0, "")


def test_a_clock_only_controller_gets_no_threshold() -> None:
    problem = garden(governed=False)

    assert np.isnan(advice(problem, kpa=float("nan")).threshold_kpa)
    assert advice(problem, kpa=float("nan")).words == ""


def test_measured_zones_have_less_margin_and_visits_have_no_say_in_a_governing_zone() -> None:
    zones = garden(plants=("cool_turf",) * 3, heads=("rotor",) * 3).zones
    measured = replace(
        zones,
        precipitation_rate_assumed=np.array([False, False, True]),
        distribution_uniformity_assumed=np.array([False, False, True]),
    )

    governing = np.zeros(3, dtype=np.int64)

    found = margins(measured, governing, np.ones(3), SETTINGS)
    visited = margins(measured, governing, np.array([1.1, 1.0, 1.0]), SETTINGS)
    assumed = margins(zones, governing, np.ones(3), SETTINGS)

    assert 1.0 < found[1] < found[2]
    # On the governing zone it is on the starts that are offered; the sensor blocks what is not used.
    assert 1.0 < found[0] < assumed[0]
    assert visited[0] == found[0]


def test_an_assumed_ratio_is_known_to_about_a_fifth() -> None:
    zones = garden(plants=("cool_turf",) * 2, heads=("rotor",) * 2).zones

    spread = ratio_spread(zones, np.zeros(2, dtype=np.int64))

    assert 0.18 < spread[1] < 0.24


def test_what_a_visit_taught_counts_on_top() -> None:
    zones = garden(plants=("cool_turf",) * 2, heads=("rotor",) * 2).zones
    governing = np.zeros(2, dtype=np.int64)

    plain, wetter = (margins(zones, governing, np.array([1.0, f]), SETTINGS)[1] for f in (1.0, 1.1))

    assert wetter == pytest.approx(1.1 * plain)


@pytest.mark.parametrize("eto_mm", [3.0, 6.0, 9.0])
def test_more_margin_never_gives_a_zone_less_water_by_the_clock(eto_mm: float) -> None:
    daily = RuleCase((choice(),))
    lean, rich = (
        best_programs(garden(governed=False, case=daily, eto_mm=eto_mm, margin=margin))
        for margin in (1.0, 1.3)
    )

    assert np.all(rich.minutes * rich.starts[0] >= lean.minutes * lean.starts[0] - 1e-9)


def facts(**given_: object) -> RoundFacts:
    plain = RoundFacts(
        station=np.array([1, 2, 3]),
        past_limit=np.array([], dtype=np.int64),
        adequacy_now=np.array([0.99, 0.80, 0.99]),
        adequacy=np.array([0.99, 0.97, 0.98]),
        gross_now_mm=200.0,
        gross_mm=100.0,
        lost_now_pct=12.0,
        lost_pct=10.0,
        dry_days_spared=0.0,
        promised=0.95,
        starts=3,
        low_stations=np.array([], dtype=np.int64),
        is_change=True,
        breaks_rule=False,
        is_frozen=False,
        binding="",
        reach_pct=100.0,
        adequacy_pct=98.0,
        governing_station=1,
        log_factor=1.0,
        cut_short=(),
        fragile=np.array([], dtype=np.int64),
        threshold_words="",
        is_morning_after=False,
        off_days=(),
        valid_until=None,
    )
    return replace(plain, **given_)  # type: ignore[arg-type]


def test_stations_that_no_run_fits_are_named_with_the_step() -> None:
    words = reasons(facts(no_run=np.array([2]), step_min=10.0, is_change=False))

    assert words[0].startswith("No run fits station 2: the timer’s step, 10 min, is longer than")
    assert not any("No run fits" in one for one in reasons(facts()))


def test_a_change_is_explained_by_what_is_wrong_and_what_will_be() -> None:
    assert reasons(facts()) == [
        "As set, station 2 would get as little as 80 % of the need.",
        "As set, it would apply 2.0 times as much water as the new program.",
        "3 short passes a watering day give every zone 97 % or more of its need.",
    ]


def test_a_log_that_speaks_against_the_book_is_told_with_its_direction() -> None:
    less, more, little = (reasons(facts(log_factor=factor))[-1] for factor in (1.25, 0.8, 1.03))

    assert "runs bring station 1 about 20 % less than the book says" in less
    assert "about 25 % more than the book says" in more
    assert "log" not in little


def test_losses_and_dry_days_are_told_where_they_differ() -> None:
    lossy = reasons(facts(lost_now_pct=30.0))
    dry = reasons(facts(adequacy_now=np.array([0.97, 0.97, 0.97]), dry_days_spared=9.0))

    assert lossy[1].startswith("As set, 30 % of the water is lost")
    assert dry[0].endswith("on 9 more days of the four weeks.")


def test_stations_that_need_less_are_named_in_good_grammar() -> None:
    assert "station 3 needs less and moves to program B" in reasons(facts(low_stations=np.array([3])))[-1]
    assert (
        "stations 2, 3 need less and move to program B" in reasons(facts(low_stations=np.array([2, 3])))[-1]
    )


def test_one_station_runs_and_several_run() -> None:
    one = reasons(facts(past_limit=np.array([2])))
    two = reasons(facts(past_limit=np.array([2, 3])))

    assert one[0] == "Station 2 now runs past the run-off limit of soil, slope and heads."
    assert two[0].startswith("Stations 2, 3 now run past")


def test_cautions_follow_the_reasons() -> None:
    found = reasons(
        facts(
            cut_short=(2, 3),
            off_days=(date(2026, 7, 31),),
            valid_until=date(2026, 7, 6),
            binding="watering days",
            reach_pct=91.2,
            adequacy_pct=89.6,
        )
    )

    assert found[0] == (
        "The best program falls short; what binds: watering days. On these days even a full refill each time"
        " would meet 91 % of the need; the program meets 90 %."
    )
    assert "stations 2, 3 may be cut short" in found[-3]
    assert found[-2] == "Switch the timer off on 31 July: the rules bar that day."
    assert "from 6 July on" in found[-1]


def test_what_stays_is_told_as_such() -> None:
    assert "good enough" in reasons(facts(is_change=False))[-1]
    assert "little better" in reasons(facts(is_change=False, binding="watering days"))[-1]
    assert "by a person's decision" in reasons(facts(is_change=False, is_frozen=True))[-1]
    assert reasons(facts(adequacy_now=None))[0] == "Nobody told what the timer is set to now."
