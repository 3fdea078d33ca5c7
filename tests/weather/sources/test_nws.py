"""The US National Weather Service: kept responses and grid data, played by a real server."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tests.weather.sources.service import Service, only, quick_client, reply, stored
from weather.sources import nws
from weather.sources.nws import NationalWeatherService
from weather.sources.protocol import Answer, Point, Question, SourceChanged, SourceRefused
from weather.sources.spells import day_bounds, parse_spell

SUMATRA = Point("30.0,-85.0", 30.0, -85.0)
WEEK = Question(date(2019, 10, 14), date(2019, 10, 17), date(2019, 10, 14))
CELL = "/gridpoints/TAE/58,65"


def grid_data(**changes: Any) -> dict[str, Any]:
    """A reconstructed answer: hours in UTC for a place four hours behind."""
    start = datetime(2019, 10, 14, 0, tzinfo=UTC)

    def hours(make: Any, step: int, count: int) -> list[dict[str, Any]]:
        return [
            {
                "validTime": f"{(start + timedelta(hours=n * step)).isoformat()}/PT{step}H",
                "value": make(n * step),
            }
            for n in range(count)
        ]

    properties: dict[str, Any] = {
        "updateTime": "2019-10-14T00:00:00+00:00",
        "elevation": {"unitCode": "wmoUnit:m", "value": 7.9},
        "temperature": {"uom": "wmoUnit:degC", "values": hours(lambda h: 20.0 + (h % 24) / 2.0, 1, 60)},
        "minTemperature": {
            "uom": "wmoUnit:degC",
            "values": [{"validTime": "2019-10-16T23:00:00+00:00/PT14H", "value": 17.0}],
        },
        "maxTemperature": {
            "uom": "wmoUnit:degC",
            "values": [{"validTime": "2019-10-16T12:00:00+00:00/PT12H", "value": 29.0}],
        },
        "dewpoint": {"uom": "wmoUnit:degC", "values": hours(lambda _: 15.0, 3, 30)},
        "relativeHumidity": {"uom": "wmoUnit:percent", "values": hours(lambda h: 50.0 + h % 24, 1, 90)},
        "windSpeed": {"uom": "wmoUnit:km_h-1", "values": hours(lambda _: 18.0, 6, 15)},
        "quantitativePrecipitation": {
            "uom": "wmoUnit:mm",
            "values": [
                {"validTime": "2019-10-14T00:00:00+00:00/PT4H", "value": 0},
                {"validTime": "2019-10-14T04:00:00+00:00/P1DT0H", "value": 12.0},
                {"validTime": "2019-10-15T04:00:00+00:00/PT20H", "value": 0},
                {"validTime": "2019-10-16T00:00:00+00:00/PT12H", "value": 6.0},
            ],
        },
        **changes,
    }
    return {"type": "Feature", "properties": properties}


def ask_nws(service: Service, told: dict[str, Any]) -> Answer:
    service.play("/points/30.0000,-85.0000", reply(stored("nws_points.json")))
    service.play(CELL, reply(told))
    return only(NationalWeatherService(quick_client(), service.url).ask([SUMATRA], WEEK))


def test_forecast_spells_are_gathered_into_local_days(service: Service) -> None:
    got = ask_nws(service, grid_data())

    assert got.error is None
    first, second, third = got.days
    assert (first.kind, first.issued, first.day) == ("forecast", date(2019, 10, 14), date(2019, 10, 14))
    assert first.place.elevation_m == 7.9
    # Local 14 October is 04:00 to 04:00 UTC: the lowest hour is midnight UTC of the 15th.
    assert (first.value("tmin_c"), first.value("tmax_c")) == (20.0, 31.5)
    assert first.value("tdew_c") == pytest.approx(15.0)
    assert first.value("wind_m_s") == pytest.approx(5.0)
    assert first.value("wind_height_m") == 10.0
    assert first.value("solar_mj_m2") is None
    assert first.value("rain_mm") == pytest.approx(12.0)
    # 12 h that cross local midnight (04:00 UTC) give each day its share: 4/12 and 8/12 of 6 mm.
    assert second.value("rain_mm") == pytest.approx(2.0)
    # Rain is foretold for too little of the third day; its extremes are the forecaster's own.
    assert third.value("rain_mm") is None
    assert (third.value("tmin_c"), third.value("tmax_c")) == (None, 29.0)
    assert service.agents[0] == "Rootround/0.1 (garden@example.org)"


def test_a_nights_lowest_belongs_to_the_day_of_its_middle() -> None:
    told = grid_data(temperature={"uom": "wmoUnit:degC", "values": []})
    question = Question(date(2019, 10, 16), date(2019, 10, 18), date(2019, 10, 16))

    got = nws.read_answer(told, SUMATRA, question, ZoneInfo("America/New_York"))

    # 23:00 to 13:00 UTC has its middle at 06:00 UTC, 02:00 local of the 17th.
    by_day = {day.day: (day.value("tmin_c"), day.value("tmax_c")) for day in got.days}
    assert by_day == {date(2019, 10, 16): (None, 29.0), date(2019, 10, 17): (17.0, None)}


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        pytest.param({"windSpeed": {"uom": "wmoUnit:kt", "values": [{}]}}, "windSpeed comes", id="unit"),
        pytest.param({"temperature": {"uom": "wmoUnit:K", "values": [{}]}}, "temperature comes", id="kelvin"),
        pytest.param(
            {"dewpoint": {"uom": "wmoUnit:degC", "values": [{"validTime": "today", "value": 3}]}},
            "no interval",
            id="no interval",
        ),
        pytest.param(
            {
                "dewpoint": {
                    "uom": "wmoUnit:degC",
                    "values": [{"validTime": "2019-10-14T00:00:00/PT1H", "value": 3}],
                }
            },
            "no interval",
            id="no offset",
        ),
        pytest.param(
            {"temperature": None, "maxTemperature": None}, "neither temperature", id="no temperature"
        ),
    ],
)
def test_forecasts_of_another_form_are_refused(service: Service, changes: dict[str, Any], words: str) -> None:
    got = ask_nws(service, grid_data(**changes))

    assert isinstance(got.error, SourceChanged)
    assert words in str(got.error)


@pytest.mark.parametrize("name", ["nws_gridpoints_forecast_si.json", "nws_gridpoints_forecast_empty_us.json"])
def test_the_forecast_of_half_days_is_not_mistaken_for_grid_data(service: Service, name: str) -> None:
    got = ask_nws(service, json.loads(stored(name)))

    assert isinstance(got.error, SourceChanged)


def test_a_point_outside_the_service_is_told(service: Service) -> None:
    service.play("/points/30.0000,-85.0000", reply(stored("nws_error_404.json"), 404))

    got = only(NationalWeatherService(quick_client(), service.url).ask([SUMATRA], WEEK))

    assert isinstance(got.error, SourceRefused)


@pytest.mark.parametrize(
    ("text", "hours"), [("PT1H", 1.0), ("PT6H", 6.0), ("P1D", 24.0), ("P1DT6H", 30.0), ("PT1H30M", 1.5)]
)
def test_durations_are_read(text: str, hours: float) -> None:
    start, end = parse_spell(f"2026-06-14T06:00:00+00:00/{text}")

    assert (end - start).total_seconds() == hours * 3600


@pytest.mark.parametrize("text", ["2026-06-14T06:00:00+00:00", "2026-06-14T06:00:00+00:00/P", "x/PT1H", ""])
def test_what_is_no_interval_is_refused(text: str) -> None:
    with pytest.raises(SourceChanged, match="no interval"):
        parse_spell(text)


@pytest.mark.parametrize(
    ("day", "hours"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25), (date(2026, 6, 1), 24)]
)
def test_days_of_clock_change_have_their_own_length(day: date, hours: int) -> None:
    start, end = day_bounds(day, ZoneInfo("America/Denver"))

    assert (end - start).total_seconds() == hours * 3600


@pytest.mark.parametrize(
    ("day", "hours"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25)], ids=["spring", "autumn"]
)
def test_rain_of_a_night_when_clocks_change_stays_whole(service: Service, day: date, hours: int) -> None:
    start = datetime(day.year, day.month, day.day - (day.day > 1), tzinfo=UTC) - timedelta(days=1)
    rain = [
        {"validTime": f"{(start + timedelta(hours=n)).isoformat()}/PT1H", "value": 1.0} for n in range(120)
    ]
    warm = [{**entry, "value": 10.0} for entry in rain]
    told = grid_data(
        temperature={"uom": "wmoUnit:degC", "values": warm},
        quantitativePrecipitation={"uom": "wmoUnit:mm", "values": rain},
    )
    cell = stored("nws_points.json").replace("America/New_York", "America/Denver")
    service.play("/points/30.0000,-85.0000", reply(cell))
    service.play(CELL, reply(told))
    question = Question(day, day + timedelta(days=2), day)

    got = only(NationalWeatherService(quick_client(), service.url).ask([SUMATRA], question))

    # One mm an hour: the day of the change has 23 or 25 of them, the next one 24.
    assert [one.value("rain_mm") for one in got.days] == pytest.approx([hours, 24.0])
