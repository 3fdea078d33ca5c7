"""NASA POWER: kept and reconstructed responses, played by a real server."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest

from tests.weather.sources.service import Service, only, quick_client, reply, stored, values
from weather.sources import nasa_power
from weather.sources.nasa_power import NasaPower
from weather.sources.protocol import Point, Question, SourceChanged, SourceRefused

MARICOPA = Point("33.1,-112.0", 33.1, -112.0)
JUNE_2020 = Question(date(2020, 6, 1), date(2020, 6, 8), date(2020, 6, 8))
POWER = "/api/temporal/daily/point"


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
