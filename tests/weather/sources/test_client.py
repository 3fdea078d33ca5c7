"""The HTTP client against a real server: patient with a busy one, and never endless."""

from __future__ import annotations

import gzip
import os
import tracemalloc
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path

import pytest

from tests.weather.sources.service import Reply, Service, quick_client, reply, served, stored
from weather.sources.client import Client, Patience
from weather.sources.kept_answers import Kept, KeptInFolder
from weather.sources.protocol import SourceChanged, SourceRefused, SourceUnavailable


@pytest.fixture
def service() -> Iterator[Service]:
    with served() as one:
        yield one


def test_an_answer_is_read_and_we_present_ourselves(service: Service) -> None:
    service.play("/x", reply({"a": [1, None]}))

    got = quick_client().get_json(f"{service.url}/x", {"start": "20260601"})

    assert got == {"a": [1, None]}
    assert service.asked == [("/x", {"start": ["20260601"]})]
    assert service.agents == ["Rootround/0.1 (garden@example.org)"]


@pytest.mark.parametrize("status", [408, 429, 500, 502, 503, 504])
def test_a_busy_service_is_asked_again_with_growing_waits(service: Service, status: int) -> None:
    waits: list[float] = []
    busy = reply(stored("nws_error_503.json"), status)
    service.play("/x", busy, busy, reply({"ok": True}))

    assert quick_client(waits).get_json(f"{service.url}/x") == {"ok": True}
    assert len(waits) == 2
    assert 0.5 <= waits[0] <= 1.0
    assert 1.0 <= waits[1] <= 2.0


def test_it_waits_as_long_as_the_service_asks(service: Service) -> None:
    waits: list[float] = []
    busy = reply(stored("open_meteo_error_429_minutely.json"), 429, headers=(("Retry-After", "7"),))
    service.play("/x", busy, reply({"ok": True}))

    quick_client(waits).get_json(f"{service.url}/x")

    assert 7.0 <= waits[0] <= 8.0


def test_a_date_to_come_back_at_is_understood(service: Service) -> None:
    waits: list[float] = []
    later = format_datetime(datetime.now(UTC) + timedelta(seconds=20), usegmt=True)
    service.play("/x", reply("busy", 503, headers=(("Retry-After", later),)), reply({"ok": True}))

    quick_client(waits).get_json(f"{service.url}/x")

    assert 17.0 <= waits[0] <= 21.5


def test_a_service_that_asks_for_an_hour_is_left_for_another_day(service: Service) -> None:
    waits: list[float] = []
    service.play("/x", reply("busy", 503, headers=(("Retry-After", "3600"),)))

    with pytest.raises(SourceUnavailable, match="HTTP 503"):
        quick_client(waits).get_json(f"{service.url}/x")

    assert waits == []
    assert len(service.asked) == 1


def test_it_gives_up_after_its_tries_with_the_services_own_words(service: Service) -> None:
    service.play("/x", reply(stored("nws_error_500.json"), 500))

    with pytest.raises(SourceUnavailable, match=r"HTTP 500: An unexpected problem.*\(3 tries\)"):
        quick_client().get_json(f"{service.url}/x")

    assert len(service.asked) == 3


@pytest.mark.parametrize(
    ("name", "status", "words"),
    [
        ("nws_error_404.json", 404, "HTTP 404: Not Found"),
        ("nasa_power_error_422.reconstructed.json", 422, "HTTP 422.*T2MMAX"),
        ("open_meteo_error_400_range.json", 400, "HTTP 400: Parameter 'start_date'"),
    ],
)
def test_a_refusal_is_not_asked_again(service: Service, name: str, status: int, words: str) -> None:
    service.play("/x", reply(stored(name), status))

    with pytest.raises(SourceRefused, match=words):
        quick_client().get_json(f"{service.url}/x")

    assert len(service.asked) == 1


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        pytest.param(Reply(b"<html><body>Maintenance</body></html>"), "JSON but with '<html>", id="HTML"),
        pytest.param(Reply(b""), "JSON but with ''", id="nothing"),
        pytest.param(Reply(b"\xff\xfe\x00"), "no UTF-8", id="bytes"),
        pytest.param(Reply(b"[" * 100_000), "JSON but with", id="endless brackets"),
        pytest.param(Reply(b'"' + b"x" * 60_000 + b'"'), "longer than 50000 bytes", id="too long"),
    ],
)
def test_another_answer_than_agreed_is_told(service: Service, answer: Reply, words: str) -> None:
    service.play("/x", answer)

    with pytest.raises(SourceChanged, match=words):
        quick_client(most_bytes=50_000 if b"x" in answer.body else 20_000_000).get_json(f"{service.url}/x")

    assert len(service.asked) == 1


def test_a_body_of_200_mb_is_refused_after_its_first_tenth(service: Service) -> None:
    service.play("/x", Reply(b"[" + b"0," * 499_999 + b"0", repeated=200))

    with pytest.raises(SourceChanged, match="longer than 20000000 bytes"):
        quick_client(read_s=5.0, whole_s=30.0).get_json(f"{service.url}/x")

    assert len(service.asked) == 1
    assert service.sent < 60_000_000  # what the sockets between us hold, not the rest


def test_a_body_that_announces_200_mb_is_not_read_at_all(service: Service) -> None:
    service.play("/x", Reply(b"{}", announced=200_000_000))

    with pytest.raises(SourceChanged, match="longer than 20000000 bytes"):
        quick_client().get_json(f"{service.url}/x")


def test_a_small_body_that_unpacks_to_200_mb_is_refused(service: Service) -> None:
    packed = gzip.compress(b"0" * 200_000_000)
    service.play("/x", Reply(packed, headers=(("Content-Encoding", "gzip"),)))
    tracemalloc.start()

    with pytest.raises(SourceChanged, match="longer than 20000000 bytes"):
        quick_client(read_s=5.0, whole_s=30.0).get_json(f"{service.url}/x")

    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(packed) < 1_000_000
    assert peak < 80_000_000


def test_a_clock_of_the_service_that_lags_asks_for_no_wait_in_the_past(service: Service) -> None:
    waits: list[float] = []
    before = format_datetime(datetime.now(UTC) - timedelta(hours=1), usegmt=True)
    service.play("/x", reply("busy", 503, headers=(("Retry-After", before),)), reply({"ok": True}))

    quick_client(waits).get_json(f"{service.url}/x")

    assert 0.0 <= waits[0] <= 1.0


@pytest.mark.parametrize("header", ["soon", "-5", "", "7 apples"])
def test_a_wait_that_is_none_is_replaced_by_our_own(service: Service, header: str) -> None:
    waits: list[float] = []
    service.play("/x", reply("busy", 429, headers=(("Retry-After", header),)), reply({"ok": True}))

    quick_client(waits).get_json(f"{service.url}/x")

    assert 0.5 <= waits[0] <= 1.0


def test_questions_to_a_host_keep_their_distance(service: Service) -> None:
    waits: list[float] = []
    service.play("/x", reply({"ok": True}))
    client = quick_client(waits, gap_s=60.0)

    for _ in range(3):
        client.get_json(f"{service.url}/x")

    # The clock did not run on, as no wait was slept: each question stands 60 s behind the one before.
    assert waits == pytest.approx([60.0, 120.0], abs=1.0)


def test_an_unchanged_answer_is_not_sent_twice(service: Service, tmp_path: Path) -> None:
    validators = (("ETag", '"a1"'), ("Last-Modified", "Mon, 15 Jun 2026 06:00:00 GMT"))
    service.play("/x", reply({"n": 1}, headers=validators), Reply(b"", 304), reply({"n": 2}))
    client = quick_client(kept=KeptInFolder(tmp_path))

    got = [client.get_json(f"{service.url}/x", {"apikey": "secret"}) for _ in range(3)]

    assert got == [{"n": 1}, {"n": 1}, {"n": 2}]
    asked = ('"a1"', "Mon, 15 Jun 2026 06:00:00 GMT")
    assert service.conditions == [(None, None), asked, asked]
    assert not any("secret" in path.name + path.read_text() for path in tmp_path.iterdir())


def test_an_answer_that_is_no_json_is_not_kept(service: Service, tmp_path: Path) -> None:
    tagged = (("ETag", '"a1"'),)
    service.play("/x", reply("<html>", headers=tagged), reply({"ok": True}))
    client = quick_client(kept=KeptInFolder(tmp_path))

    with pytest.raises(SourceChanged):
        client.get_json(f"{service.url}/x")

    assert client.get_json(f"{service.url}/x") == {"ok": True}
    assert service.conditions == [(None, None)] * 2


def test_not_modified_without_our_condition_is_another_answer_than_agreed(service: Service) -> None:
    service.play("/x", Reply(b"", 304))

    with pytest.raises(SourceRefused, match="HTTP 304"):
        quick_client().get_json(f"{service.url}/x")


def test_a_kept_answer_that_cannot_be_read_is_asked_for_anew(service: Service, tmp_path: Path) -> None:
    service.play("/x", reply({"n": 1}, headers=(("ETag", '"a1"'),)), reply({"n": 2}))
    client = quick_client(kept=KeptInFolder(tmp_path))
    client.get_json(f"{service.url}/x")
    for path in tmp_path.iterdir():
        path.write_text("half a fi")

    assert client.get_json(f"{service.url}/x") == {"n": 2}
    assert service.conditions == [(None, None)] * 2


def test_old_kept_answers_go(tmp_path: Path) -> None:
    kept = KeptInFolder(tmp_path)
    kept.keep("old", Kept("{}", etag="a"))
    (old,) = tmp_path.iterdir()
    os.utime(old, (0, 0))

    kept.keep("new", Kept("{}", etag="b"))
    kept.keep("bare", Kept("{}"))

    assert kept.find("old") is None
    assert kept.find("new") == Kept("{}", etag="b")
    assert kept.find("bare") is None


def test_nan_in_an_answer_means_unknown(service: Service) -> None:
    service.play("/x", Reply(b'{"a": NaN, "b": -Infinity}'))

    assert quick_client().get_json(f"{service.url}/x") == {"a": None, "b": None}


@pytest.mark.parametrize(
    "answer",
    [
        pytest.param(Reply(b'{"ok": true}', pause_s=0.7), id="silent"),
        pytest.param(Reply(b'{"ok": "' + b"x" * 400 + b'"}', piece_pause_s=0.05), id="drop by drop"),
        pytest.param(Reply(b'{"ok": "' + b"x" * 400 + b'"}', cut_at=50), id="cut off half-way"),
    ],
)
def test_a_slow_or_broken_answer_is_asked_again_and_then_given_up(service: Service, answer: Reply) -> None:
    service.play("/x", answer)

    with pytest.raises(SourceUnavailable, match="2 tries"):
        quick_client(tries=2).get_json(f"{service.url}/x")

    assert len(service.asked) == 2


def test_nobody_there_is_unavailable() -> None:
    with served() as service:
        url = service.url

    with pytest.raises(SourceUnavailable, match="the connection failed"):
        quick_client(tries=2).get_json(f"{url}/x")


def test_it_does_not_follow_to_another_host(service: Service) -> None:
    with served() as other:
        other.play("/y", reply({"ok": True}))
        service.play("/x", Reply(b"", 302, headers=(("Location", f"{other.url}/y"),)))
        service.play("/z", Reply(b"", 301, headers=(("Location", "/y"),)))
        service.play("/y", reply({"ok": True}))

        with pytest.raises(SourceChanged, match="sent us on"):
            quick_client().get_json(f"{service.url}/x")
        assert quick_client().get_json(f"{service.url}/z") == {"ok": True}


def test_without_a_contact_only_the_product_is_named() -> None:
    assert Client("").user_agent() == "Rootround/0.1"


def test_patience_without_a_try_is_refused() -> None:
    with pytest.raises(ValueError, match="tries >= 1"):
        Patience(tries=0)
