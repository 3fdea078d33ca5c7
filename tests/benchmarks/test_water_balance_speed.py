"""Speed and memory of the zone balance with its uncertainty. Prints figures, asserts no time."""

from __future__ import annotations

import resource
import time

import numpy as np
import pytest

from sites.calc.balance.parts import Forcing, RootZones, unknown_start
from sites.calc.balance.water_balance import water_balance

DAYS = 400
LOCATIONS = 50


def _garden_book(zones: int) -> tuple[RootZones, Forcing]:
    """Invented zones under invented weather: rain on a fifth of the days, runs on two fifths."""
    rng = np.random.default_rng(20260615)
    available = rng.uniform(15, 60, zones)
    rain = np.where(rng.random((DAYS, LOCATIONS)) < 0.2, rng.gamma(1.0, 8.0, (DAYS, LOCATIONS)), 0.0)
    runs = np.zeros((DAYS, zones), dtype=np.float32)
    for day in range(DAYS):
        runs[day] = np.where(rng.random(zones) < 0.4, rng.uniform(1, 9, zones), 0.0)
    return (
        RootZones(
            available,
            0.5 * available,
            rng.uniform(0.3, 0.8, zones),
            rng.uniform(40, 80, zones),
            np.full(zones, 0.14),
            np.full(zones, 0.2),
        ),
        Forcing(
            np.abs(rng.normal(5, 1.5, (DAYS, LOCATIONS))),
            np.full((DAYS, LOCATIONS), 0.5),
            rain,
            0.2 * rain + 0.3,
            rng.integers(0, LOCATIONS, zones),
            rng.integers(0, LOCATIONS, zones),
            runs,
            0.3 * runs,
        ),
    )


@pytest.mark.benchmark
@pytest.mark.parametrize("sites", [1_000, 10_000])
def test_zone_balance(sites: int, capsys: pytest.CaptureFixture[str]) -> None:
    zones = 6 * sites
    root, forcing = _garden_book(zones)
    state = unknown_start(root)

    seconds, worked = [], []
    balance = None
    for _ in range(3):
        del balance  # two results at once would only measure the memory of this loop
        started, processor = time.perf_counter(), time.process_time()
        balance = water_balance(root, forcing, state)
        seconds.append(time.perf_counter() - started)
        worked.append(time.process_time() - processor)

    assert balance is not None
    assert np.all(np.isfinite(balance.depletion_sd_mm))
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    with capsys.disabled():
        print(  # noqa: T201
            f"\nzone balance with uncertainty, {sites:,} sites, {zones:,} zones x {DAYS} days:"
            f" first run {seconds[0]:.2f} s,"
            f" best {min(seconds):.2f} s, {zones * DAYS / min(seconds) / 1e6:.1f} million zone-days/s"
            f" (first {zones * DAYS / seconds[0] / 1e6:.1f}),"
            f" {zones * DAYS / min(worked) / 1e6:.1f} a second of processor, peak {peak_mb:.0f} MB"
        )
