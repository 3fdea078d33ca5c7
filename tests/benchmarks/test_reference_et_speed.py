"""Speed and memory of a year of reference ET for many locations, beside the refet library."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable

import numpy as np
import pytest
import refet

from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.reference_et import reference_et

DAYS = 365
ROUNDS = 5


def invented(count: int) -> tuple[DailyWeather, Places]:
    """A year of plausible weather."""
    generator = np.random.default_rng(20260615)
    shape = (DAYS, count)
    tmin = generator.uniform(0.0, 20.0, shape)
    unknown = np.full(shape, np.nan)
    weather = DailyWeather(
        days=np.datetime64("2025-01-01") + np.arange(DAYS),
        tmin_c=tmin,
        tmax_c=tmin + generator.uniform(5.0, 18.0, shape),
        tdew_c=tmin - generator.uniform(0.0, 5.0, shape),
        rh_min_pct=unknown,
        rh_max_pct=unknown,
        wind_m_s=generator.uniform(0.5, 5.0, shape),
        wind_height_m=np.full(count, 2.0),
        solar_mj_m2=generator.uniform(5.0, 30.0, shape),
        rain_mm=unknown,
    )
    places = Places(
        generator.uniform(25.0, 48.0, count), np.zeros(count), generator.uniform(0.0, 1500.0, count)
    )
    return weather, places


def seconds(work: Callable[[], object]) -> list[float]:
    """Seconds of each round, the first one cold."""
    spent = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return spent


def peak_mb(work: Callable[[], object]) -> float:
    """Highest memory that the work took on top [MB]."""
    tracemalloc.start()
    work()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak / 1e6


@pytest.mark.benchmark
@pytest.mark.parametrize("count", [1_000, 10_000])
def test_a_year_of_reference_et_beside_refet(count: int, capsys: pytest.CaptureFixture[str]) -> None:
    weather, places = invented(count)

    def ours() -> object:
        return reference_et(weather, places).raw_mm

    def theirs() -> object:
        return refet.Daily(
            tmin=weather.tmin_c,
            tmax=weather.tmax_c,
            tdew=weather.tdew_c,
            rs=weather.solar_mj_m2,
            uz=weather.wind_m_s,
            zw=2.0,
            elev=places.elevation_m,
            lat=places.latitude_deg,
            doy=np.arange(1, DAYS + 1)[:, np.newaxis],
        ).eto()

    own, other = seconds(ours), seconds(theirs)
    np.testing.assert_allclose(ours(), theirs(), atol=0.005)  # type: ignore[call-overload]
    with capsys.disabled():
        print(  # noqa: T201 - a benchmark prints its figures
            f"\nETo {count} locations x {DAYS} days: ours {own[0]:.3f} s first, {min(own):.3f} s best; "
            f"refet {other[0]:.3f} s first, {min(other):.3f} s best; "
            f"ratio of best {min(own) / min(other):.2f}; "
            f"peak memory ours {peak_mb(ours):.0f} MB, refet {peak_mb(theirs):.0f} MB"
        )
