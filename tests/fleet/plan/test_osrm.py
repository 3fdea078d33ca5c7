"""Driving times from a routing server: a local HTTP server plays its answers and its faults."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, ClassVar
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from django.test import override_settings
from numpy.testing import assert_allclose

from fleet.calc.plan.travel import great_circle_m
from fleet.calc.visits.settings import VisitSettings
from fleet.streets.osrm import BLOCK, FirstThatAnswers, OsrmTravel
from fleet.streets.store import travel_source
from fleet.streets.travel_source import EstimatedTravel
from weather.sources.client import Client, Patience

FAR = -100.0  # places west of this longitude lie where the played server has roads


class _Played(BaseHTTPRequestHandler):
    """Ways of straight distance at 10 m/s, with the answers' shape of OSRM's HTTP API, version 1."""

    asked: ClassVar[list[str]] = []
    fault: ClassVar[str] = ""

    def do_GET(self) -> None:
        self.asked.append(self.path)
        split = urlsplit(self.path)
        _, service, _, _, pairs = split.path.split("/", 4)
        words = {key: value[0] for key, value in parse_qs(split.query).items()}
        places = [tuple(map(float, pair.split(","))) for pair in pairs.split(";")]
        told = getattr(self, f"_{service}")(places, words)
        if self.fault == "shape" and service == "table":
            told["durations"] = told["durations"][:1]
        if self.fault == "code":
            told = {"code": "InvalidQuery"}
        body = b"<html>" if self.fault == "html" else json.dumps(told).encode()
        self.send_response(500 if self.fault == "down" else 200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Say nothing."""

    def _nearest(self, places: list[Any], words: dict[str, str]) -> dict[str, Any]:
        assert words["number"] == "1"
        apart = 5.0 if places[0][0] < FAR else 5000.0
        return {"code": "Ok", "waypoints": [{"distance": apart, "location": places[0]}]}

    def _table(self, places: list[Any], words: dict[str, str]) -> dict[str, Any]:
        rows = [places[int(n)] for n in words["sources"].split(";")]
        columns = [places[int(n)] for n in words["destinations"].split(";")]
        assert len(places) == len(words["radiuses"].split(";")) <= 100
        way = [[round(float(great_circle_m(a[1], a[0], b[1], b[0])), 1) for b in columns] for a in rows]
        time: list[list[float | None]] = [[metres / 10 for metres in row] for row in way]
        if self.fault == "null":
            time[0][-1] = None
        return {"code": "Ok", "durations": time, "distances": way}

    def _route(self, places: list[Any], words: dict[str, str]) -> dict[str, Any]:
        assert words["geometries"] == "geojson"
        return {"code": "Ok", "routes": [{"geometry": {"coordinates": places}}]}


@pytest.fixture
def url() -> Iterator[str]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Played)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    _Played.asked, _Played.fault = [], ""
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()
    server.server_close()
    thread.join()


def travel(url: str) -> OsrmTravel:
    patience = Patience(connect_s=2, read_s=2, whole_s=5, tries=1)
    return OsrmTravel(url, 120.0, Client(contact="", patience=patience))


def test_times_and_ways_of_more_places_than_one_table_takes(url: str) -> None:
    rng = np.random.default_rng(1)
    count = BLOCK + 7
    lat, lon = 41 + rng.random(count) * 0.1, -104 - rng.random(count) * 0.1

    found = travel(url).matrix(lat, lon)

    straight = great_circle_m(lat[:, None], lon[:, None], lat[None, :], lon[None, :])
    off = ~np.eye(count, dtype=bool)
    assert_allclose(found.distance_m, straight, atol=0.3)
    assert_allclose(found.duration_s[off], straight[off] / 10 + 120, atol=0.1)
    assert (np.diag(found.duration_s) == 0).all()
    assert sum("/table/" in path for path in _Played.asked) == 4
    assert not found.is_estimated


def test_a_place_far_from_every_road_cannot_be_reached(url: str) -> None:
    found = travel(url).matrix([41.0, 41.01, 41.0], [-104.0, -104.0, -90.0])

    assert np.isinf(found.duration_s[0, 2])
    assert np.isinf(found.duration_s[2, 0])
    assert np.isfinite(found.duration_s[0, 1])


def test_where_the_server_knows_no_way_there_is_none(url: str) -> None:
    _Played.fault = "null"

    found = travel(url).matrix([41.0, 41.01], [-104.0, -104.0])

    assert np.isinf(found.duration_s[0, 1])
    assert np.isfinite(found.duration_s[1, 0])


def test_a_line_goes_through_all_places_however_many(url: str) -> None:
    lat, lon = np.linspace(41, 41.1, 170), np.linspace(-104, -104.1, 170)

    line = travel(url).route(lat, lon)

    assert line[0] == pytest.approx((-104, 41))
    assert line[-1] == pytest.approx((-104.1, 41.1))
    assert {lon for lon, _ in line} == {float(f"{one:.6f}") for one in lon}


@pytest.mark.parametrize("fault", ["down", "html", "code", "shape"])
def test_where_the_server_fails_the_built_times_stand_in_and_the_words_say_so(url: str, fault: str) -> None:
    _Played.fault = fault
    source = FirstThatAnswers(travel(url), EstimatedTravel(VisitSettings()))

    found = source.matrix([41.0, 41.01], [-104.0, -104.0])
    asked = len(_Played.asked)

    assert found.is_estimated
    assert source.is_estimated
    assert source.words.startswith("the routing server did not answer; estimated")
    assert len(source.route([41.0, 41.01], [-104.0, -104.0])) == 2
    assert len(source.snap([41.0], [-104.0]).node) == 1
    assert len(_Played.asked) == asked  # it is not asked again in this planning


def test_the_installation_asks_its_server_once_it_has_one(url: str) -> None:
    with override_settings(OSRM_URL=url):
        source = travel_source(settings=VisitSettings())

    assert source.words == "from the routing server"
    assert source.matrix([41.0, 41.01], [-104.0, -104.0]).duration_s[0, 1] == pytest.approx(231.2, abs=0.5)
