"""The export holds the contract's columns and can be imported again."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.weather.new_days import DAY, FORD, HILL, new_day, run_of_days
from weather.exports.weather import COLUMNS, features, rows
from weather.models import DailyWeather, Location
from weather.services.import_weather import import_weather
from weather.services.record_daily_weather import record_daily_weather

NOW = datetime(2026, 6, 16, 6, tzinfo=UTC)
ONE = timedelta(days=1)

pytestmark = pytest.mark.django_db


def test_columns_are_those_of_the_contract() -> None:
    assert COLUMNS == (
        "location", "latitude", "longitude", "elevation_m", "date", "tmin_c", "tmax_c", "tdew_c",
        "rh_min_pct", "rh_max_pct", "wind_m_s", "wind_height_m", "solar_mj_m2", "rain_mm", "kind", "issued",
        "eto_mm", "eto_method", "filled", "flags", "source",
    )  # fmt: skip


def test_days_come_by_location_with_three_decimals_of_et() -> None:
    days = [*run_of_days(3, HILL), *run_of_days(4, FORD)]
    record_daily_weather(days=[day for day in days if day.day != DAY - ONE], source="file a.csv", now=NOW)
    record_daily_weather(days=[new_day(day=DAY + ONE, issued=DAY)], source="nws", now=NOW)

    got = list(rows(start=DAY - 2 * ONE, end=DAY + 2 * ONE))

    # The day that nobody measured is left out.
    assert [(row["location"], row["date"], row["kind"]) for row in got] == [
        ("Alder Ford", DAY - 2 * ONE, "observed"),
        ("Alder Ford", DAY, "observed"),
        ("Alder Ford", DAY + ONE, "forecast"),
        ("Alder Hill", DAY - 2 * ONE, "observed"),
        ("Alder Hill", DAY, "observed"),
    ]
    assert all(tuple(row) == COLUMNS for row in got)
    assert all(len(str(row["eto_mm"]).partition(".")[2]) == 3 for row in got)
    assert (got[0]["issued"], got[2]["issued"]) == (None, DAY)


def test_an_exported_file_comes_in_again_unchanged(tmp_path: Path) -> None:
    record_daily_weather(days=run_of_days(30), source="file a.csv", now=NOW)
    record_daily_weather(days=[new_day(day=DAY + ONE, issued=DAY, solar_mj_m2=None)], source="nws", now=NOW)
    path = tmp_path / "again.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        writer.writerows(rows())
    et = dict(DailyWeather.objects.values_list("day", "eto_mm"))

    again = import_weather(path=path, now=NOW)
    Location.objects.all().delete()
    anew = import_weather(path=path, now=NOW)

    assert (again.unchanged, again.problems) == (31, ())
    assert anew.added == 31
    assert dict(DailyWeather.objects.values_list("day", "eto_mm")) == et


def test_features_stand_at_their_location() -> None:
    record_daily_weather(days=run_of_days(1), source="file a.csv", now=NOW)

    (feature,) = features()

    assert feature["geometry"] == {"type": "Point", "coordinates": [-104.7, 41.2]}
    properties = feature["properties"]
    assert isinstance(properties, dict)
    assert (properties["date"], properties["issued"], properties["kind"]) == ("2026-06-15", None, "observed")
