"""Every fault at every source: an error with words and no day, and a source that goes on afterwards."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest

from tests.weather.sources.service import Reply, Service, quick_client, reply, served
from weather.sources.client import Client
from weather.sources.nasa_power import NasaPower
from weather.sources.ncei import DailySummaries
from weather.sources.nws import NationalWeatherService
from weather.sources.open_meteo import OpenMeteo
from weather.sources.protocol import DailySource, Point, Question, SourceError

POINT = Point("41.0,-104.0", 41.0, -104.0, 1500.0)
QUESTION = Question(date(2026, 6, 1), date(2026, 6, 8), date(2026, 6, 1))
Build = Callable[[Client, str], DailySource]
SOURCES: dict[str, tuple[Build, tuple[str, ...]]] = {
    "nasa_power": (NasaPower, ("/api/temporal/daily/point",)),
    "nws": (NationalWeatherService, ("/points/41.0000,-104.0000",)),
    "open_meteo": (OpenMeteo, ("/v1/forecast",)),
    "ncei": (DailySummaries, ("/access/services/search/v1/data", "/access/services/data/v1")),
}
FAULTS: dict[str, Reply] = {
    "slow": Reply(b"{}", pause_s=0.6),
    "cut off": Reply(b'{"a": "' + b"x" * 500 + b'"}', cut_at=40),
    "429": reply({"reason": "too many"}, 429),
    "429 for an hour": reply({"reason": "too many"}, 429, headers=(("Retry-After", "3600"),)),
    "500": reply({"detail": "sorry"}, 500),
    "503": reply("down", 503),
    "404": reply({"title": "Not Found"}, 404),
    "html": Reply(b"<!doctype html><title>Maintenance</title>"),
    "nothing": Reply(b""),
    "no text": Reply(b"\xff\xfe\x00\x01"),
    "null": reply(None),
    "a number": reply(7),
    "a list": reply([1, 2]),
    "another object": reply({"message": "welcome"}),
    "NaN": Reply(b"NaN"),
    "200 MB told": Reply(b"{}", announced=200_000_000),
    "200 MB sent": Reply(b"[" + b"0," * 499_999 + b"0", repeated=200),
}


@pytest.fixture
def service() -> Iterator[Service]:
    with served() as one:
        yield one


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("name", SOURCES)
def test_a_fault_is_an_error_with_words_and_no_day(service: Service, name: str, fault: str) -> None:
    build, paths = SOURCES[name]
    options: dict[str, Any] = {"read_s": 0.3, "whole_s": 20.0, "tries": 2}
    for path in paths:
        service.play(path, FAULTS[fault])

    answers = list(build(quick_client(**options), service.url).ask([POINT], QUESTION))

    assert len(answers) == 1
    assert answers[0].days == ()
    assert isinstance(answers[0].error, SourceError)
    assert len(str(answers[0].error)) > 10
    assert service.sent < 60_000_000
