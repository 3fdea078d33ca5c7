"""The seam refuses what no later stage could use rightly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from weather.calc.weather_days import WeatherDays


def build_days(count_days: int = 3, ids: tuple[int, ...] = (7, 3)) -> WeatherDays:
    shape = (count_days, len(ids))
    return WeatherDays(
        days=np.datetime64("2026-06-01") + np.arange(count_days),
        location_ids=np.array(ids, dtype=np.int64),
        reference_et_mm=np.full(shape, 5.0),
        reference_et_sd_mm=np.full(shape, 0.5),
        rain_mm=np.zeros(shape),
        rain_sd_mm=np.zeros(shape),
        tmin_c=np.full(shape, 10.0),
        tmax_c=np.full(shape, 25.0),
        is_filled=np.zeros(shape, dtype=bool),
        is_forecast=np.zeros(shape, dtype=bool),
    )


def test_columns_are_found_by_id_and_strangers_are_minus_one() -> None:
    got = build_days(ids=(7, 3, 11)).columns_of(np.array([3, 11, 4, 7, 99], dtype=np.int64))

    np.testing.assert_array_equal(got, [1, 2, -1, 0, -1])


def test_without_locations_every_column_is_unknown() -> None:
    got = build_days(ids=()).columns_of(np.array([3], dtype=np.int64))

    np.testing.assert_array_equal(got, [-1])


def test_unknown_values_are_welcome() -> None:
    days = build_days()
    holed = replace(days, rain_mm=np.full((3, 2), np.nan), reference_et_mm=np.full((3, 2), np.nan))

    assert np.isnan(holed.rain_mm).all()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        pytest.param(
            {"days": np.array(["2026-06-01", "2026-06-02", "2026-06-04"], "datetime64[D]")}, "gap", id="gap"
        ),
        pytest.param({"days": np.arange(3)}, "datetime64", id="days of another type"),
        pytest.param({"location_ids": np.array([3, 3])}, "distinct", id="a location twice"),
        pytest.param({"rain_mm": np.zeros((3, 3))}, "rain_mm has the shape", id="shape"),
        pytest.param({"rain_mm": np.full((3, 2), -1.0)}, "rain_mm must not be negative", id="negative rain"),
        pytest.param(
            {"reference_et_mm": np.full((3, 2), -0.1)}, "reference_et_mm must not", id="negative ET"
        ),
        pytest.param({"is_filled": np.zeros((3, 2))}, "is_filled holds", id="marks of another type"),
    ],
)
def test_nonsense_is_refused(change: dict[str, np.ndarray], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        replace(build_days(), **change)


def test_rain_comes_from_the_gauge_and_from_the_location_where_that_is_silent() -> None:
    sky = build_days(3, ids=(5, 7))
    sky.rain_mm[:, 0] = [1.0, 2.0, 3.0]
    sky.rain_mm[:, 1] = [9.0, np.nan, 8.0]
    sky.rain_sd_mm[:, 0], sky.rain_sd_mm[:, 1] = 0.5, 0.1

    got = sky.rain_of(np.array([5, 5, 5, 9]), np.array([7, 0, 9, 9]))

    # A gauge; none; one that is unknown; and a location that is.
    assert got.rain_mm[:, got.column].T[:3].tolist() == [[9.0, 2.0, 8.0], [1.0, 2.0, 3.0], [1.0, 2.0, 3.0]]
    assert got.rain_sd_mm[:, got.column[0]].tolist() == [0.1, 0.5, 0.1]
    assert np.isnan(got.rain_mm[:, got.column[3]]).all()
