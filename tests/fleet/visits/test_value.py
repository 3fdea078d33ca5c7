"""Estimated travel and the value of a day of waiting."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from fleet.calc.plan.travel import estimated_travel, great_circle_m
from fleet.calc.visits.settings import VisitSettings, visit_settings
from fleet.calc.visits.value import (
    merged_service_min,
    stated_value,
    turf_value,
    value_sentence,
    water_value,
)


def test_a_degree_of_latitude_is_a_three_hundred_sixtieth_of_the_earth() -> None:
    # 2 pi 6371.0088 km / 360 (IUGG mean radius)
    assert_allclose(great_circle_m(10.0, 20.0, 11.0, 20.0), 111_195.08, rtol=1e-6)


def test_great_circle_agrees_with_the_ellipsoid_within_half_a_percent() -> None:
    from pyproj import Geod

    _, _, apart = Geod(ellps="WGS84").inv(-104.7, 41.2, -104.5, 41.35)

    assert_allclose(great_circle_m(41.2, -104.7, 41.35, -104.5), apart, rtol=0.005)


def test_estimated_travel_is_marked_and_adds_settling_at_new_places_only() -> None:
    travel = estimated_travel([41.2, 41.2, 41.3], [-104.7, -104.7, -104.7], speed_km_h=36, settle_s=60)

    assert travel.is_estimated
    assert travel.duration_s[0, 1] == 0
    assert_allclose(travel.duration_s[0, 2], travel.distance_m[0, 2] / 10 + 60)
    assert_allclose(travel.distance_m, travel.distance_m.T)


@pytest.mark.parametrize(("name", "value"), [("circuity", 0.9), ("speed_km_h", 0.0)])
def test_estimated_travel_refuses_nonsense(name: str, value: float) -> None:
    with pytest.raises(ValueError, match="expected"):
        estimated_travel([41.2], [-104.7], **{name: value})


def test_water_at_stake_is_priced_by_the_day() -> None:
    assert_allclose(water_value(7000, 3.0), 3.0)


def test_a_lawn_dry_for_two_weeks_is_counted_as_lost() -> None:
    assert_allclose(turf_value(14, 14, 100, 9.0) * 14, 900.0)


def test_a_stated_value_goes_before_a_priority() -> None:
    assert stated_value(7.0, 5, 10) == 7.0
    assert stated_value(None, 3, 10) == 30.0
    assert stated_value(None, None, 10) == 0.0


def test_the_value_says_how_it_came_about() -> None:
    words = value_sentence({"water": 3.0, "turf": 0.0, "promise": 150.0}, "USD")

    assert words == "water at stake 3.00 USD, promise to the customer 150.00 USD a day"


@given(st.lists(st.floats(5, 240), min_size=1, max_size=6))
def test_one_merged_visit_is_shorter_than_its_needs_apart_and_no_shorter_than_the_longest(
    times: list[float],
) -> None:
    merged = merged_service_min(times)

    assert max(times) <= merged <= sum(times) + 1e-9


def test_a_company_changes_single_settings() -> None:
    own = visit_settings({"visits.speed_km_h": 28, "watch.other": 1, "circuity": True})

    assert own.speed_km_h == 28
    assert own.circuity == VisitSettings().circuity
    with pytest.raises(ValueError, match="cost_per_km"):
        visit_settings({"visits.cost_per_km": -1})


def test_times_between_places_never_break_the_triangle_by_more_than_settling() -> None:
    rng = np.random.default_rng(4)
    travel = estimated_travel(41 + rng.random(8) / 5, -104 + rng.random(8) / 5, settle_s=0)
    through = travel.duration_s[:, :, None] + travel.duration_s[None]

    assert (travel.duration_s[:, None, :] <= through + 1e-6).all()
