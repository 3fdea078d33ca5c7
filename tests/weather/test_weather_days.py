"""The seam refuses what no later stage could use rightly."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

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
        is_rain_lent=np.zeros(shape, dtype=np.bool_),
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
    assert got.is_stood_in[:, got.column].T.tolist() == [
        [False, True, False],
        [False, False, False],
        [True, True, True],
        [False, False, False],
    ]
    assert np.isnan(got.rain_mm[:, got.column[3]]).all()


def test_rain_that_stands_in_is_less_sure_by_the_way_from_the_gauge() -> None:
    sky = replace(build_days(2, ids=(5, 7)), positions_deg=np.array([[41.0, -104.0], [41.05, -104.0]]))
    sky.rain_mm[:, 0], sky.rain_sd_mm[:, 0] = [2.0, 4.0], 0.5
    sky.rain_mm[:, 1] = [np.nan, 9.0]

    got = sky.rain_of(np.array([5]), np.array([7]))

    way = 5.56  # 0.05 degrees of latitude [km]
    assert got.rain_sd_mm[0, 0] == pytest.approx(0.5 + 0.05 * way + 0.03 * way * 2.0, rel=1e-3)
    assert got.rain_sd_mm[1, 0] == sky.rain_sd_mm[1, 1]


def test_rain_lent_to_a_silent_gauge_counts_only_where_the_location_knows_none() -> None:
    sky = build_days(2, ids=(5, 7))
    sky.rain_mm[:, 0] = [2.0, np.nan]
    sky.rain_mm[:, 1] = 6.0
    sky.is_rain_lent[:, 1] = True

    got = sky.rain_of(np.array([5, 7]), np.array([7, 0]))

    assert got.rain_mm[:, got.column[0]].tolist() == [2.0, 6.0]
    assert got.is_stood_in[:, got.column[0]].all()
    # At its own place, filled rain is the rain there is.
    assert got.rain_mm[:, got.column[1]].tolist() == [6.0, 6.0]
    assert not got.is_stood_in[:, got.column[1]].any()


def test_a_span_of_days_is_cut_out_and_what_is_not_held_is_refused() -> None:
    days = build_days(count_days=5)
    some = replace(days, rain_mm=np.arange(10.0).reshape(5, 2)).between(date(2026, 6, 2), date(2026, 6, 4))

    assert some.days.tolist() == [date(2026, 6, 2), date(2026, 6, 3)]
    np.testing.assert_array_equal(some.rain_mm, [[2.0, 3.0], [4.0, 5.0]])
    with pytest.raises(ValueError, match="not among these days"):
        days.between(date(2026, 6, 4), date(2026, 6, 7))
