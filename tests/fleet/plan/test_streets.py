"""Streets from a tiny invented OSM file made here: a grid with a one-way street, and an island."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fleet.calc.plan.travel import great_circle_m
from fleet.calc.visits.settings import VisitSettings
from fleet.services.plan.streets import build_streets
from fleet.streets.network import build_network, load_network, save_network
from fleet.streets.osm_file import LIMIT_SHARE, TURNS, UnreadableStreets, read_streets
from fleet.streets.store import network_path, travel_source

STEP = 0.001  # deg: about 111 m of latitude


def write_town(path: Path) -> Path:
    """3 x 3 junctions, the middle column one-way north; far off an island of two junctions."""
    lines = ['<?xml version="1.0"?>', '<osm version="0.6" generator="test">']
    for row in range(3):
        lines += [
            f'<node id="{10 * row + column + 1}" lat="{41 + row * STEP}" lon="{-104 + column * STEP}"/>'
            for column in range(3)
        ]
    lines += ['<node id="101" lat="41.2" lon="-104.2"/>', '<node id="102" lat="41.2005" lon="-104.2"/>']
    ways = [([10 * row + c + 1 for c in range(3)], {"highway": "residential"}) for row in range(3)]
    for column in range(3):
        tags = {"highway": "tertiary", "maxspeed": "30 mph"}
        if column == 1:
            tags["oneway"] = "yes"
        ways.append(([10 * row + column + 1 for row in range(3)], tags))
    ways.append(([101, 102], {"highway": "residential"}))
    ways.append(([1, 22], {"highway": "footway"}))
    ways.append(([1, 23], {"highway": "residential", "access": "private"}))
    for number, (nodes, tags) in enumerate(ways):
        lines.append(f'<way id="{500 + number}">')
        lines += [f'<nd ref="{node}"/>' for node in nodes]
        lines += [f'<tag k="{key}" v="{value}"/>' for key, value in tags.items()]
        lines.append("</way>")
    lines.append("</osm>")
    path.write_text("\n".join(lines))
    return path


def test_only_drivable_streets_of_the_largest_part_are_kept(tmp_path: Path) -> None:
    network = build_network(read_streets(write_town(tmp_path / "town.osm")))

    assert len(network.latitude) == 9
    assert network.longitude.min() > -104.1  # the island at -104.2 is gone
    assert len(network.start) == 2 * 6 + 2 * 4 + 2  # rows and two columns both ways, one column one way


def test_times_follow_the_posted_limit_and_the_one_way_street(tmp_path: Path) -> None:
    network = build_network(read_streets(write_town(tmp_path / "town.osm")))
    lat, lon = [41.0, 41.0 + STEP], [-104 + STEP, -104 + STEP]

    travel = network.matrix(lat, lon)

    block_m = float(great_circle_m(lat[0], lon[0], lat[1], lon[1]))
    driven = 30 * 1.609344 * LIMIT_SHARE / TURNS / 3.6
    assert_allclose(travel.distance_m[0, 1], block_m, atol=0.06)
    assert_allclose(travel.duration_s[0, 1], block_m / driven + network.settle_s, atol=0.001)
    assert travel.distance_m[1, 0] > 2.5 * block_m  # back: around the block
    assert not travel.is_estimated


def test_ways_equal_the_sum_of_their_path(tmp_path: Path) -> None:
    network = build_network(read_streets(write_town(tmp_path / "town.osm")))
    rng = np.random.default_rng(1)
    lat, lon = 41 + rng.random(6) * 2 * STEP, -104 + rng.random(6) * 2 * STEP

    travel = network.matrix(lat, lon)

    for a in range(6):
        for b in range(6):
            line = network.route([lat[a], lat[b]], [lon[a], lon[b]])
            along = sum(float(great_circle_m(p[1], p[0], q[1], q[0])) for p, q in pairwise(line))
            assert_allclose(travel.distance_m[a, b], 0 if a == b else along, rtol=1e-5, atol=0.5)


def test_a_place_on_an_island_without_road_cannot_be_reached(tmp_path: Path) -> None:
    network = build_network(read_streets(write_town(tmp_path / "town.osm")))

    travel = network.matrix([41.0, 41.2], [-104.0, -104.2])

    assert np.isinf(travel.duration_s[0, 1])
    assert np.isinf(travel.duration_s[1, 0])
    assert network.snap([41.2], [-104.2]).node.tolist() == [-1]


def test_a_kept_network_comes_back_the_same(tmp_path: Path) -> None:
    network = build_network(read_streets(write_town(tmp_path / "town.osm")))
    save_network(network, tmp_path / "kept" / "network.npz")

    again = load_network(tmp_path / "kept" / "network.npz", settle_s=network.settle_s)

    assert again is not None
    assert_allclose(
        again.matrix([41, 41.002], [-104, -103.998]).duration_s,
        network.matrix([41, 41.002], [-104, -103.998]).duration_s,
    )
    assert load_network(tmp_path / "none.npz", settle_s=1) is None


def test_parallel_streets_keep_the_quickest_instead_of_the_sum(tmp_path: Path) -> None:
    path = tmp_path / "two.osm"
    path.write_text(
        '<osm version="0.6"><node id="1" lat="41" lon="-104"/><node id="2" lat="41.001" lon="-104"/>'
        '<way id="1"><nd ref="1"/><nd ref="2"/><tag k="highway" v="service"/></way>'
        '<way id="2"><nd ref="1"/><nd ref="2"/><tag k="highway" v="primary"/></way></osm>'
    )

    network = build_network(read_streets(path))

    assert len(network.start) == 2
    assert network.duration_s.max() < 111.2 / (65 * LIMIT_SHARE / TURNS / 3.6) + 0.1


@pytest.mark.parametrize(
    ("name", "content"), [("broken.osm", "<osm><node id="), ("empty.osm", '<osm version="0.6"></osm>')]
)
def test_an_unreadable_file_is_refused_by_name(tmp_path: Path, name: str, content: str) -> None:
    (tmp_path / name).write_text(content)

    with pytest.raises(UnreadableStreets, match=name):
        read_streets(tmp_path / name)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnreadableStreets, match="not a file"):
        read_streets(tmp_path / "none.osm")


def test_the_installation_uses_streets_once_they_are_built(tmp_path: Path) -> None:
    assert travel_source(settings=VisitSettings()).is_estimated

    done = build_streets(path=write_town(tmp_path / "town.osm"), data_dir=tmp_path)

    assert network_path(tmp_path).is_file()
    assert done.junctions == 9
    assert not travel_source(settings=VisitSettings()).is_estimated
