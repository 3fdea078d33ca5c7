"""NCEI daily summaries: kept and reconstructed responses, played by a real server."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from tests.weather.sources.service import Service, only, quick_client, reply, stored
from weather.calc.new_days import check_days
from weather.calc.quality import Flag
from weather.sources import ncei
from weather.sources.ncei import DailySummaries
from weather.sources.protocol import Point, Question, SourceChanged

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
