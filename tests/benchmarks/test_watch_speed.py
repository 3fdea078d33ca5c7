"""How fast and how large the sensor watch is; prints figures, asserts none."""

from __future__ import annotations

import resource
import time

import numpy as np
import pytest

from fleet.calc.watch.filter import watch_fleet
from fleet.calc.watch.fit import fit_fleet
from fleet.calc.watch.habits import no_habits
from fleet.calc.watch.inputs import WatchInputs, no_periods
from fleet.calc.watch.settings import WatchSettings, starting_fit

DAYS = 200


def _fleet(sites: int) -> WatchInputs:
    """Controllers with three starts every other day, at a location for every fifty."""
    rng = np.random.default_rng(7)
    location = np.sort(rng.integers(0, max(1, sites // 50), sites))
    locations = int(location.max()) + 1
    rain = (rng.random((DAYS, locations)) < 0.2) * rng.gamma(0.75, 12.0, (DAYS, locations))
    et = np.clip(5.0 + rng.normal(0.0, 1.0, (DAYS, locations)), 0.5, None)
    days = np.arange(DAYS)[:, None]
    starts = np.where((days + rng.integers(0, 2, sites)) % 2 == 0, rng.integers(1, 4, sites), 0)
    ran = rng.binomial(starts, 0.6)
    ran = np.where(rng.random(ran.shape) < 0.02, -1, ran)
    return WatchInputs(
        days=np.arange(np.datetime64("2026-04-01"), np.datetime64("2026-04-01") + DAYS),
        location=location,
        use_group=rng.integers(0, 4, sites),
        soil_group=rng.integers(0, 4, sites),
        landscape_coefficient=np.full(sites, 0.7),
        threshold_depletion_mm=rng.uniform(7.0, 13.0, sites),
        available_water_mm=np.full(sites, 30.0),
        excess_water_mm=np.full(sites, 20.0),
        tension_slope_mm=np.full(sites, 5.0),
        first_day=np.zeros(sites, dtype=np.int64),
        reference_et_mm=et[:, location],
        rain_mm=rain[:, location],
        dose_mm=np.full((DAYS, sites), 4.0),
        starts=starts.astype(np.int16),
        ran=ran.astype(np.int16),
        **no_periods(DAYS, sites),
        habits=no_habits(sites),
    )


@pytest.mark.benchmark
@pytest.mark.parametrize("sites", [1_000, 10_000])
def test_speed_of_the_watch(sites: int, capsys: pytest.CaptureFixture[str]) -> None:
    inputs, settings = _fleet(sites), WatchSettings()

    began, processor = time.perf_counter(), time.process_time()
    fit = fit_fleet(inputs, starting_fit(4, 4), settings)
    fitted = time.perf_counter()
    run = watch_fleet(inputs, fit, settings)
    done, worked = time.perf_counter(), time.process_time() - processor

    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    with capsys.disabled():
        print(  # noqa: T201
            f"\nsensor watch, {sites} controllers x {DAYS} days: weekly fit {fitted - began:.1f} s,"
            f" filter {done - fitted:.1f} s, {worked:.1f} s of processor in all, peak memory {peak_mb:.0f} MB"
        )
    assert run.probability.shape == (DAYS, sites, 6)
