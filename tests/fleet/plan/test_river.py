"""The demo town's river makes gardens on its two sides far apart, because one drives by its bridges."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import shapely
from django.conf import settings
from django.test import Client

from fleet.calc.plan.travel import CIRCUITY, great_circle_m
from fleet.demo.ground_plan import BRIDGES, NEIGHBOURHOODS, blocks, lonlat, place, river, river_north_m
from fleet.demo.streets import BANK_ROAD_M, Network, write_osm
from fleet.demo.streets import build_network as lay_out_town
from fleet.models import Company, PlanRun, Technician, User
from fleet.services.plan.plan_routes import plan_routes
from fleet.services.plan.streets import build_streets
from fleet.streets.network import StreetNetwork, build_network
from fleet.streets.osm_file import read_streets
from tests.factories import DAY, build_need, build_site, build_technician

EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)
FloatArray = npt.NDArray[np.float64]
PART_OF = {part.code: part for part in NEIGHBOURHOODS}


def driven(town: Network, folder: Path) -> StreetNetwork:
    write_osm(town, folder / "streets.osm")
    return build_network(read_streets(folder / "streets.osm"))


@pytest.fixture(scope="module")
def streets(tmp_path_factory: pytest.TempPathFactory) -> StreetNetwork:
    return driven(lay_out_town(), tmp_path_factory.mktemp("town"))


def gardens(code: str) -> tuple[FloatArray, FloatArray]:
    """A garden in the middle of each block of a neighbourhood: latitude, longitude [deg]."""
    part = PART_OF[code]
    points = [lonlat(place(part, block.centroid)) for block in blocks(part)]
    return np.array([point.y for point in points]), np.array([point.x for point in points])


def times_as_far(streets: StreetNetwork, one: str, other: str) -> FloatArray:
    """Way by streets over the estimate without them, from each garden of one part to each of another [1]."""
    (lat, lon), (lat2, lon2) = gardens(one), gardens(other)
    way = streets.matrix(np.r_[lat, lat2], np.r_[lon, lon2]).distance_m[: len(lat), len(lat) :]
    straight = great_circle_m(lat[:, None], lon[:, None], lat2[None, :], lon2[None, :])
    return np.asarray(way / (straight * CIRCUITY))


@pytest.mark.parametrize(("north", "south"), [("NM", "MR"), ("CB", "SH")])
def test_across_the_river_far_from_a_bridge_streets_are_half_as_far_again_as_the_estimate(
    streets: StreetNetwork, north: str, south: str
) -> None:
    factor = times_as_far(streets, north, south)

    assert factor.min() > 1.2
    assert np.median(factor) > 1.6
    # Along one bank, or across by a bridge near by, the estimate is about right.
    for one, other in (("NM", "CB"), ("OT", "QT")):
        assert 0.9 < np.median(times_as_far(streets, one, other)) < 1.3


def test_no_way_is_shorter_than_straight_to_the_nearer_bridge_and_straight_on(streets: StreetNetwork) -> None:
    (lat, lon), (lat2, lon2) = gardens("NM"), gardens("MR")
    way = streets.matrix(np.r_[lat, lat2], np.r_[lon, lon2]).distance_m[: len(lat), len(lat) :]
    by_bridge = []
    for east_m, _ in BRIDGES:
        deck = lonlat(shapely.Point(east_m, river_north_m(east_m)))
        legs = great_circle_m(lat, lon, deck.y, deck.x)[:, None] + great_circle_m(deck.y, deck.x, lat2, lon2)
        by_bridge.append(legs)

    # The ends of a bridge lie at junctions, up to half a block beside its middle.
    assert (way >= np.min(by_bridge, axis=0) - 100).all()


def test_the_line_of_a_drive_crosses_the_water_on_a_bridge_only(streets: StreetNetwork) -> None:
    (lat, lon), (lat2, lon2) = gardens("CB"), gardens("SH")
    line = shapely.LineString(streets.route([lat[0], lat2[0]], [lon[0], lon2[0]])[1:-1])
    wet = line.intersection(lonlat(river()))

    decks = [lonlat(shapely.Point(east_m, river_north_m(east_m))) for east_m, _ in BRIDGES]
    assert not wet.is_empty
    assert min(wet.distance(deck) for deck in decks) < 0.001  # deg: about 100 m


def test_one_more_bridge_brings_the_two_sides_together(streets: StreetNetwork, tmp_path: Path) -> None:
    town = lay_out_town()
    banks = {side: [n for n, (_, north_m) in enumerate(town.nodes) if side * north_m > 0] for side in (1, -1)}
    east_m = -2550.0
    ends = [
        town.nearest((east_m, river_north_m(east_m) + side * BANK_ROAD_M), banks[side]) for side in (1, -1)
    ]
    town.ways.append((ends, "secondary", "New Bridge"))

    nearer = times_as_far(driven(town, tmp_path), "NM", "MR")

    assert np.median(nearer) < 0.75 * np.median(times_as_far(streets, "NM", "MR"))


def test_without_bridges_only_one_bank_can_be_reached(tmp_path: Path) -> None:
    town = lay_out_town()
    names = {name for _, name in BRIDGES}
    town.ways = [way for way in town.ways if way[2] not in names]

    parted = driven(town, tmp_path)
    assert not np.isfinite(times_as_far(parted, "NM", "MR")).any()
    whole = [bool(np.isfinite(times_as_far(parted, *pair)).all()) for pair in (("NM", "CB"), ("MR", "SH"))]
    assert sorted(whole) == [False, True]


@pytest.mark.django_db
def test_the_page_of_the_week_tells_how_far_around_its_streets_lead(
    company: Company, dispatcher: User, tmp_path: Path
) -> None:
    (lat, lon), (lat2, lon2) = gardens("NM"), gardens("MR")
    build_technician()
    Technician.objects.update(
        start_latitude=lat[0], start_longitude=lon[0], end_latitude=lat[0], end_longitude=lon[0]
    )
    for code, latitude, longitude in (("NM-1", lat[0], lon[0]), ("MR-1", lat2[0], lon2[0])):
        build_need(build_site(code, latitude=float(latitude), longitude=float(longitude)), value_per_day=90.0)
    client = Client()
    client.force_login(dispatcher)
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=10)
    assert "between gardens" not in PlanRun.objects.latest("pk").figures["travel_words"]
    write_osm(lay_out_town(), tmp_path / "streets.osm")
    build_streets(path=tmp_path / "streets.osm", data_dir=Path(settings.DATA_DIR))

    done = plan_routes(now=EARLY + timedelta(minutes=5), week=DAY, seed=1, iterations=10)

    assert (done.visits, done.is_estimated) == (2, False)
    words = PlanRun.objects.latest("pk").figures["travel_words"]
    factor = float(words.split("between gardens ")[1].split(" times")[0])
    assert factor > 1.2 * CIRCUITY
    page = client.get(f"/week/?week={DAY}").content.decode()
    assert f"between gardens {factor:.2f} times the straight distance" in page
