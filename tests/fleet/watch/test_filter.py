"""Laws of the watch's filter."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import numpy.typing as npt
import pytest

from fleet.calc.watch.filter import FULL_GRID, FilterOptions, watch_fleet
from fleet.calc.watch.grid import offset_grid
from fleet.calc.watch.inputs import BadWatchInputs, WatchInputs, take_sites
from fleet.calc.watch.result import fault_score
from fleet.calc.watch.settings import (
    CAUSES,
    FleetFit,
    WatchSettings,
    fit_from_values,
    fit_values,
    starting_fit,
    with_numbers,
)
from fleet.scoring.watch_fleets import simulated_fleet, soil_groups
from fleet.scoring.watch_gardens import USE_GROUPS
from tests.fleet.watch.cases import plain_inputs, season

SETTINGS = WatchSettings()
ONE_GROUP = starting_fit(1, 1)
SIM_FIT = starting_fit(USE_GROUPS, soil_groups())


def _counts(days: int, sites: int, ran: int) -> npt.NDArray[np.int16]:
    return np.full((days, sites), ran, dtype=np.int16)


def test_the_grid_has_mean_zero_and_variance_one() -> None:
    grid = offset_grid((-2.0, 0.0, 1.0, 3.0), (-1.0, 1.0), (-1.0, 0.5, 1.0))

    for axis in (grid.use, grid.threshold, grid.level):
        np.testing.assert_allclose((grid.weight * axis).sum(), 0.0, atol=1e-12)
        np.testing.assert_allclose((grid.weight * axis**2).sum(), 1.0, atol=1e-12)


def test_probabilities_add_up_to_one_on_every_day() -> None:
    inputs = plain_inputs(ran=_counts(40, 3, 1))

    run = watch_fleet(inputs, ONE_GROUP, SETTINGS)

    np.testing.assert_allclose(run.probability.sum(axis=-1), 1.0, atol=1e-5)
    assert np.isfinite(run.depletion_mm).all()


def test_the_order_of_the_sites_does_not_matter() -> None:
    fleet = simulated_fleet(weather=season(days=60), physics="one_layer", sites=130, seed=5)
    order = np.random.default_rng(0).permutation(130)

    straight = watch_fleet(fleet.inputs, SIM_FIT, SETTINGS)
    shuffled = watch_fleet(take_sites(fleet.inputs, order), SIM_FIT, SETTINGS)

    np.testing.assert_allclose(shuffled.probability, straight.probability[:, order], atol=2e-4)


def test_a_log_of_only_gaps_stays_at_the_prior() -> None:
    days = 90
    run = watch_fleet(plain_inputs(days=days), ONE_GROUP, SETTINGS)

    fault = 1.0 - run.probability[-1, :, 0]

    # Three faults arrive every day, two as branches of a week each, and nothing is learned.
    both = SETTINGS.reads_wet_rate + SETTINGS.reads_dry_rate
    branches = SETTINGS.slots * SETTINGS.spawn_days * both
    arrived = days * (2 * SETTINGS.fault_rate + SETTINGS.erratic_rate) + branches
    np.testing.assert_allclose(fault, arrived / (1.0 + arrived), rtol=0.03)
    np.testing.assert_allclose(run.node_weight, np.tile(FULL_GRID.weight, (3, 1)), atol=1e-4)


def test_days_before_the_sensor_was_installed_teach_nothing() -> None:
    ran = _counts(60, 2, 0)
    inputs = plain_inputs(days=60, sites=2, ran=ran, first_day=np.array([0, 60]))

    run = watch_fleet(inputs, ONE_GROUP, SETTINGS)

    assert run.probability[-1, 0, 0] < 0.5
    assert run.probability[-1, 1, 0] > 0.98


@pytest.mark.parametrize(
    ("cause", "ran_after"), [("stuck_wet", 0), ("stuck_dry", 2)], ids=["all blocked", "none blocked"]
)
def test_a_sensor_that_never_changes_its_mind_is_found(cause: str, ran_after: int) -> None:
    weather = season("continental", days=120, seed=11)
    fleet = simulated_fleet(weather=weather, physics="two_layers", sites=60, seed=2)
    ran = fleet.inputs.ran.copy()
    healthy = np.flatnonzero(fleet.truth.fault < 0)[:12]
    onset = 50
    ran[onset:, healthy] = np.where(ran_after, fleet.inputs.starts, 0)[onset:, healthy]

    run = watch_fleet(replace(fleet.inputs, ran=ran), SIM_FIT, SETTINGS)

    flagged = fault_score(run.probability[:, healthy]) > SETTINGS.flag_score
    stuck = ("stuck_wet", "reads_wet") if cause == "stuck_wet" else ("stuck_dry", "reads_dry")
    named = np.array(CAUSES)[run.probability[-1, healthy, 1:].argmax(axis=-1)]
    assert flagged[-1].mean() >= 0.6
    assert np.isin(named[flagged[-1]], stuck).all()


def test_an_unknown_day_is_not_a_dry_day() -> None:
    rain = np.zeros((40, 1))
    rain[::4] = 20.0
    gap = rain.copy()
    gap[20:30] = np.nan
    dry = rain.copy()
    dry[20:30] = 0.0

    wet_run, gap_run, dry_run = (
        watch_fleet(plain_inputs(sites=1, rain_mm=values), ONE_GROUP, SETTINGS) for values in (rain, gap, dry)
    )

    assert gap_run.depletion_sd_mm[29, 0] > wet_run.depletion_sd_mm[29, 0]
    assert gap_run.depletion_mm[29, 0] < dry_run.depletion_mm[29, 0]


def test_a_site_without_any_known_rain_is_refused() -> None:
    with pytest.raises(BadWatchInputs, match="no day with known rain"):
        watch_fleet(plain_inputs(rain_mm=np.full((40, 3), np.nan)), ONE_GROUP, SETTINGS)


def test_more_runs_than_starts_are_refused() -> None:
    with pytest.raises(BadWatchInputs, match="more starts ran"):
        plain_inputs(ran=_counts(40, 3, 3))


def test_offsets_learn_even_under_a_closed_guard() -> None:
    ran = _counts(60, 4, 1)
    closed = replace(SETTINGS, guard_mm=1e-6)

    run = watch_fleet(plain_inputs(days=60, sites=4, ran=ran), ONE_GROUP, closed)

    assert np.abs(run.node_weight - FULL_GRID.weight).max() > 0.05


def test_a_whole_location_without_rain_records_raises_no_flags() -> None:
    fleet = simulated_fleet(
        weather=season("continental", days=110, locations=2), physics="one_layer", sites=160, seed=4
    )
    outage = fleet.inputs.rain_mm.copy()
    hit = fleet.inputs.location == 0
    outage[60:88, hit] = 0.0
    known_gap = outage.copy()
    known_gap[60:88, hit] = np.nan
    healthy = hit & (fleet.truth.fault < 0)

    # Numbers close to what this fleet's own logs teach.
    fit = with_numbers(SIM_FIT, dose_seen_share=1.0, noise_mm=0.2, tension_noise=0.1, shift_sd_mm=1.0)

    def newly_flagged(rain: npt.NDArray[np.float64]) -> float:
        run = watch_fleet(replace(fleet.inputs, rain_mm=rain), fit, SETTINGS)
        score = fault_score(run.probability[:, healthy])
        before = (score[:60] > SETTINGS.flag_score).any(axis=0)
        return float(((score[60:92] > SETTINGS.flag_score).any(axis=0) & ~before).mean())

    alone = watch_fleet(
        replace(fleet.inputs, rain_mm=outage), fit, SETTINGS, options=FilterOptions(shift=False)
    )
    unguarded = (fault_score(alone.probability[60:92][:, healthy]) > SETTINGS.flag_score).any(axis=0).mean()
    assert unguarded > 0.5
    assert newly_flagged(outage) <= 0.12
    assert newly_flagged(known_gap) <= 0.03


def test_the_watch_has_no_place_for_the_truth() -> None:
    fleet = simulated_fleet(weather=season(days=30), physics="one_layer", sites=10, seed=1)

    assert type(fleet.inputs) is WatchInputs
    names = {field.name for field in fields(WatchInputs)}
    assert not names & {"fault", "onset", "visible_nats", "truth"}
    assert not any(hasattr(fleet.inputs, name) for name in ("truth", "told", "fault"))


def test_a_fit_survives_being_kept() -> None:
    fit = replace(ONE_GROUP, rain_cv=0.6, use_mean=np.array([0.3]))

    back = fit_from_values(starting_fit(1, 1), fit_values(fit))

    assert back.rain_cv == 0.6
    np.testing.assert_array_equal(back.use_mean, [0.3])
    assert fit_from_values(starting_fit(2, 1), fit_values(fit)).use_mean.shape == (2,)


def test_a_wrong_rain_grid_raises_no_flags() -> None:
    """For six weeks a location gets the rain record of another place, without anybody knowing."""
    fleet = simulated_fleet(
        weather=season("continental", days=120, locations=2), physics="two_layers", sites=160, seed=6
    )
    wrong = fleet.inputs.rain_mm.copy()
    hit = fleet.inputs.location == 0
    other = wrong[:, np.flatnonzero(~hit)[0]]
    wrong[60:102, hit] = other[60:102, None]
    healthy = hit & (fleet.truth.fault < 0)
    fit = with_numbers(SIM_FIT, dose_seen_share=1.0, noise_mm=0.2, tension_noise=0.1)

    def newly_flagged(rain: npt.NDArray[np.float64]) -> float:
        run = watch_fleet(replace(fleet.inputs, rain_mm=rain), fit, SETTINGS)
        score = fault_score(run.probability[:, healthy])
        before = (score[:60] > SETTINGS.flag_score).any(axis=0)
        return float(((score[60:] > SETTINGS.flag_score).any(axis=0) & ~before).mean())

    blind = watch_fleet(
        replace(fleet.inputs, rain_mm=wrong), fit, SETTINGS, options=FilterOptions(shift=False)
    )
    alone = (fault_score(blind.probability[60:][:, healthy]) > SETTINGS.flag_score).any(axis=0).mean()
    assert newly_flagged(wrong) <= newly_flagged(fleet.inputs.rain_mm) + 0.04
    assert alone > newly_flagged(wrong) + 0.1


def test_what_a_garden_shares_between_use_and_dose_is_not_taken_for_a_fault() -> None:
    """Weak runs in a garden whose wet spring proves its ET right: without the level a dry summer flags it."""
    fleet = simulated_fleet(
        weather=season("continental", days=150, locations=6, seed=8), physics="two_layers", sites=300, seed=8
    )
    healthy = fleet.truth.fault < 0
    fit = with_numbers(SIM_FIT, dose_seen_share=1.0, noise_mm=0.2, tension_noise=0.1)

    def suspected(tried: FleetFit) -> float:
        run = watch_fleet(fleet.inputs, tried, SETTINGS)
        return float(np.maximum(fault_score(run.probability[:, healthy]).max(axis=0), -3.0).mean())

    assert suspected(fit) < suspected(with_numbers(fit, level_sd=1e-6, use_on_dose=0.5))
