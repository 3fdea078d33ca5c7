"""What if one thing were otherwise, and the ways out where the best program falls short."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from sites.calc import landscape, soil
from sites.calc.program.keyed import keyed_lines
from sites.calc.search.controllers import RuleCase
from sites.calc.search.garden import Figures, Garden, best_answer
from sites.calc.search.way import LEAST_DRY_DAYS, LEAST_WORTH, Way
from sites.calc.search.ways import ways_out
from sites.calc.search.weather import Seasons
from tests.sites.search.cases import DAYS, FREE, SETTINGS, choice, garden

STEPS = (20.0, 26.0, 34.0, 45.0, 60.0, 80.0)


def a_garden(*, kpa: float = 45.0, case: RuleCase = FREE, eto_mm: float = 6.0, **kinds: object) -> Garden:
    given = garden(case=case, eto_mm=eto_mm, **kinds)  # type: ignore[arg-type]
    count = len(given.zones)
    made = Garden(
        zones=given.zones,
        controller=given.controllers,
        case=case,
        weather=Seasons(
            np.full((DAYS, 1, 5), eto_mm),
            np.zeros((DAYS, 1, 5)),
            np.array([5]),
            np.array([False]),
            np.array([True]),
        ),
        weather_column=np.zeros(count, dtype=np.int64),
        rain_column=np.zeros(count, dtype=np.int64),
        depletion_mm=given.zones.allowed_depletion_mm / 2,
        factors=np.ones(count),
        settings=SETTINGS,
        threshold_kpa=kpa,
    )
    return made.with_threshold(kpa) if given.governing[0] >= 0 else made


def ways(made: Garden, steps: tuple[float, ...] = STEPS) -> dict[str, object]:
    return {way.key: way for way in ways_out(made, best_answer(made), steps)}


BEDS = {"plants": ("shrubs", "annuals"), "heads": ("dripline", "rotor")}
SPRAYS = {"plants": ("cool_turf", "cool_turf"), "heads": ("fixed_spray", "fixed_spray")}
LAWNS = {"plants": ("cool_turf", "cool_turf"), "heads": ("rotor", "rotor")}


@pytest.mark.parametrize(
    ("key", "kinds"),
    [
        # Flowers starve between two waterings of deep shrubs on a dry setting.
        ("threshold", {**BEDS, "kpa": 80.0}),
        ("place", {**BEDS, "kpa": 80.0}),
        ("second", {**BEDS, "kpa": 80.0}),
        ("days", {**LAWNS, "case": RuleCase((choice(every=7),))}),
        ("hours", {**LAWNS, "case": RuleCase((choice(closes=30),))}),
        (
            "starts",
            {**LAWNS, "texture": "clay", "slope_pct": 4.0, "starts_per_program": 1, "program_count": 1},
        ),
        # A sensor that can stop a run cuts short whatever runs behind it.
        ("order", {**SPRAYS, "texture": "clay", "program_count": 1}),
        (
            "heads",
            {
                **SPRAYS,
                "texture": "clay_loam",
                "slope_pct": 8.0,
                "governing": 1,
                "program_count": 1,
                "starts_per_program": 1,
            },
        ),
    ],
)
def test_relaxing_what_is_named_gives_a_program_that_fits(key: str, kinds: dict[str, object]) -> None:
    made = a_garden(**kinds)  # type: ignore[arg-type]

    assert not best_answer(made).figures.fits
    found = ways(made)

    assert key in found
    assert found[key].after.fits  # type: ignore[attr-defined]


def test_a_wetter_step_is_the_mildest_that_fits() -> None:
    made = a_garden(**BEDS, kpa=80.0)  # type: ignore[arg-type]
    way = ways(made)["threshold"]
    step = float(dict(way.values)["threshold"])  # type: ignore[attr-defined]

    assert step in STEPS
    milder = [one for one in STEPS if step < one < 80.0]
    assert all(not best_answer(made.with_threshold(one)).figures.fits for one in milder)


def test_ways_that_fit_stand_first_and_none_brings_nothing() -> None:
    found = ways_out(
        made := a_garden(**LAWNS, case=RuleCase((choice(every=4),)), eto_mm=8.0),  # type: ignore[arg-type]
        best_answer(made),
        STEPS,
    )

    assert found
    fits = [way.after.fits for way in found]
    assert fits == sorted(fits, reverse=True)
    assert all(way.after.fits or way.dry_days_spared >= LEAST_DRY_DAYS for way in found)
    assert all(way.words.endswith(".") and way.needs for way in found)


def test_where_nothing_may_run_the_word_is_the_suppliers() -> None:
    assert ways(a_garden(case=RuleCase(()))).keys() <= {"starts", "order"}


def test_a_second_timer_takes_the_zones_that_the_sensor_does_not_speak_for() -> None:
    way = ways(a_garden(**BEDS, kpa=80.0))["second"]  # type: ignore[arg-type]

    assert way.words.startswith("Give station 2 a timer of its own")  # type: ignore[attr-defined]


def test_what_is_changed_is_changed_and_the_rest_is_not() -> None:
    made = a_garden()
    texture, depth = int(made.zones.soil[0]), float(made.zones.root_depth_mm[0])

    drier, moved = made.with_threshold(60.0), made.with_governing(2)
    slower = made.with_heads({1: "rotary_nozzle"})

    assert drier.controller.threshold_mm[0] == pytest.approx(
        float(soil.threshold_depletion_mm(texture, 60.0, depth))
    )
    assert moved.zones.is_governing.tolist() == [False, True]
    assert moved.controller.threshold_mm[0] > made.controller.threshold_mm[0]  # shrubs root deeper
    assert slower.zones.head[0] == landscape.HEADS.index("rotary_nozzle")
    assert slower.zones.precipitation_rate_mm_h[0] < made.zones.precipitation_rate_mm_h[0]
    assert slower.zones.precipitation_rate_mm_h[1] == made.zones.precipitation_rate_mm_h[1]
    assert made.zones.head[0] == landscape.HEADS.index("rotor")
    assert best_answer(made).figures == best_answer(made.with_heads({})).figures


@pytest.mark.parametrize("kpa", [60.0, 45.0, 34.0])
def test_a_wetter_threshold_never_leaves_more_dry_days(kpa: float) -> None:
    made = a_garden(plants=("cool_turf", "annuals"), heads=("rotor", "rotor"), kpa=kpa)
    wetter = made.with_threshold(kpa - 10.0)

    assert best_answer(wetter).figures.worst_pct >= best_answer(made).figures.worst_pct - 0.5


def test_a_threshold_that_nobody_knows_is_taken_as_half_of_what_may_be_used() -> None:
    made = replace(a_garden(), threshold_kpa=math.nan).with_governing(1)

    assert made.controller.threshold_mm[0] == pytest.approx(made.zones.allowed_depletion_mm[0] / 2)
    assert "threshold" not in ways(made)


def test_the_chosen_program_is_keyed_in_letter_by_letter() -> None:
    answer = best_answer(a_garden())

    lines = keyed_lines(answer.given, answer.chosen, 0, FREE.choices)

    assert {line.station for line in lines} == {1, 2}
    assert all(line.run_min > 0 and line.starts and line.days for line in lines)
    nothing = best_answer(a_garden(case=RuleCase(())))
    assert keyed_lines(nothing.given, nothing.chosen, 0, ()) == ()


SHORT = Figures(90.0, 80.0, 2, dry_days=30.0, water_l=10_000.0, lost_l=1_000.0, cost=2.0, fits=False)


def way_to(**after: object) -> Way:
    return Way("threshold", "Do it.", "a visit", (), SHORT, replace(SHORT, **after))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("after", "verdict", "losses"),
    [
        ({"fits": True, "cost": 0.1, "adequacy_pct": 97.0}, "enough", ()),
        ({"cost": 1.0, "adequacy_pct": 92.0, "dry_days": 20.0}, "helps", ()),
        (
            {"cost": 1.9, "adequacy_pct": 89.4, "worst_pct": 85.0, "dry_days": 20.0},
            "helps but",
            ("need met falls from 90.0 to 89.4 %",),
        ),
        (
            {"cost": 2.2, "adequacy_pct": 88.0, "worst_pct": 79.0, "dry_days": 26.0, "lost_l": 1_500.0},
            "no gain",
            (
                "need met falls from 90.0 to 88.0 %",
                "the worst zone falls from 80.0 to 79.0 %",
                "5 % more of the water is lost",
            ),
        ),
        ({"cost": 1.0, "dry_days": 36.0}, "helps but", ("6 more dry zone-days",)),
    ],
)
def test_a_way_is_marked_by_what_it_is_worth_with_its_losses_named(
    after: dict[str, object], verdict: str, losses: tuple[str, ...]
) -> None:
    way = way_to(**after)

    assert (way.verdict, way.losses) == (verdict, losses)


@pytest.mark.parametrize("eto_mm", [6.0, 8.0, 10.0])
@pytest.mark.parametrize("kinds", [BEDS, LAWNS, SPRAYS], ids=["beds", "lawns", "sprays"])
def test_no_way_is_said_to_help_that_lets_something_fall(kinds: dict[str, object], eto_mm: float) -> None:
    made = a_garden(**kinds, kpa=80.0, case=RuleCase((choice(every=3, closes=240),)), eto_mm=eto_mm)
    best = best_answer(made)

    for way in ways_out(made, best, STEPS):
        if way.verdict == "helps":
            assert way.after.adequacy_pct > way.before.adequacy_pct - 0.2
            assert way.worth > LEAST_WORTH
        if way.verdict == "helps but":
            assert way.losses
            assert way.worth > LEAST_WORTH


def test_a_zone_that_goes_dry_between_waterings_has_ways_out_though_its_need_is_met() -> None:
    # 0.7 x depletion at 45 kPa, and one hot day more, is beyond what the flowers' roots may lose.
    made = a_garden(**BEDS, kpa=45.0)  # type: ignore[arg-type]
    best = best_answer(made)

    assert best.figures.fits
    assert best.done.dry_share[1] > SETTINGS.most_dry_share
    found = ways_out(made, best, STEPS)
    assert {"threshold", "place", "second"} <= {way.key for way in found}
    for way in found:
        assert way.verdict in ("helps", "helps but")
        assert way.after.fits
        assert way.worth > LEAST_WORTH
        assert way.dry_days_spared >= LEAST_DRY_DAYS
