"""Days as arrays: what was measured wins over what was forecast, and a forecast over a filled gap."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from tests.factories import build_location
from weather.models import DailyWeather, Location
from weather.selectors import GAP_SOURCE, newest_days, weather_days

DAY = date(2026, 6, 15)
FETCHED = datetime(2026, 6, 15, 12, tzinfo=UTC)

pytestmark = pytest.mark.django_db


def build_day(location: Location, day: date, **columns: Any) -> DailyWeather:
    given: dict[str, Any] = {
        "kind": "observed",
        "issued": day,
        "tmin_c": 10.0,
        "tmax_c": 25.0,
        "eto_mm": 5.0,
        "eto_sd_mm": 0.3,
        "rain_used_mm": 0.0,
        "rain_sd_mm": 0.1,
        "source": "csv",
        "fetched_at": FETCHED,
        **columns,
    }
    return DailyWeather.objects.create(location=location, day=day, **given)


def forecast(location: Location, day: date, issued: date, **columns: Any) -> DailyWeather:
    return build_day(location, day, kind="forecast", issued=issued, source="nws", **columns)


def test_days_lie_on_a_grid_and_unknown_ones_are_nan() -> None:
    first, second = build_location("a"), build_location("b")
    build_day(first, DAY)
    build_day(second, DAY + timedelta(1), rain_used_mm=4.0)

    got = weather_days(location_ids=[second.pk, first.pk, first.pk], start=DAY, end=DAY + timedelta(2))

    assert got.location_ids.tolist() == [first.pk, second.pk]
    assert got.days.tolist() == [DAY, DAY + timedelta(1)]
    np.testing.assert_array_equal(np.isnan(got.reference_et_mm), [[False, True], [True, False]])
    assert got.rain_mm[1, 1] == 4.0
    assert not got.is_forecast.any()


def test_the_end_is_exclusive_and_other_locations_stay_out() -> None:
    location = build_location("a")
    build_day(location, DAY)
    build_day(build_location("b"), DAY)

    got = weather_days(location_ids=[location.pk], start=DAY - timedelta(1), end=DAY)

    assert got.reference_et_mm.shape == (1, 1)
    assert np.isnan(got.reference_et_mm).all()


def test_what_was_measured_wins_over_the_forecast() -> None:
    location = build_location("a")
    forecast(location, DAY, DAY - timedelta(2), eto_mm=9.0, rain_used_mm=9.0)
    build_day(location, DAY)

    got = weather_days(location_ids=[location.pk], start=DAY, end=DAY + timedelta(1))

    assert got.reference_et_mm[0, 0] == 5.0
    assert got.rain_mm[0, 0] == 0.0
    assert not got.is_forecast[0, 0]


def test_the_forecast_tells_the_rain_where_nobody_measured_it() -> None:
    location = build_location("a")
    forecast(location, DAY, DAY - timedelta(2), eto_mm=9.0, rain_used_mm=7.0, rain_sd_mm=3.0)
    build_day(location, DAY, rain_used_mm=None, rain_sd_mm=None)

    got = weather_days(location_ids=[location.pk], start=DAY, end=DAY + timedelta(1))

    assert got.reference_et_mm[0, 0] == 5.0
    assert (got.rain_mm[0, 0], got.rain_sd_mm[0, 0]) == (7.0, 3.0)
    assert got.is_forecast[0, 0]


def test_a_forecast_is_worth_more_than_a_filled_gap() -> None:
    location = build_location("a")
    forecast(location, DAY, DAY - timedelta(1), eto_mm=6.5)
    build_day(location, DAY, source=GAP_SOURCE, filled="eto_mm:mean_7_days", tmin_c=None, tmax_c=None)
    build_day(location, DAY + timedelta(1), source=GAP_SOURCE, filled="eto_mm:mean_7_days", eto_mm=4.0)

    got = weather_days(location_ids=[location.pk], start=DAY, end=DAY + timedelta(2))

    np.testing.assert_array_equal(got.reference_et_mm[:, 0], [6.5, 4.0])
    np.testing.assert_array_equal(got.is_filled[:, 0], [False, True])
    np.testing.assert_array_equal(got.is_forecast[:, 0], [True, False])
    assert got.tmin_c[0, 0] == 10.0


def test_the_newest_forecast_counts_and_a_replay_sees_none_that_came_later() -> None:
    location = build_location("a")
    for lead, eto in ((3, 3.0), (1, 1.0), (2, 2.0)):
        forecast(location, DAY, DAY - timedelta(lead), eto_mm=eto)

    newest = weather_days(location_ids=[location.pk], start=DAY, end=DAY + timedelta(1))
    replay = weather_days(
        location_ids=[location.pk],
        start=DAY,
        end=DAY + timedelta(1),
        forecast_issued_by=DAY - timedelta(2),
    )

    assert newest.reference_et_mm[0, 0] == 1.0
    assert replay.reference_et_mm[0, 0] == 2.0


def test_four_queries_serve_any_number_of_locations(django_assert_num_queries: Any) -> None:
    ids = [build_location(f"place {number}").pk for number in range(5)]

    with django_assert_num_queries(4):
        weather_days(location_ids=ids, start=DAY, end=DAY + timedelta(30))


def test_the_newest_day_is_the_newest_measured_one() -> None:
    first, second = build_location("a"), build_location("b")
    build_day(first, DAY)
    build_day(first, DAY + timedelta(1), source=GAP_SOURCE)
    build_day(second, DAY - timedelta(3))
    forecast(second, DAY + timedelta(2), DAY)

    assert newest_days() == {first.pk: DAY, second.pk: DAY - timedelta(3)}
    assert newest_days(location_ids=[second.pk]) == {second.pk: DAY - timedelta(3)}
