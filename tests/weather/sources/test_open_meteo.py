"""Open-Meteo: kept and reconstructed responses, played by a real server."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest

from tests.weather.sources.service import Service, only, quick_client, reply, stored
from weather.sources import open_meteo
from weather.sources.open_meteo import OpenMeteo
from weather.sources.protocol import Point, Question, SourceChanged

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
