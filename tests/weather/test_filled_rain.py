"""Rain is filled from the nearest gauge of the same day, never from another day."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.weather.filling_cases import filled, quality_of
from tests.weather.station_data import build_weather
from weather.calc.daily_weather import Places
from weather.calc.fill_codes import (
    Fill,
    fill_words,
)
from weather.calc.filling import fill_days


def test_rain_comes_from_the_nearest_gauge_that_knows_and_from_no_other_day() -> None:
    days = np.datetime64("2026-06-01") + np.arange(3)
    nan = np.nan
    rain = np.array([[nan, 5.0, 9.0], [nan, nan, 9.0], [nan, nan, nan]])
    weather = build_weather(days, tmin_c=np.full((3, 3), 10.0), tmax_c=np.full((3, 3), 20.0), rain_mm=rain)
    places = Places(np.array([40.0, 40.03, 40.06]), np.full(3, -100.0), np.full(3, 300.0))

    got = filled(weather, places)

    np.testing.assert_array_equal(got.rain_mm, [[5.0, 5.0, 9.0], [9.0, 9.0, 9.0], [nan, nan, nan]])
    assert fill_words(int(got.fills[0, 0] & Fill.RAIN_NEARBY.value)) == "rain_mm:nearby"
    assert got.fills[0, 1] & Fill.RAIN_NEARBY.value == 0
    # 3.34 km to the first gauge, 6.67 km to the second: the spread grows with the way.
    np.testing.assert_allclose(
        got.rain_sd_mm[0, 0], (0.10 + 0.03 * 3.336) * 5.0 + 0.1 + 0.05 * 3.336, rtol=1e-3
    )
    np.testing.assert_allclose(
        got.rain_sd_mm[1, 0], (0.10 + 0.03 * 6.672) * 9.0 + 0.1 + 0.05 * 6.672, rtol=1e-3
    )
    assert np.isnan(got.rain_sd_mm[2]).all()


def test_rain_never_travels_farther_than_its_setting() -> None:
    days = np.datetime64("2026-06-01") + np.arange(1)
    weather = build_weather(days, tmin_c=[[10.0, 10.0]], tmax_c=[[20.0, 20.0]], rain_mm=[[np.nan, 5.0]])
    places = Places(np.array([40.0, 40.1]), np.full(2, -100.0), np.full(2, 300.0))

    assert np.isnan(filled(weather, places).rain_mm[0, 0])
    assert filled(weather, places, rain_km=12.0).rain_mm[0, 0] == 5.0


def test_rain_lent_by_a_grid_has_the_spread_of_a_grid() -> None:
    days = np.datetime64("2026-06-01") + np.arange(1)
    weather = build_weather(days, tmin_c=[[10.0, 10.0]], tmax_c=[[20.0, 20.0]], rain_mm=[[np.nan, 5.0]])
    places = Places(np.array([40.0, 40.0]), np.full(2, -100.0), np.full(2, 300.0))

    got = fill_days(
        weather,
        places,
        quality=quality_of(np.array([[False, True]])),
        climatology_mm=np.full((12, 2), np.nan),
    )

    np.testing.assert_allclose(got.rain_sd_mm[0], 0.40 * 5.0 + 0.5)
    assert got.reference_et_sd_mm[0, 1] > got.reference_et_sd_mm[0, 0]


def test_a_clogged_gauge_is_told_after_a_month_of_wet_neighbours() -> None:
    days = np.datetime64("2026-06-01") + np.arange(40)
    rain = np.zeros((40, 2))
    rain[::3, 1] = 4.0
    weather = build_weather(days, tmin_c=np.full((40, 2), 10.0), tmax_c=np.full((40, 2), 20.0), rain_mm=rain)
    places = Places(np.array([40.0, 40.05]), np.full(2, -100.0), np.full(2, 300.0))

    got = filled(weather, places)
    dry_region = filled(replace(weather, rain_mm=np.zeros((40, 2))), places)

    np.testing.assert_array_equal(got.is_gauge_dry[:, 0], np.arange(40) >= 24)
    assert not got.is_gauge_dry[:, 1].any()
    assert not dry_region.is_gauge_dry.any()
