"""Siting of a sensor: which zone, where in it, and the way of its wire; by hand and by law."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc.siting.parts import Goal, Ground
from sites.calc.siting.points import HARD_M, Surroundings, has_room, ranked_points
from sites.calc.siting.way import (
    PAVING_COST,
    SPARE_COST,
    SPLICE_COST_M,
    trench_cost,
    ways_from,
    wire_ways,
)
from sites.calc.siting.zone import governing_choices
from tests.sites.search.cases import garden

LAWN = shapely.box(0, 0, 12, 8)
HOUSE = shapely.box(4, -3, 6, 1)


def test_in_a_bare_lawn_the_best_point_is_its_middle() -> None:
    best = ranked_points(Surroundings(LAWN), setback_m=1.0)[0]

    assert best.edge_m == pytest.approx(4.0, abs=0.2)
    assert best.y == pytest.approx(4.0, abs=0.2)
    assert best.faults == ()


def test_the_point_keeps_off_house_tree_heads_neighbours_and_the_low_side() -> None:
    around = Surroundings(
        zone=LAWN,
        hard=[shapely.box(-5, -5, 0, 13)],  # a house along the west edge
        trees=[shapely.Point(12, 8).buffer(1.0)],
        neighbours=[shapely.box(0, -3, 12, 0)],
        heads=[shapely.Point(x, y) for x in (0, 4, 8, 12) for y in (0, 4, 8)],
        downhill_deg=90.0,  # the ground falls to the east
    )

    best = ranked_points(around, setback_m=1.0)[0]

    assert best.hard_m >= HARD_M
    assert best.tree_m > 2.5
    assert best.neighbour_m >= 1.5
    assert best.low_share <= 0.75
    # Heads every 4 m: the middle of four is 2.83 m from each.
    assert best.head_m == pytest.approx(math.hypot(2, 2), abs=0.3)
    assert best.is_mid_pattern
    assert best.faults == ()


def test_a_point_beyond_the_throw_of_all_known_heads_is_doubted() -> None:
    corners = [shapely.Point(x, y) for x in (0, 40) for y in (0, 30)]

    around = Surroundings(shapely.box(0, 0, 40, 30), heads=corners, throw_m=5.0)

    assert ranked_points(around, setback_m=1.0)[0].head_m <= 5.0
    assert "beyond" not in ranked_points(around, setback_m=1.0)[0].faults


def test_a_strip_narrower_than_the_setback_gives_its_deepest_point_only() -> None:
    strip = shapely.box(0, 0, 20, 1.2)

    found = ranked_points(Surroundings(strip), setback_m=1.0)

    assert not has_room(strip, 1.0)
    assert len(found) == 1
    assert found[0].edge_m == pytest.approx(0.6, abs=0.01)


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 10_000),
    st.integers(3, 9),
    st.floats(2.0, 15.0),
    st.floats(0.2, 2.0),
    st.booleans(),
)
def test_points_are_inside_and_a_setback_away_wherever_any_point_is(
    seed: int, corners: int, size: float, setback: float, with_hole: bool
) -> None:
    rng = np.random.default_rng(seed)
    angles = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radii = size * rng.uniform(0.4, 1.0, corners)
    zone = shapely.make_valid(
        shapely.Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)]))
    )
    if with_hole:
        zone = zone.difference(shapely.Point(0.2, 0.1).buffer(size / 6))
    if zone.area < 0.5 or zone.geom_type not in ("Polygon", "MultiPolygon"):
        return

    found = ranked_points(Surroundings(zone), setback_m=setback)

    # Against an oracle of its own: shrink the zone and see whether anything is left.
    exists = not zone.buffer(-(setback + 0.02)).is_empty
    assert 1 <= len(found) <= 4
    for point in found:
        at = shapely.Point(point.x, point.y)
        assert zone.contains(at)
        assert point.edge_m == pytest.approx(zone.boundary.distance(at))
        if exists:
            assert point.edge_m >= setback - 1e-9
    scores = [round(point.score, 1) for point in found]
    assert scores == sorted(scores, reverse=True)


def test_the_way_round_a_house_is_the_one_worked_by_hand() -> None:
    # From (0,0) to (10,0) round a house from x 4 to 6, y -3 to 1: over its two upper corners, 2 sqrt(17) + 2.
    way = wire_ways((0, 0), [Goal("box", "valve_box", 10, 0, 2)], Ground(blocked=[HOUSE]), clearance_m=0.0)[0]

    assert way.length_m == pytest.approx(2 * math.sqrt(17) + 2)
    assert [leg.bearing_deg for leg in way.legs] == pytest.approx([75.96, 90.0, 104.04], abs=0.01)
    assert way.blocked_m == pytest.approx(0.0, abs=1e-6)


def test_the_clearance_makes_the_way_longer_and_keeps_it_off_the_wall() -> None:
    way = wire_ways((0, 0), [Goal("box", "valve_box", 10, 0, 2)], Ground(blocked=[HOUSE]))[0]

    line = shapely.LineString([way.legs[0].start, *(leg.end for leg in way.legs)])
    assert line.distance(HOUSE) >= 0.3 - 1e-5
    assert way.length_m > 2 * math.sqrt(17) + 2


@pytest.mark.parametrize(("beyond", "crosses"), [(4.0, False), (20.0, True)])
def test_a_drive_is_gone_round_where_that_is_cheaper_and_crossed_squarely_else(
    beyond: float, crosses: bool
) -> None:
    # A drive 3 m wide between x 3.5 and 6.5; going round its end costs 2 sqrt(3.5^2 + end^2) + 3.
    drive = shapely.box(3.5, -beyond, 6.5, beyond)

    way = wire_ways((0, 0), [Goal("box", "valve_box", 10, 0, 2)], Ground(paving=[drive]))[0]

    straight = 10 + (PAVING_COST - 1) * 3
    round_the_end = 2 * math.hypot(3.5, beyond) + 3
    assert (round_the_end > straight) == crosses
    assert way.cost == pytest.approx(min(straight, round_the_end), rel=1e-3)
    assert way.paving_m == pytest.approx(3.0 if crosses else 0.0, abs=0.01)


def test_along_a_wire_with_spares_nothing_is_dug() -> None:
    # The wire runs 5 m north of the way and ends at the box: 5 m of trench, then 40 m of spare conductor.
    wire = shapely.LineString([(0, 5), (40, 5)])

    way = wire_ways((0, 0), [Goal("box", "valve_box", 40, 5, 2)], Ground(wires=[wire]))[0]

    assert way.trench_m == pytest.approx(5.0, abs=0.01)
    assert way.spare_m == pytest.approx(40.0, abs=0.01)
    assert way.cost == pytest.approx(5 + SPLICE_COST_M + 40 * SPARE_COST, abs=0.01)


def test_the_nearest_goal_by_cost_comes_first_and_a_walled_in_one_is_still_reached() -> None:
    ring = shapely.Point(0, 0).buffer(3).boundary
    goals = [Goal("far", "valve_box", 0, 30, 1), Goal("near", "valve_box", 5, 0, 1)]

    ways = wire_ways((0, 0), goals, Ground(blocked=[ring]))

    assert [way.goal.name for way in ways] == ["near", "far"]
    assert ways[0].blocked_m > 0.1
    assert wire_ways((0, 0), [], Ground()) == []


def test_several_places_by_one_graph_have_the_ways_that_each_has_alone() -> None:
    ground = Ground(
        blocked=[HOUSE], paving=[shapely.box(7, -8, 8, 8)], wires=[shapely.LineString([(0, 6), (12, 6)])]
    )
    goals = [Goal("box", "valve_box", 12, 6, 2), Goal("A", "controller", 6, 0)]
    starts = [(0.0, 0.0), (1.0, 5.0), (9.0, -6.0)]

    together = ways_from(starts, goals, ground)

    for start, ways in zip(starts, together, strict=True):
        alone = wire_ways(start, goals, ground)
        assert [way.goal.name for way in ways] == [way.goal.name for way in alone]
        # More places give more nodes to turn at: the way may only get shorter.
        for one, other in zip(ways, alone, strict=True):
            assert one.cost <= other.cost + 1e-6
            assert one.cost == pytest.approx(other.cost, rel=0.02)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 100_000))
def test_no_way_that_is_tried_costs_less_than_the_one_that_is_found(seed: int) -> None:
    rng = np.random.default_rng(seed)
    boxes = [
        shapely.box(x, y, x + w, y + h)
        for x, y, w, h in np.column_stack([rng.uniform(2, 16, (4, 2)), rng.uniform(1, 4, (4, 2))])
    ]
    ground = Ground(blocked=boxes[:2], paving=boxes[2:])
    goal = Goal("box", "valve_box", 20.0, float(rng.uniform(0, 20)), 2)

    way = wire_ways((0.0, 0.0), [goal], ground)[0]

    corners = np.vstack([shapely.get_coordinates(box.buffer(0.3, join_style="mitre")) for box in boxes])
    tried = [shapely.LineString([(0, 0), (goal.x, goal.y)])]
    for _ in range(40):
        some = corners[rng.choice(len(corners), rng.integers(1, 4), replace=False)]
        tried.append(shapely.LineString([(0, 0), *some[np.argsort(some[:, 0])], (goal.x, goal.y)]))
    # Paving corners of the tried ways lie outside those of the graph: one grid step of room.
    assert way.cost <= trench_cost(tried, ground).min() + 0.75
    assert way.cost >= math.hypot(goal.x, goal.y) - 1e-6
    assert way.legs[0].start == (0.0, 0.0)
    assert way.legs[-1].end == pytest.approx((goal.x, goal.y))


def test_the_zone_that_starves_no_other_governs() -> None:
    # By hand: lawn KL .8, roots may lose 12 mm; shrubs KL .4, 30 mm. With the sensor in the lawn the shrubs
    # use 12 x .4 / .8 = 6 of 30 mm; with it in the shrubs the lawn uses 30 x .8 / .4 = 60 of 12 mm.
    zones = replace(
        garden(plants=("shrubs", "cool_turf"), heads=("fixed_spray", "rotor")).zones,
        landscape_coefficient=np.array([0.4, 0.8]),
        allowed_depletion_mm=np.array([30.0, 12.0]),
        total_available_water_mm=np.array([60.0, 24.0]),
    )

    choices = governing_choices(zones, threshold_kpa=float("nan"), has_room=[True, True])

    assert [one.at for one in choices] == [1, 0]
    assert choices[0].starving == ()
    assert choices[0].worst_share == pytest.approx(6 / 30)
    assert choices[1].starving == (1,)
    assert choices[1].worst_share == pytest.approx(60 / 12)


def test_a_wetter_threshold_lets_more_zones_govern() -> None:
    zones = garden(plants=("shrubs", "cool_turf"), heads=("fixed_spray", "rotor")).zones
    room = [True, True]

    wet = governing_choices(zones, threshold_kpa=14.0, has_room=room)
    dry = governing_choices(zones, threshold_kpa=100.0, has_room=room)

    assert sum(len(one.starving) for one in wet) <= sum(len(one.starving) for one in dry)
    assert dry[0].used_mm > wet[0].used_mm


def test_a_dripline_zone_or_one_without_room_governs_only_where_nothing_else_can() -> None:
    zones = garden(plants=("cool_turf", "cool_turf", "cool_turf"), heads=("dripline", "rotor", "rotor")).zones

    choices = governing_choices(zones, threshold_kpa=float("nan"), has_room=[True, False, True])

    assert [one.at for one in choices] == [2, 0, 1]


def test_a_lone_zone_governs_itself() -> None:
    zones = garden(plants=("cool_turf",), heads=("rotor",)).zones

    choices = governing_choices(zones, threshold_kpa=30.0, has_room=[True])

    assert (choices[0].starving, choices[0].worst_share) == ((), 0.0)
