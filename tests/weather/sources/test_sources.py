"""All adapters: built by name, of one protocol, and against the live services where asked for."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from tests.weather.sources.service import quick_client
from weather.sources.met_live import MET_LIVE, met_live, write_meeting
from weather.sources.nasa_power import NasaPower
from weather.sources.ncei import DailySummaries
from weather.sources.nws import NationalWeatherService
from weather.sources.open_meteo import OpenMeteo
from weather.sources.protocol import DailySource, Point, Question
from weather.sources.registry import KNOWN, UnknownSource, build_sources

KEY = os.environ.get("ROOTROUND_OPEN_METEO_KEY", "")


def test_sources_are_built_by_name_in_order_and_off_without_an_address() -> None:
    urls = dict.fromkeys(KNOWN, "https://weather.example")

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
    write_meeting(name, today)


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


def test_a_meeting_is_written_down_beside_the_others(tmp_path: Path) -> None:
    table = tmp_path / "met.csv"
    table.write_text("source,day\nnws,2026-11-02\nncei,2026-10-01\n", encoding="utf-8")

    write_meeting("nasa_power", date(2026, 11, 26), table)
    write_meeting("nws", date(2026, 11, 27), table)

    assert table.read_text(encoding="utf-8").splitlines() == [
        "source,day",
        "nasa_power,2026-11-26",
        "ncei,2026-10-01",
        "nws,2026-11-27",
    ]
    assert met_live(table)["nws"] == date(2026, 11, 27)


def test_the_committed_table_names_known_sources_only() -> None:
    assert set(met_live(MET_LIVE)) <= set(KNOWN)
    assert all(day <= datetime.now(UTC).date() for day in met_live(MET_LIVE).values())
