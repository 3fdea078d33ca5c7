"""Storing is an upsert; what it touches is computed, and what changed makes later results out of date."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from tests.weather.new_days import DAY, FAR, FORD, HILL, new_day, run_of_days
from weather.calc.daily_weather import DailyWeather as Sky
from weather.calc.daily_weather import Places
from weather.calc.new_days import RAW, NewDay, NewPlace
from weather.calc.reference_et import reference_et
from weather.models import DailyWeather, Location, SourceDay
from weather.selectors import GAP_SOURCE
from weather.services.fill_weather import fill_weather
from weather.services.record_daily_weather import record_daily_weather

NOW = datetime(2026, 6, 16, 6, 0, tzinfo=UTC)
LATER = datetime(2026, 6, 17, 6, 0, tzinfo=UTC)
ONE = timedelta(days=1)

pytestmark = pytest.mark.django_db


def record(days: list[NewDay], source: str = "file a.csv", now: datetime = NOW) -> Any:
    return record_daily_weather(days=days, source=source, now=now)


def stored(place: NewPlace = FORD, day: date = DAY) -> DailyWeather:
    return DailyWeather.objects.get(location__name=place.name, day=day, kind="observed")


def everything() -> list[tuple[Any, ...]]:
    return list(DailyWeather.objects.order_by("location__name", "day", "kind", "issued").values_list())


def fresh() -> None:
    """As after a balance run."""
    Location.objects.update(stale_from=None)


def test_new_days_are_stored_with_their_location_and_computed() -> None:
    got = record(run_of_days(3))

    assert (got.added, got.changed, got.unchanged, got.locations, got.filled) == (3, 0, 0, 1, 3)
    location = Location.objects.get(name="Alder Ford")
    assert (location.latitude, location.elevation_m, location.newest_day) == (41.2, 1500.0, DAY)
    assert location.stale_from == DAY - 2 * ONE
    row = stored()
    new = run_of_days(1)[0]
    expected = reference_et(
        Sky(
            np.array([DAY], dtype="datetime64[D]"),
            *(np.array([[np.nan if value is None else value]]) for value in new.values),
        ),
        Places(np.array([41.2]), np.array([-104.7]), np.array([1500.0])),
    ).raw_mm[0, 0]
    assert row.eto_mm == pytest.approx(expected, abs=1e-4)
    assert (row.eto_method, row.filled, row.flags, row.source) == ("fao56", "", "", "file a.csv")
    assert row.rain_used_mm == 0.0
    assert row.fetched_at == NOW


def test_the_same_days_again_change_nothing() -> None:
    record(run_of_days(5))
    fresh()
    before = everything()

    got = record(run_of_days(5), now=LATER)

    assert (got.added, got.changed, got.unchanged, got.filled) == (0, 0, 5, 0)
    assert everything() == before
    assert Location.objects.get().stale_from is None


def test_a_revised_past_day_makes_everything_from_it_on_out_of_date() -> None:
    record(run_of_days(10))
    fresh()

    got = record([new_day(day=DAY - 4 * ONE, tmax_c=33.0)], now=LATER)

    assert (got.added, got.changed, got.unchanged) == (0, 1, 0)
    assert Location.objects.get().stale_from == DAY - 4 * ONE
    assert stored(day=DAY - 4 * ONE).fetched_at == LATER


def test_an_earlier_mark_stays_when_a_later_day_is_revised() -> None:
    record(run_of_days(10))

    record([new_day(tmax_c=33.0)])

    assert Location.objects.get().stale_from == DAY - 9 * ONE


def test_a_revision_that_moves_no_used_value_makes_nothing_out_of_date() -> None:
    record(run_of_days(10))
    fresh()

    # The dew point decides; relative humidity beside it is kept and changes no result.
    got = record([new_day(rh_max_pct=90.0, rh_min_pct=30.0)])

    assert got.changed == 1
    assert Location.objects.get().stale_from is None


def test_days_that_nobody_measured_get_rows_of_their_own() -> None:
    days = run_of_days(12)
    record([*days[:8], *days[10:]])

    gap = stored(day=days[8].day)

    assert (gap.source, gap.filled, gap.eto_method) == (GAP_SOURCE, "eto_mm:mean_7_days", "mean_7_days")
    assert gap.tmin_c is None
    assert gap.rain_used_mm is None
    assert gap.eto_sd_mm is not None
    assert gap.eto_sd_mm > (stored(day=days[7].day).eto_sd_mm or 9.0)


def test_a_late_day_takes_the_place_of_its_gap() -> None:
    days = run_of_days(12)
    record([*days[:8], *days[9:]])
    fresh()

    got = record([days[8]], now=LATER)

    assert (got.added, got.changed) == (1, 0)
    assert stored(day=days[8].day).filled == ""
    assert DailyWeather.objects.filter(source=GAP_SOURCE).count() == 0
    assert Location.objects.get().stale_from == days[8].day


def test_the_order_of_arrival_does_not_matter() -> None:
    days = [*run_of_days(40, FORD), *run_of_days(40, HILL, rain_mm=3.0)]
    days = [day for at, day in enumerate(days) if at % 7 != 3]
    record(days)
    at_once = [row[2:] for row in everything()]
    Location.objects.all().delete()

    for part in (days[1::3], days[::3], days[2::3]):
        record(part)

    for got, expected in zip([row[2:] for row in everything()], at_once, strict=True):
        assert got == expected


def test_a_neighbour_lends_and_is_followed_when_it_changes() -> None:
    record([*run_of_days(30, FORD), *run_of_days(30, HILL)])
    record([new_day(HILL, tmin_c=None, tmax_c=None, tdew_c=None, rain_mm=None)])
    hill = stored(HILL)
    assert "tmin_c:neighbour" in hill.filled
    assert "rain_mm:nearby" in hill.filled
    assert hill.rain_used_mm == 0.0
    fresh()

    record([new_day(FORD, tmax_c=35.0, rain_mm=12.0)])

    assert stored(HILL).rain_used_mm == 12.0
    assert stored(HILL).eto_mm != hill.eto_mm
    assert Location.objects.get(name=HILL.name).stale_from == DAY


def test_far_locations_leave_each_other_alone() -> None:
    record([*run_of_days(10, FORD), *run_of_days(10, FAR, rain_mm=None)])
    fresh()

    record([new_day(FORD, rain_mm=12.0)])

    assert stored(FAR).rain_used_mm is None
    assert Location.objects.get(name=FAR.name).stale_from is None


def test_filling_goes_on_past_the_newest_day_and_ends_after_sixty() -> None:
    record(run_of_days(10))
    pk = Location.objects.get().pk

    got = fill_weather(since={pk: DAY + ONE}, through=DAY + 90 * ONE, now=NOW)

    assert got.rows == 60
    last = DailyWeather.objects.latest("day")
    assert (last.day, last.source) == (DAY + 60 * ONE, GAP_SOURCE)
    assert Location.objects.get().newest_day == DAY
    assert fill_weather(since={pk: DAY + ONE}, through=DAY + 90 * ONE, now=LATER).rows == 0


def test_a_place_that_was_never_measured_gets_no_rows() -> None:
    record([new_day(issued=DAY - ONE, day=DAY + ONE)])
    pk = Location.objects.get().pk

    assert fill_weather(since={pk: DAY}, through=DAY, now=NOW).rows == 0


def test_a_moved_location_is_computed_again() -> None:
    record(run_of_days(5))
    before = stored().eto_mm
    fresh()
    lower = NewPlace(FORD.name, 41.2, -104.7, 300.0)

    got = record([new_day(lower)])

    assert (got.changed, got.unchanged) == (0, 1)
    assert stored().eto_mm != before
    assert Location.objects.get().stale_from == DAY - 4 * ONE


def test_another_service_fills_only_what_is_unknown() -> None:
    record([new_day(solar_mj_m2=None, wind_m_s=None)], source="ncei")

    got = record(
        [new_day(tmax_c=40.0, solar_mj_m2=25.0, wind_m_s=4.0, wind_height_m=10.0)], source="nasa_power"
    )

    row = stored()
    assert got.changed == 1
    assert row.tmax_c != 40.0
    assert (row.solar_mj_m2, row.wind_m_s, row.wind_height_m) == (25.0, 4.0, 10.0)
    assert (row.source, row.parts) == ("ncei", "wind:nasa_power solar:nasa_power")


def test_a_better_source_that_comes_later_takes_its_variables() -> None:
    record([new_day(rain_mm=9.0)], source="nasa_power")

    record([new_day(tmin_c=None, tmax_c=None, tdew_c=None, wind_m_s=None, solar_mj_m2=None, rain_mm=2.5)])

    row = stored()
    assert (row.rain_mm, row.rain_used_mm, row.parts) == (2.5, 2.5, "rain:files")
    assert (row.source, row.tmax_c) == ("nasa_power", new_day().value("tmax_c"))
    assert SourceDay.objects.count() == 2


def test_the_same_service_replaces_its_own_day() -> None:
    record([new_day()], source="nasa_power")

    record([new_day(tmax_c=33.3, solar_mj_m2=None)], source="nasa_power")

    assert stored().tmax_c == 33.3
    assert stored().solar_mj_m2 is None


def test_a_forecast_is_computed_with_a_spread_by_lead() -> None:
    record(run_of_days(30))
    foretold = [new_day(day=DAY + n * ONE, issued=DAY, solar_mj_m2=None) for n in range(7)]

    record(foretold, source="nws")

    rows = list(DailyWeather.objects.filter(kind="forecast").order_by("day"))
    assert [row.filled for row in rows] == ["solar_mj_m2:from_range"] * 7
    shares = [(row.eto_sd_mm or 0.0) / (row.eto_mm or 1.0) for row in rows]
    assert shares == sorted(shares)
    assert all(row.rain_used_mm == 0.0 for row in rows)
    assert Location.objects.get().newest_day == DAY


def test_the_sun_of_a_forecast_follows_the_locations_own_days() -> None:
    record(run_of_days(40, FORD))
    record(run_of_days(40, FAR, solar_mj_m2=16.0))
    for place in (FORD, FAR):
        record([new_day(place, DAY + ONE, issued=DAY, solar_mj_m2=None)])

    bright, dull = (
        DailyWeather.objects.get(location__name=place.name, kind="forecast") for place in (FORD, FAR)
    )

    assert (bright.eto_mm or 0.0) > 1.2 * (dull.eto_mm or 9.0)


def test_a_dry_gauge_is_told_on_the_row_and_does_not_count_as_a_change() -> None:
    ford = run_of_days(40, FORD)
    record([*ford, *run_of_days(40, HILL, rain_mm=4.0)])

    assert stored(FORD).flags == "gauge_dry"
    assert record(ford).changed == 0


def test_flags_of_the_checks_are_stored_with_the_day() -> None:
    day = new_day()
    flagged = NewDay(day.place, day.day, day.kind, day.issued, day.values, "dew_above_tmin")

    record([flagged])

    assert stored().flags == "dew_above_tmin"


def test_no_days_do_nothing() -> None:
    assert record([]).locations == 0


def test_four_hundred_days_take_few_queries(django_assert_max_num_queries: Any) -> None:
    with django_assert_max_num_queries(80):
        record([*run_of_days(200, FORD), *run_of_days(200, HILL)])


def test_raw_names_are_columns_of_the_store() -> None:
    assert set(RAW) <= {field.name for field in DailyWeather._meta.get_fields()}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"values": (1.0,)}, "1 values"),
        ({"issued": DAY - ONE}, "cannot be observed"),
        ({"kind": "guess"}, "cannot be guess"),
    ],
)
def test_days_that_do_not_fit_are_refused(change: dict[str, Any], message: str) -> None:
    day = new_day()
    given = {name: getattr(day, name) for name in day.__slots__} | change

    with pytest.raises(ValueError, match=message):
        NewDay(**given)


def test_places_that_are_none_are_refused() -> None:
    with pytest.raises(ValueError, match="no named point"):
        NewPlace("x", 91.0, 0.0, 0.0)
    with pytest.raises(ValueError, match="elevation"):
        NewPlace("x", 1.0, 0.0, 9900.0)
