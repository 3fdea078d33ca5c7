"""The book of ways: what was looked up before is told again, only new places are searched for."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from fleet.calc.plan.travel import TravelMatrix
from fleet.calc.visits.settings import VisitSettings
from fleet.streets import way_book
from fleet.streets.network import StreetNetwork, build_network, save_network
from fleet.streets.osm_file import StreetPieces
from fleet.streets.store import network_path, travel_source, way_book_path
from fleet.streets.way_book import LEAST_PLACES, BookedTravel

SIDE = 12
FloatArray = npt.NDArray[np.float64]


def town() -> StreetNetwork:
    """A grid of crooked streets; every fifth can be driven in one direction only."""
    rng = np.random.default_rng(4)
    row, column = np.divmod(np.arange(SIDE * SIDE), SIDE)
    lat = 41 + 0.001 * row + rng.normal(0, 1e-4, SIDE * SIDE)
    lon = -104 + 0.001 * column + rng.normal(0, 1e-4, SIDE * SIDE)
    here = np.arange(SIDE * SIDE)
    east, north = here[column < SIDE - 1], here[row < SIDE - 1]
    start, end = np.r_[east, north], np.r_[east + 1, north + SIDE]
    length = 111_195 * np.hypot(lat[end] - lat[start], (lon[end] - lon[start]) * 0.755)
    took = length / rng.uniform(5, 14, len(length))
    back = np.flatnonzero(rng.random(len(start)) > 0.2)
    both = (np.r_[start, end[back]], np.r_[end, start[back]], np.r_[length, length[back]])
    return build_network(StreetPieces(lat, lon, *both, np.r_[took, took[back]]))


NETWORK = town()


def gardens(count: int, seed: int = 1) -> tuple[FloatArray, FloatArray]:
    rng = np.random.default_rng(seed)
    return 41 + rng.random(count) * 0.011, -104 + rng.random(count) * 0.011


@pytest.fixture
def searched(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many places each search of the network began from."""
    counts: list[int] = []
    table = StreetNetwork.table

    def counted(
        self: StreetNetwork, lat: FloatArray, lon: FloatArray, sources: npt.NDArray[np.int64], **more: bool
    ) -> TravelMatrix:
        counts.append(len(sources))
        return table(self, lat, lon, sources, **more)

    monkeypatch.setattr(StreetNetwork, "table", counted)
    return counts


def test_what_was_looked_up_is_told_again_and_new_places_are_searched_alone(
    tmp_path: Path, searched: list[int]
) -> None:
    lat, lon = gardens(50)
    first = BookedTravel(NETWORK, tmp_path / "ways.npz", "a").matrix(lat[:45], lon[:45])
    assert searched == [45]

    again = BookedTravel(NETWORK, tmp_path / "ways.npz", "a").matrix(lat[:45], lon[:45])
    part = BookedTravel(NETWORK, tmp_path / "ways.npz", "a").matrix(lat[35:4:-1], lon[35:4:-1])
    assert searched == [45]
    more = BookedTravel(NETWORK, tmp_path / "ways.npz", "a").matrix(lat, lon)
    assert searched == [45, 5, 5]

    assert (again.duration_s == first.duration_s).all()
    assert (again.distance_m == first.distance_m).all()
    assert (part.duration_s == first.duration_s[35:4:-1, 35:4:-1]).all()
    whole = NETWORK.matrix(lat, lon)
    assert_allclose(more.duration_s, whole.duration_s, rtol=1e-6)
    assert_allclose(more.distance_m, whole.distance_m, rtol=1e-6)


def test_another_network_file_begins_another_book(tmp_path: Path, searched: list[int]) -> None:
    lat, lon = gardens(40)
    BookedTravel(NETWORK, tmp_path / "ways.npz", "a").matrix(lat, lon)
    BookedTravel(NETWORK, tmp_path / "ways.npz", "b").matrix(lat[:35], lon[:35])
    BookedTravel(NETWORK, tmp_path / "ways.npz", "a").matrix(lat[:31], lon[:31])

    assert searched == [40, 35, 31]


def test_the_installation_keeps_a_book_and_a_new_network_or_setting_turns_its_page(
    tmp_path: Path, searched: list[int]
) -> None:
    lat, lon = gardens(40)
    save_network(NETWORK, network_path(tmp_path))
    usual = VisitSettings()

    travel_source(settings=usual, data_dir=tmp_path).matrix(lat, lon)
    travel_source(settings=usual, data_dir=tmp_path).matrix(lat, lon)
    assert searched == [40]
    assert way_book_path(tmp_path).is_file()

    slower = travel_source(settings=VisitSettings(settle_s=300.0), data_dir=tmp_path).matrix(lat, lon)
    assert searched == [40, 40]
    off = slower.duration_s > 0
    assert_allclose(
        slower.duration_s[off],
        (NETWORK.matrix(lat, lon).duration_s + 300.0 - NETWORK.settle_s)[off],
        rtol=1e-6,
    )


@settings(max_examples=25, deadline=None)
@given(
    asked=st.lists(st.lists(st.integers(0, 11), min_size=2, max_size=9), min_size=1, max_size=6),
    most=st.integers(9, 12),
)
def test_however_it_was_asked_before_the_answer_is_the_network_s(
    asked: list[list[int]], most: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    lat, lon = gardens(12)
    lat[3], lon[3] = 42.0, -104.0  # no road there
    lat[5], lon[5] = lat[4], lon[4]  # two gardens at one place
    path = tmp_path_factory.mktemp("book") / "ways.npz"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(way_book, "LEAST_PLACES", 1)
        patch.setattr(way_book, "MOST_PLACES", most)
        for places in asked:
            found = BookedTravel(NETWORK, path, "a").matrix(lat[places], lon[places])
            true = NETWORK.matrix(lat[places], lon[places])
            assert_allclose(found.duration_s, true.duration_s, rtol=1e-6)
            assert_allclose(found.distance_m, true.distance_m, rtol=1e-6)
            with np.load(path) as kept:
                assert len(kept["places"]) <= most


def test_the_places_left_out_longest_are_forgotten(
    tmp_path: Path, searched: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(way_book, "MOST_PLACES", 2 * LEAST_PLACES)
    lat, lon = gardens(90)
    book = BookedTravel(NETWORK, tmp_path / "ways.npz", "a")
    for first in (0, 30, 60):
        book.matrix(lat[first : first + 30], lon[first : first + 30])
    assert searched == [30, 30, 30, 30, 30]

    book.matrix(lat[30:60], lon[30:60])  # still there
    assert len(searched) == 5
    book.matrix(lat[:30], lon[:30])  # was forgotten
    assert searched[5:] == [30, 30]


@pytest.mark.parametrize("content", [b"", b"no book", b"PK\x03\x04cut off"])
def test_a_book_that_is_cut_off_begins_anew(tmp_path: Path, searched: list[int], content: bytes) -> None:
    lat, lon = gardens(40)
    path = tmp_path / "ways.npz"
    path.write_bytes(content)

    found = BookedTravel(NETWORK, path, "a").matrix(lat, lon)
    BookedTravel(NETWORK, path, "a").matrix(lat, lon)

    assert searched == [40]
    assert_allclose(found.duration_s, NETWORK.matrix(lat, lon).duration_s, rtol=1e-6)


def test_where_nothing_can_be_kept_the_ways_are_known_all_the_same(tmp_path: Path) -> None:
    lat, lon = gardens(40)
    (tmp_path / "file").write_text("where the folder should be")

    found = BookedTravel(NETWORK, tmp_path / "file" / "ways.npz", "a").matrix(lat, lon)

    assert_allclose(found.duration_s, NETWORK.matrix(lat, lon).duration_s, rtol=1e-6)


def test_a_handful_of_places_and_none_need_no_book(tmp_path: Path) -> None:
    book = BookedTravel(NETWORK, tmp_path / "ways.npz", "a")
    lat, lon = gardens(3)

    assert_allclose(book.matrix(lat, lon).duration_s, NETWORK.matrix(lat, lon).duration_s, rtol=1e-6)
    assert book.matrix([], []).duration_s.shape == (0, 0)
    assert not list(tmp_path.iterdir())
