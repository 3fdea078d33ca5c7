"""Simulated fleets, and what the watch makes of them."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from fleet.calc.watch.filter import watch_fleet
from fleet.calc.watch.fit import fit_fleet
from fleet.calc.watch.settings import CAUSES, FleetFit, WatchSettings, starting_fit, with_numbers
from fleet.scoring.watch import SEASONS, alarms_of, naive_alarms, score_fleets
from fleet.scoring.watch_climates import CLIMATES, SeasonWeather, generated_season
from fleet.scoring.watch_counts import Alarms, Scores, count_alarms, pooled
from fleet.scoring.watch_faults import NO_FAULT, FleetTruth
from fleet.scoring.watch_fleets import SimulatedFleet, simulated_fleet, soil_groups
from fleet.scoring.watch_gardens import USE_GROUPS, Errors, scaled
from fleet.scoring.watch_physics import PHYSICS
from fleet.scoring.watch_table import table_lines
from fleet.scoring.watch_truth import FALSE_BUDGET, evidence_of_starts
from tests.fleet.watch.cases import plain_inputs
from weather.calc.arrays import FloatArray

SETTINGS = WatchSettings()
MARICOPA = Path(__file__).parents[2] / "data" / "weather" / "maricopa_az_2003_2020_daily.csv"
# Numbers close to what simulated fleets' own logs teach, so that no test waits for a search.
FIT = with_numbers(
    starting_fit(USE_GROUPS, soil_groups()),
    dose_seen_share=1.0,
    noise_mm=0.2,
    tension_noise=0.1,
    rain_before_share=0.15,
    shift_sd_share=0.1,
)


def blocks_of_record(
    rain_mm: FloatArray, reference_et_mm: FloatArray, locations: int, rng: np.random.Generator
) -> SeasonWeather:
    """A season of several locations from one measured record, its weeks shuffled between them [mm/d]."""
    days = rain_mm.size
    week = np.arange(days) // 7
    rain = np.empty((days, locations))
    for place in range(locations):
        # A block moves by at most two weeks, so that the season keeps its course.
        moved = np.clip(week + rng.integers(-2, 3, week.max() + 1)[week], 0, week.max())
        rain[:, place] = rain_mm[np.minimum(moved * 7 + np.arange(days) % 7, days - 1)]
    et = reference_et_mm[:, None] * np.exp(rng.normal(0.0, 0.03, (1, locations)))
    return SeasonWeather(rain_mm=rain, reference_et_mm=et)


def _maricopa_season() -> SeasonWeather:
    """April to September 2019 of the measured station, for six locations."""
    with MARICOPA.open() as file:
        days = [row for row in csv.DictReader(file) if "2019-04-01" <= row["date"] < "2019-09-28"]
    rain = np.array([float(row["rain_mm"]) for row in days])
    et = np.array([float(row["eto_refet_fao56_mm"]) for row in days])
    return blocks_of_record(rain, et, 6, np.random.default_rng(1))


def _score(fleet: SimulatedFleet, fit: FleetFit = FIT) -> Scores:
    run = watch_fleet(fleet.inputs, fit, SETTINGS)
    scores = Scores()
    count_alarms(
        scores,
        alarms_of(run, fleet.inputs, SETTINGS, SETTINGS.flag_score_for(fleet.inputs.site_count)),
        fleet.inputs,
        fleet.truth,
    )
    return scores


@pytest.mark.parametrize("climate", CLIMATES)
def test_generated_rain_has_the_climates_means(climate: str) -> None:
    numbers = CLIMATES[climate]

    season = generated_season(numbers, 210, 400, np.random.default_rng(2))

    wet = season.rain_mm > 0
    np.testing.assert_allclose(wet[:30].mean(), numbers.wet_share[0], rtol=0.15)
    np.testing.assert_allclose(wet[93:120].mean(), numbers.wet_share[3], rtol=0.15)
    np.testing.assert_allclose(season.rain_mm[93:120][wet[93:120]].mean(), numbers.wet_day_mm[3], rtol=0.15)
    np.testing.assert_allclose(season.reference_et_mm[93:120].mean(), numbers.et_mm[3], rtol=0.05)


@pytest.mark.parametrize("physics", PHYSICS)
def test_a_fleet_from_one_seed_is_the_same_fleet(physics: str) -> None:
    weather = generated_season(CLIMATES["humid"], 30, 2, np.random.default_rng(0))

    one, two = (simulated_fleet(weather=weather, physics=physics, sites=20, seed=9) for _ in range(2))

    np.testing.assert_array_equal(one.inputs.ran, two.inputs.ran)
    np.testing.assert_array_equal(one.truth.fault, two.truth.fault)


@pytest.mark.parametrize("physics", PHYSICS)
def test_a_good_sensor_blocks_more_in_a_wetter_climate(physics: str) -> None:
    rates = []
    for climate in ("arid", "humid"):
        weather = generated_season(CLIMATES[climate], 120, 4, np.random.default_rng(3))
        fleet = simulated_fleet(weather=weather, physics=physics, sites=80, seed=3)
        seen = fleet.inputs.seen & (fleet.truth.fault == NO_FAULT)
        rates.append(1.0 - fleet.inputs.ran[seen].sum() / fleet.inputs.starts[seen].sum())

    assert 0.1 < rates[0] < rates[1] < 0.95


@pytest.mark.parametrize(
    ("climate", "low", "high"), [("arid", 0.27, 0.64), ("humid", 0.42, 0.92)], ids=["dry", "rainy"]
)
@pytest.mark.parametrize("physics", PHYSICS)
def test_healthy_fleets_block_within_the_published_ranges(
    physics: str, climate: str, low: float, high: float
) -> None:
    """With a fixed schedule the water saved is about the share of starts bypassed.

    Dry weather: 27 to 54 % in the five-year summary of Cardenas-Lailhacar and others 2010 (ASABE IRR10-9600)
    and up to 64 % in Cardenas-Lailhacar and Dukes 2012 (Trans. ASABE 55(2):581). Rainy weather: 42 to 72 % in
    both, up to 92 % for single sensors in Cardenas-Lailhacar, Dukes and Miller 2008 (JIDE 134(2):120; from
    memory). Single months of a season stray further; the mean over the season must lie inside.
    """
    weather = generated_season(CLIMATES[climate], 180, 6, np.random.default_rng(5))
    fleet = simulated_fleet(weather=weather, physics=physics, sites=120, seed=5)

    seen = fleet.inputs.seen & (fleet.truth.fault == NO_FAULT)
    rate = 1.0 - fleet.inputs.ran[seen].sum() / fleet.inputs.starts[seen].sum()

    assert low < rate < high


def test_faults_leave_evidence_only_after_they_began() -> None:
    weather = generated_season(CLIMATES["arid"], 60, 2, np.random.default_rng(4))

    fleet = simulated_fleet(weather=weather, physics="one_layer", sites=120, seed=4)

    healthy = fleet.truth.fault == NO_FAULT
    assert (fleet.truth.visible_nats[healthy] == 0.0).all()
    assert (fleet.truth.visible_nats[~healthy] > 0.0).mean() > 0.8


def test_stuck_sensors_on_measured_desert_weather_are_found_with_few_false_alarms() -> None:
    fleet = simulated_fleet(weather=_maricopa_season(), physics="one_layer", sites=300, seed=12)
    learned = fit_fleet(fleet.inputs, starting_fit(USE_GROUPS, soil_groups()), SETTINGS)

    scores = _score(fleet, learned)

    wet, dry = (scores.by_fault[CAUSES.index(name)] for name in ("stuck_wet", "stuck_dry"))
    assert wet.visible >= 5
    assert wet.visible_found >= 0.9 * wet.visible
    assert dry.visible_found >= 0.9 * dry.visible
    assert scores.false_alarms <= 0.03 * scores.healthy


def test_the_naive_rule_cries_wolf_where_the_watch_does_not() -> None:
    weather = generated_season(CLIMATES["continental"], 150, 6, np.random.default_rng(8))
    fleet = simulated_fleet(weather=weather, physics="two_layers", sites=200, seed=8)

    watch, naive = _score(fleet), Scores()
    count_alarms(naive, naive_alarms(fleet.inputs), fleet.inputs, fleet.truth)

    assert watch.false_alarms < naive.false_alarms / 4
    assert sum(row.found for row in watch.by_fault) > sum(row.found for row in naive.by_fault)
    lines = list(table_lines({("two_layers", "continental", "first season", "watch"): watch}))
    assert any("false alarms per 100 healthy" in line for line in lines)


def test_scaled_errors_keep_shares_below_one_half() -> None:
    errors = scaled(Errors(), 4.0)

    assert errors.rate == pytest.approx(0.8)
    assert errors.wrong_soil == 0.5


def test_a_fault_nobody_could_see_is_found_left_open_or_wrongly_said_to_be_in_order() -> None:
    fault = np.array([0, 0, 0, 0, NO_FAULT])
    truth = FleetTruth(fault=fault, onset=np.full(5, 2), visible_nats=np.array([30.0, 3.0, 3.0, 3.0, 0.0]))
    flagged = np.zeros((6, 5), dtype=np.bool_)
    flagged[4, :2] = True
    left_open = np.zeros((5, len(CAUSES)), dtype=np.bool_)
    left_open[2, 0] = True
    left_open[3, 1] = True  # another fault than the one it has
    alarms = Alarms(flagged=flagged, cause=np.zeros((6, 5), dtype=np.int64), left_open=left_open)
    scores = Scores()

    count_alarms(scores, alarms, plain_inputs(days=6, sites=5), truth)

    row = scores.by_fault[0]
    assert (row.faults, row.visible, row.visible_found) == (4, 1, 1)
    assert (row.unseen_found, row.unseen_open) == (1, 1)
    text = "\n".join(table_lines({("one_layer", "arid", "first season", "watch"): scores}))
    assert "could not be seen: 3, of them flagged 1, left open 1, said to be in order 1" in text


def test_the_command_refuses_a_climate_it_does_not_know() -> None:
    with pytest.raises(CommandError, match="not one of"):
        call_command("score_watch", "--climates", "lunar")


def test_two_seasons_are_scored_and_faults_that_nobody_found_go_on() -> None:
    scores = score_fleets(
        seeds=[3], climates=["arid"], physics=["one_layer"], sites=60, errors=Errors(), seasons=2
    )

    assert list(dict.fromkeys(key[2] for key in scores)) == list(SEASONS)
    first, after = (scores["one_layer", "arid", season, "watch"] for season in SEASONS)
    told = scores["one_layer", "arid", "season after", "told the truth"]
    missed = sum(row.faults - row.found for row in first.by_fault)
    assert first.carried == 0
    assert after.carried == missed
    assert told.false_alarms == round(FALSE_BUDGET * told.healthy)
    assert sum(row.visible_found for row in told.by_fault) == sum(row.visible for row in told.by_fault)
    both = pooled(scores["one_layer", "arid", season, "watch"] for season in SEASONS)
    assert both.healthy == first.healthy + after.healthy
    assert both.by_fault[0].days == first.by_fault[0].days + after.by_fault[0].days
    assert after.healthy + after.carried + sum(row.faults for row in after.by_fault) == 60
    assert any("went on from the season before" in line for line in table_lines(scores)) == (missed > 0)


def test_the_truth_teller_knows_the_spot_that_misreads() -> None:
    tension = np.log(np.array([[60.0], [20.0], [60.0], [10.0]]))  # own, good, reads wet, reads dry
    threshold = np.array([40.0])

    blocked, ran = (evidence_of_starts(np.array([case]), tension, threshold)[:, 0] for case in (True, False))

    names = ("healthy", *CAUSES)
    assert names[int(blocked.argmax())] != "reads_wet"
    assert ran[names.index("reads_wet")] > ran[names.index("healthy")]
    assert blocked[names.index("healthy")] > blocked[names.index("reads_wet")]
    np.testing.assert_allclose(np.exp(blocked) + np.exp(ran), 1.0)
