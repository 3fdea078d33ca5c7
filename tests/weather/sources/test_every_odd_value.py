"""Every odd value at every source: another unit is refused, what is missing is unknown, days are told apart.

NASA POWER's own cases stand in its file; these are the other three services with the same faults.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest

from tests.weather.sources.service import Service, only, quick_client, reply
from tests.weather.sources.test_ncei import DATA, FEBRUARY, PARK, SEARCH, metric_csv, stations
from tests.weather.sources.test_nws import ask_nws, grid_data
from weather.calc.new_days import NewDay
from weather.sources import open_meteo
from weather.sources.ncei import DailySummaries
from weather.sources.open_meteo import OpenMeteo
from weather.sources.protocol import Answer, Point, Question, SourceChanged

POINT = Point("x", 41.0, -104.0, 1500.0)
TODAY = date(2019, 10, 14)


@pytest.fixture
def played(service: Service) -> Played:
    """The three services, played by a real server on this machine."""
    return Played(service)


@dataclass(frozen=True, slots=True)
class Played:
    """Asks each of the three services over HTTP for an answer that was changed."""

    service: Service

    def open_meteo_days(self, change: Callable[[dict[str, Any]], None]) -> Answer:
        """Three days of Open-Meteo, changed."""
        dates = [f"{TODAY + timedelta(days=n)}" for n in range(3)]
        daily: dict[str, Any] = {"time": dates}
        units = {"time": "iso8601"}
        for theirs, (_, exchanges) in open_meteo.VARIABLES.items():
            daily[theirs] = [12.0, 13.0, 14.0]
            units[theirs] = next(iter(exchanges))
        told = {"daily": daily, "daily_units": units, "elevation": 1500.0}
        change(told)
        self.service.play("/v1/forecast", reply(told))
        asked = OpenMeteo(quick_client(), self.service.url)
        return only(asked.ask([POINT], Question(TODAY, TODAY + timedelta(days=3), TODAY)))

    def nws_days(self, change: Callable[[dict[str, Any]], None]) -> Answer:
        """Three days of the National Weather Service, changed."""
        told = copy.deepcopy(grid_data())
        change(told["properties"])
        return ask_nws(self.service, told)

    def ncei_days(self, change: Callable[[list[list[str]]], None]) -> Answer:
        """Four days of a station, changed as a table of cells."""
        table = [re.findall(r'"([^"]*)"', line) for line in metric_csv().splitlines()]
        change(table)
        text = "\n".join(",".join(f'"{cell}"' for cell in row) for row in table)
        self.service.play(SEARCH, reply(stations("GHCND:USW00094728")))
        self.service.play(DATA, reply(text))
        return only(DailySummaries(quick_client(), self.service.url).ask([PARK], FEBRUARY))


def refused(answer: Answer, words: str) -> bool:
    """Whether an answer is refused whole, with these words."""
    assert answer.days == ()
    assert isinstance(answer.error, SourceChanged)
    assert words in str(answer.error)
    return True


def of(day: NewDay, *names: str) -> list[float | None]:
    return [day.value(name) for name in names]


def test_open_meteo_in_another_unit_without_a_variable_and_with_a_fill_value(played: Played) -> None:
    def in_fahrenheit(told: dict[str, Any]) -> None:
        told["daily_units"]["temperature_2m_max"] = "°F"

    def without_rain(told: dict[str, Any]) -> None:
        del told["daily"]["precipitation_sum"]

    def filled(told: dict[str, Any]) -> None:
        told["daily"]["temperature_2m_max"][1] = -999.0

    assert refused(played.open_meteo_days(in_fahrenheit), "comes in '°F'")
    got = played.open_meteo_days(without_rain)
    assert [day.value("rain_mm") for day in got.days] == [None] * 3
    assert got.remarks == ("x: no precipitation_sum",)
    assert refused(played.open_meteo_days(filled), "not in the unit agreed")


def test_open_meteo_with_null_nan_and_days_too_many_or_too_few(played: Played) -> None:
    def unknown(told: dict[str, Any]) -> None:
        told["daily"]["temperature_2m_max"][0] = None
        told["daily"]["wind_speed_10m_mean"][1] = float("nan")

    def longer(told: dict[str, Any]) -> None:
        told["daily"]["time"].append(f"{TODAY + timedelta(days=9)}")
        for name in open_meteo.VARIABLES:
            told["daily"][name].append(15.0)

    def shorter(told: dict[str, Any]) -> None:
        for values in told["daily"].values():
            del values[1]

    got = played.open_meteo_days(unknown)
    assert of(got.days[0], "tmax_c", "wind_m_s") == [None, 12.0]
    assert of(got.days[1], "tmax_c", "wind_m_s") == [13.0, None]
    got = played.open_meteo_days(longer)
    assert ([day.day.day for day in got.days], got.remarks) == (
        [14, 15, 16],
        ("x: 1 days that were not asked for",),
    )
    got = played.open_meteo_days(shorter)
    assert ([day.day.day for day in got.days], got.remarks) == (
        [14, 16],
        ("x: 1 days were left out of the answer",),
    )


def test_the_weather_service_in_another_unit_without_a_variable_and_with_a_fill_value(played: Played) -> None:
    def in_kelvin(told: dict[str, Any]) -> None:
        told["dewpoint"]["uom"] = "wmoUnit:K"

    def without_wind(told: dict[str, Any]) -> None:
        del told["windSpeed"]

    def filled(told: dict[str, Any]) -> None:
        told["temperature"]["values"][30]["value"] = -999.0

    assert refused(played.nws_days(in_kelvin), "dewpoint comes in")
    assert [day.value("wind_m_s") for day in played.nws_days(without_wind).days] == [None] * 3
    assert refused(played.nws_days(filled), "not in the unit agreed")


def test_the_weather_service_with_null_nan_and_days_too_many_or_too_few(played: Played) -> None:
    def unknown(told: dict[str, Any]) -> None:
        for spell in told["dewpoint"]["values"]:
            spell["value"] = None
        for spell in told["windSpeed"]["values"]:
            spell["value"] = float("nan")

    def shorter(told: dict[str, Any]) -> None:
        for name in ("temperature", "dewpoint", "relativeHumidity", "windSpeed"):
            told[name]["values"] = told[name]["values"][:8]
        told["minTemperature"]["values"] = told["maxTemperature"]["values"] = []

    got = played.nws_days(unknown)
    assert [of(day, "tdew_c", "wind_m_s") for day in got.days] == [[None, None]] * 3
    assert got.days[0].value("tmax_c") == 31.5
    # The answer reaches over the question, and only the days asked for are taken; or it ends early.
    assert [day.day.day for day in played.nws_days(lambda _: None).days] == [14, 15, 16]
    got = played.nws_days(shorter)
    assert [day.value("tmax_c") for day in got.days] == [None, None]
    assert got.days[0].value("rain_mm") == pytest.approx(12.0)


def test_the_summaries_without_a_variable_with_fill_values_and_nan(played: Played) -> None:
    head = re.findall(r'"([^"]*)"', metric_csv().splitlines()[0])
    rain, warm = head.index("PRCP"), head.index("TMAX")

    def without_rain(table: list[list[str]]) -> None:
        table[0][rain] = "SNOW"

    def filled(table: list[list[str]]) -> None:
        table[2][warm] = "-9999"

    def unknown(table: list[list[str]]) -> None:
        table[2][warm], table[2][rain] = "nan", ""

    assert {day.value("rain_mm") for day in played.ncei_days(without_rain).days} == {None}
    assert "not in the unit agreed" in str(played.ncei_days(filled).error)
    assert of(played.ncei_days(unknown).days[1], "tmax_c", "rain_mm") == [None, None]


def test_the_summaries_with_days_too_many_or_too_few(played: Played) -> None:
    at = re.findall(r'"([^"]*)"', metric_csv().splitlines()[0]).index("DATE")

    def moved(table: list[list[str]]) -> None:
        table[3][at] = "2025-03-09"

    def shorter(table: list[list[str]]) -> None:
        del table[2]

    assert [day.day.day for day in played.ncei_days(moved).days] == [1, 2]
    assert [day.day.day for day in played.ncei_days(shorter).days] == [1, 3]
