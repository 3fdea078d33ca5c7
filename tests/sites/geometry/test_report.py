"""The report of faults: what it refuses, what it warns of, and what it leaves alone."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry.areas import as_array
from sites.calc.geometry.neighbours import lot_faults, overlap_faults
from sites.calc.geometry.report import (
    Fault,
    GeometryFault,
    clock_faults,
    distance_faults,
    shape_faults,
)

LAWN = shapely.box(-104.7, 41.2, -104.6998, 41.2001)


def found(faults: list[GeometryFault]) -> list[tuple[int, Fault, bool]]:
    return [(fault.index, fault.fault, fault.refuses) for fault in faults]


def test_a_sound_lawn_has_no_fault() -> None:
    assert shape_faults(as_array([LAWN, None, shapely.Point(-104.7, 41.2)])) == []


@pytest.mark.parametrize(
    ("shape", "fault", "refuses"),
    [
        pytest.param(shapely.Polygon(), Fault.EMPTY, True, id="empty"),
        pytest.param(
            shapely.Polygon([(0, 0), (1e-4, 1e-4), (1e-4, 0), (0, 1e-4)]),
            Fault.SELF_CROSSING,
            True,
            id="bow tie",
        ),
        pytest.param(shapely.Point(445_000, 3_675_000), Fault.NOT_DEGREES, True, id="metres"),
        pytest.param(shapely.Point(41.2, -104.7), Fault.SWAPPED, True, id="swapped beyond the pole"),
        pytest.param(shapely.Point(42.3, -83.0), Fault.SWAPPED, True, id="swapped into the ice"),
        pytest.param(
            shapely.box(-179.9999, -17.0, 179.9999, -16.9999), Fault.ANTIMERIDIAN, True, id="round the globe"
        ),
        pytest.param(
            shapely.box(179.9999, -17.0, 180.0001, -16.9999), Fault.ANTIMERIDIAN, True, id="through 180"
        ),
        pytest.param(
            # RFC 7946 (Butler et al., 2016), section 3.1.9: a shape cut in two at the antimeridian.
            shapely.MultiPolygon(
                [
                    shapely.box(179.9999, -17.0, 180.0, -16.9999),
                    shapely.box(-180.0, -17.0, -179.9999, -16.9999),
                ]
            ),
            Fault.ANTIMERIDIAN,
            True,
            id="in two parts",
        ),
        pytest.param(shapely.box(-104.7, 41.2, -104.6995, 41.200001), Fault.SLIVER, False, id="sliver"),
        pytest.param(shapely.box(-104.7, 41.2, -104.69, 41.21), Fault.OVERSIZE, False, id="oversize"),
        pytest.param(shapely.Point(-104.7, 41.2, 1500), Fault.HAS_HEIGHT, False, id="height"),
    ],
)
def test_a_fault_of_a_shape_is_named(shape: BaseGeometry, fault: Fault, refuses: bool) -> None:
    assert found(shape_faults(as_array([LAWN, shape]))) == [(1, fault, refuses)]


def test_a_swap_inside_the_globe_is_seen_by_the_clock() -> None:
    swapped, right = shapely.Point(-33.9, 18.4), shapely.Point(18.4, -33.9)

    faults = clock_faults(as_array([swapped, right]), np.array([2.0, 2.0]))

    assert found(faults) == [(0, Fault.SWAPPED, True)]


def test_a_place_in_another_time_zone_is_only_warned_of() -> None:
    faults = clock_faults(
        as_array([shapely.Point(10.0, 50.0), shapely.Point(10.0, 50.0)]), np.array([-7.0, np.nan])
    )

    assert found(faults) == [(0, Fault.FAR_AWAY, False)]


def test_the_clock_knows_the_date_line() -> None:
    assert clock_faults(as_array([shapely.Point(-179.0, -16.5)]), np.array([12.0])) == []


def test_a_thing_far_from_its_site_is_refused_and_a_swapped_one_named() -> None:
    things = as_array(
        [shapely.Point(-104.7, 41.2001), shapely.Point(-104.7, 41.4), shapely.Point(41.2, -104.7)]
    )

    faults = distance_faults(things, np.full(3, -104.7), np.full(3, 41.2), limit_m=2_000, refuses=True)

    assert found(faults) == [(1, Fault.FAR_AWAY, True), (2, Fault.SWAPPED, True)]


def test_a_zone_beyond_its_lot_is_warned_of_and_a_point_lot_is_passed_over() -> None:
    beyond = shapely.box(-104.6999, 41.2, -104.6997, 41.2001)
    zones = as_array([beyond, LAWN, beyond])

    faults = lot_faults(zones, as_array([LAWN, LAWN, shapely.Point(-104.7, 41.2)]))

    assert found(faults) == [(0, Fault.OUTSIDE_LOT, False)]
    assert "50%" in faults[0].found


def test_zones_over_each_other_are_told_once_and_only_within_a_site() -> None:
    shifted = shapely.box(-104.6999, 41.2, -104.6997, 41.2001)
    zones = as_array([LAWN, shifted, shifted, None])

    faults = overlap_faults(zones, np.array([0, 0, 1, 0]))

    assert [(fault.index, other) for fault, other in faults] == [(1, 0)]


def test_zones_that_share_an_edge_do_not_overlap() -> None:
    beside = shapely.box(-104.6998, 41.2, -104.6996, 41.2001)

    assert overlap_faults(as_array([LAWN, beside]), np.array([0, 0])) == []


def test_a_fault_says_what_was_expected() -> None:
    with pytest.raises(ValueError, match="expected"):
        GeometryFault(0, Fault.EMPTY, "", "", True)
