"""Adapters against kept and reconstructed responses, played by a real server."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tests.weather.sources.service import Service, quick_client, reply, served, stored
from weather.calc.new_days import NewDay, check_days
from weather.calc.quality import Flag
from weather.sources import nasa_power, ncei, nws, open_meteo
from weather.sources.nasa_power import NasaPower
from weather.sources.ncei import DailySummaries
from weather.sources.nws import NationalWeatherService
from weather.sources.open_meteo import OpenMeteo
from weather.sources.protocol import Answer, DailySource, Point, Question, SourceChanged, SourceRefused
from weather.sources.registry import NAMES, UnknownSource, build_sources
from weather.sources.spells import day_bounds, parse_spell

MARICOPA = Point("33.1,-112.0", 33.1, -112.0)
JUNE_2020 = Question(date(2020, 6, 1), date(2020, 6, 8), date(2020, 6, 8))
KEY = os.environ.get("ROOTROUND_OPEN_METEO_KEY", "")
POWER = "/api/temporal/daily/point"


@pytest.fixture
def service() -> Iterator[Service]:
    with served() as one:
        yield one


def values(day: NewDay) -> dict[str, float | None]:
    return {
        name: day.value(name) for name in ("tmin_c", "tmax_c", "tdew_c", "wind_m_s", "solar_mj_m2", "rain_mm")
    }


def only(answers: Iterator[Answer]) -> Answer:
    found = list(answers)
    assert len(found) == 1
    return found[0]


# NASA POWER


def test_power_days_come_in_our_units_and_the_fill_value_is_unknown(service: Service) -> None:
    service.play(POWER, reply(stored("nasa_power_daily_point_ag.reconstructed.json")))

    got = only(NasaPower(quick_client(), service.url).ask([MARICOPA], JUNE_2020))

    assert got.error is None
    assert len(got.days) == 7
    assert values(got.days[0]) == {
        "tmin_c": 22.7, "tmax_c": 41.3, "tdew_c": 8.2, "wind_m_s": 2.02, "solar_mj_m2": 29.83, "rain_mm": 0.0,
    }  # fmt: skip
    assert got.days[6].value("solar_mj_m2") is None
    assert got.days[0].place.elevation_m == 361.0
    assert got.days[0].place.is_grid
    _, asked = service.asked[0]
    assert (asked["start"], asked["end"]) == (["20200601"], ["20200607"])
    assert asked["time-standard"] == ["LST"]


def test_a_day_too_many_and_a_day_too_few_are_told(service: Service) -> None:
    told = power_answer()
    for series in told["properties"]["parameter"].values():
        series["20200608"] = series.get("20200608", -999.0)
        del series["20200603"]
    service.play(POWER, reply(told))

    got = only(NasaPower(quick_client(), service.url).ask([MARICOPA], JUNE_2020))

    assert [day.day.day for day in got.days] == [1, 2, 4, 5, 6, 7]
    assert got.remarks == (
        "33.1,-112.0: 1 days that were not asked for",
        "33.1,-112.0: 1 days were left out of the answer",
    )


def test_power_keeps_a_height_that_is_known(service: Service) -> None:
    service.play(POWER, reply(stored("nasa_power_daily_point_ag.reconstructed.json")))

    got = only(NasaPower(quick_client(), service.url).ask([Point("x", 33.1, -112.0, 400.0)], JUNE_2020))

    assert got.days[0].place.elevation_m == 400.0


def test_a_captured_power_answer_with_other_variables_gives_what_it_has(service: Service) -> None:
    service.play(POWER, reply(stored("nasa_power_daily_point_ag.captured_trimmed.json")))
    question = Question(date(2025, 9, 1), date(2025, 9, 6), date(2025, 9, 6))

    got = only(NasaPower(quick_client(), service.url).ask([Point("12.4,75.7", 12.4, 75.7)], question))

    # The fifth day holds nothing but the fill value.
    assert [day.day.day for day in got.days] == [1, 2, 3, 4]
    assert got.days[1].value("rain_mm") == 10.3
    assert got.days[1].value("tmin_c") is None
    assert got.remarks == ("12.4,75.7: no T2M_MIN, T2M_MAX, T2MDEW",)


def power_answer(**changes: Any) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(stored("nasa_power_daily_point_ag.reconstructed.json"))
    told["parameters"]["T2M_MAX"]["units"] = changes.get("unit", "C")
    told["header"]["time_standard"] = changes.get("standard", "LST")
    series = told["properties"]["parameter"]["T2M_MAX"]
    series.update(changes.get("tmax", {}))
    return told


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        pytest.param({"unit": "F"}, "T2M_MAX comes in 'F', agreed was 'C'", id="changed unit"),
        pytest.param({"standard": "UTC"}, "days of UTC", id="another clock"),
        pytest.param({"tmax": {"20200603": 317.0}}, "not in the unit agreed", id="tenths"),
        pytest.param({"tmax": {"20200603": "43"}}, "stands where a number", id="text"),
        pytest.param({"tmax": {"20200603": True}}, "stands where a number", id="truth"),
        pytest.param({"tmax": {"June 3": 43.0}}, "no day as", id="key that is no day"),
    ],
)
def test_power_answers_of_another_form_are_refused_whole(
    service: Service, changes: dict[str, Any], words: str
) -> None:
    service.play(POWER, reply(power_answer(**changes)))

    got = only(NasaPower(quick_client(), service.url).ask([MARICOPA], JUNE_2020))

    assert isinstance(got.error, SourceChanged)
    assert words in str(got.error)
    assert got.days == ()


def test_days_that_were_not_asked_for_are_left_out_and_days_may_lack(service: Service) -> None:
    told = power_answer(tmax={"20200608": 40.0, "20190601": 40.0})
    service.play(POWER, reply(told))
    question = Question(date(2020, 6, 1), date(2020, 6, 20), date(2020, 6, 20))

    got = nasa_power.read_answer(told, MARICOPA, question)

    assert [day.day.day for day in got.days] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert got.remarks == ("33.1,-112.0: 1 days that were not asked for",)


def test_null_and_other_missing_marks_are_unknown() -> None:
    got = nasa_power.read_answer(power_answer(tmax={"20200601": None}), MARICOPA, JUNE_2020)

    assert got.days[0].value("tmax_c") is None


@pytest.mark.parametrize("key", ["header", "properties", "parameters", "geometry"])
def test_a_part_that_lacks_is_named(key: str) -> None:
    told = power_answer()
    del told[key]

    with pytest.raises(SourceChanged, match=f"no {key}"):
        nasa_power.read_answer(told, MARICOPA, JUNE_2020)


def test_one_point_that_fails_does_not_stop_the_others(service: Service) -> None:
    good = reply(stored("nasa_power_daily_point_ag.reconstructed.json"))
    service.play(POWER, reply(stored("nasa_power_error_422.reconstructed.json"), 422), good)

    got = list(NasaPower(quick_client(), service.url).ask([Point("a", 33.0, -112.0), MARICOPA], JUNE_2020))

    assert isinstance(got[0].error, SourceRefused)
    assert len(got[1].days) == 7


# US National Weather Service

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


# Open-Meteo

UTRECHT = Point("52.1,5.2", 52.1, 5.2)
JULY_2018 = Question(date(2018, 7, 1), date(2018, 7, 8), date(2018, 7, 1))


def test_open_meteo_days_are_exchanged_by_their_stated_unit(service: Service) -> None:
    service.play("/v1/forecast", reply(stored("open_meteo_archive_daily.reconstructed.json")))

    got = only(OpenMeteo(quick_client(), service.url, "secret").ask([UTRECHT], JULY_2018))

    assert len(got.days) == 7
    assert got.days[0].value("wind_m_s") == pytest.approx(5.8)  # 20.88 km/h
    assert got.days[0].value("wind_height_m") == 10.0
    assert got.days[6].value("rain_mm") is None
    assert (got.days[6].kind, got.days[6].issued) == ("forecast", date(2018, 7, 1))
    assert service.asked[0][1]["apikey"] == ["secret"]


def test_open_meteos_own_daily_et_is_not_taken(service: Service) -> None:
    service.play("/v1/forecast", reply(stored("open_meteo_forecast_daily_zurich.captured.json")))
    question = Question(date(2026, 3, 11), date(2026, 3, 18), date(2026, 3, 11))

    got = only(OpenMeteo(quick_client(), service.url).ask([Point("47.6,8.3", 47.6, 8.3)], question))

    assert [day.value("rain_mm") for day in got.days] == [5.6, 2.9, 0.0, 3.8, 0.7, 4.4, 0.0]
    assert all(day.value("tmax_c") is None for day in got.days)
    assert "no temperature_2m_min" in got.remarks[0]
    assert "apikey" not in service.asked[0][1]


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("daily_units", {"time": "iso8601", "temperature_2m_max": "°F"}, "temperature_2m_max comes in '°F'"),
        ("daily", {"time": ["2018-07-01"], "temperature_2m_max": [1.0, 2.0]}, "2 values for 1 days"),
        ("daily", {"time": ["yesterday"]}, "no day as"),
        ("daily", {}, "no list"),
        ("daily", [], "no object"),
    ],
)
def test_open_meteo_answers_of_another_form_are_refused(name: str, value: Any, words: str) -> None:
    told = json.loads(stored("open_meteo_archive_daily.reconstructed.json"))
    if name == "daily_units":
        told["daily_units"].update(value)
    else:
        told[name] = value

    with pytest.raises(SourceChanged, match=words):
        open_meteo.read_answer(told, UTRECHT, JULY_2018)


# NCEI

SEARCH, DATA = "/access/services/search/v1/data", "/access/services/data/v1"
FEBRUARY = Question(date(2025, 2, 1), date(2025, 2, 5), date(2025, 2, 5))
PARK = Point("40.8,-74.0", 40.8, -74.0)


def metric_csv() -> str:
    """The reconstructed answer with the stations' positions, which the question asks for."""
    lines = stored("ncei_access_daily_summaries_metric.reconstructed.csv").strip().splitlines()
    place = '"40.77898","-73.96925","42.7"'
    return "\n".join(
        [f'{lines[0]},"LATITUDE","LONGITUDE","ELEVATION"', *(f"{line},{place}" for line in lines[1:])]
    )


def stations(*ids: str) -> dict[str, Any]:
    return {"count": len(ids), "results": [{"stations": [{"id": one, "name": "A STATION"}]} for one in ids]}


def test_station_days_come_with_their_own_place(service: Service) -> None:
    service.play(SEARCH, reply(stations("GHCND:USW00094728")))
    service.play(DATA, reply(metric_csv()))

    got = only(DailySummaries(quick_client(), service.url).ask([PARK], FEBRUARY))

    assert [day.day.day for day in got.days] == [1, 2, 3]  # the fourth is empty
    first = got.days[1]
    assert (first.value("tmin_c"), first.value("tmax_c"), first.value("rain_mm")) == (-8.2, -0.5, 2.8)
    assert first.place.name == "ncei USW00094728"
    assert not first.place.is_grid
    assert first.place.elevation_m == 42.7
    (_, search), (_, data) = service.asked
    assert data["stations"] == ["USW00094728"]
    assert data["units"] == ["metric"]
    north, west, south, east = (float(side) for side in search["bbox"][0].split(","))
    assert north == pytest.approx(40.8 + 0.1349, abs=1e-3)
    assert south < 40.8 < north
    assert west < -74.0 < east


def test_tenths_under_a_metric_head_are_caught(service: Service) -> None:
    # A real export whose notes speak of Fahrenheit and inches while its numbers are tenths of C and mm.
    lines = stored("ncei_daily_summaries_tenths_gainesville.captured_excerpt.csv").strip().splitlines()
    told = "\n".join(
        [f"{lines[0]},LATITUDE,LONGITUDE,ELEVATION", *(f"{line},29.69,-82.28,38" for line in lines[1:])]
    )
    service.play(SEARCH, reply(stations("GHCND:USW00012816")))
    service.play(DATA, reply(told))
    question = Question(date(2024, 6, 1), date(2024, 7, 1), date(2024, 7, 1))

    got = only(DailySummaries(quick_client(), service.url).ask([Point("29.7,-82.3", 29.7, -82.3)], question))

    assert isinstance(got.error, SourceChanged)
    assert "look like tenths" in str(got.error)


def test_fahrenheit_under_a_metric_head_is_refused_by_the_checks() -> None:
    rows = [f'"X","2025-01-{n:02}","0.0","{45 + n}","{28 + n}","40.8","-74.0","40"' for n in range(1, 12)]
    told = "\n".join(['"STATION","DATE","PRCP","TMAX","TMIN","LATITUDE","LONGITUDE","ELEVATION"', *rows])
    question = Question(date(2025, 1, 1), date(2025, 2, 1), date(2025, 2, 1))

    (answer,) = ncei.read_stations(told, question)
    checked = check_days(answer.days)

    assert checked.good == ()
    assert {flag for _, flag in checked.refused} == {Flag.LIKELY_FAHRENHEIT}


def test_an_answer_without_positions_is_refused(service: Service) -> None:
    service.play(SEARCH, reply(stations("USW00094728")))
    service.play(DATA, reply(stored("ncei_access_daily_summaries_metric.reconstructed.csv")))

    got = only(DailySummaries(quick_client(), service.url).ask([PARK], FEBRUARY))

    assert "no column ELEVATION, LATITUDE, LONGITUDE" in str(got.error)


def test_no_points_ask_nothing_and_no_stations_answer_nothing(service: Service) -> None:
    service.play(SEARCH, reply(stations()))
    source = DailySummaries(quick_client(), service.url)

    assert list(source.ask([], FEBRUARY)) == []
    assert list(source.ask([PARK], FEBRUARY)) == []
    assert len(service.asked) == 1


# All


def test_sources_are_built_by_name_in_order_and_off_without_an_address() -> None:
    urls = dict.fromkeys(NAMES, "https://weather.example")

    built = build_sources(
        names=("nws", "nasa_power", "ncei", "open_meteo"),
        urls=urls,
        contact="a@example.org",
        open_meteo_key="k",
    )

    assert [source.name for source in built] == ["nws", "nasa_power", "ncei", "open_meteo"]
    assert all(source.notice for source in built)
    with pytest.raises(UnknownSource, match="switched off"):
        build_sources(names=["nws"], urls={**urls, "nws": ""}, contact="")
    with pytest.raises(UnknownSource, match="not for commercial use; set the key"):
        build_sources(names=["open_meteo"], urls=urls, contact="")
    with pytest.raises(UnknownSource, match="'radar' is none of"):
        build_sources(names=["radar"], urls=urls, contact="")


@pytest.mark.remote_data
@pytest.mark.parametrize(
    ("name", "url"),
    [
        ("nasa_power", "https://power.larc.nasa.gov"),
        ("nws", "https://api.weather.gov"),
        ("ncei", "https://www.ncei.noaa.gov"),
        pytest.param(
            "open_meteo",
            "https://customer-api.open-meteo.com",
            marks=pytest.mark.skipif(
                not KEY, reason="needs ROOTROUND_OPEN_METEO_KEY, the key of a paid plan"
            ),
        ),
    ],
)
def test_the_live_service_still_answers_as_agreed(name: str, url: str) -> None:
    today = datetime.now(UTC).date()
    (source,) = build_sources(
        names=[name], urls={name: url}, contact="https://rootround.example", open_meteo_key=KEY
    )
    forecast = source.kind == "forecast"
    start = today if forecast else today - timedelta(days=30)
    question = Question(start, today + timedelta(days=5 if forecast else 0), today)

    answers = list(source.ask([Point("41.1,-104.8", 41.1, -104.8, 1870.0)], question))

    assert any(answer.days for answer in answers), [str(answer.error) for answer in answers]
    assert all(answer.error is None for answer in answers)


def test_every_adapter_is_a_daily_source() -> None:
    client = quick_client()
    sources: list[DailySource] = [
        NasaPower(client, "u"),
        NationalWeatherService(client, "u"),
        OpenMeteo(client, "u"),
        DailySummaries(client, "u"),
    ]

    assert {source.kind for source in sources} == {"observed", "forecast"}


def test_a_question_without_days_is_refused() -> None:
    with pytest.raises(ValueError, match="before end"):
        Question(date(2026, 6, 1), date(2026, 6, 1), date(2026, 6, 1))
