"""Parts of a fleet that are worked on at the same time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.side_by_side import parts_by_location, side_by_side


@given(
    st.lists(st.integers(0, 6), min_size=1, max_size=60),
    st.integers(1, 9),
)
def test_parts_hold_each_site_once_and_share_no_location(places: list[int], most: int) -> None:
    location = np.array(places, dtype=np.int64)
    order = np.argsort(location, kind="stable")

    parts = parts_by_location(order, location, most=most)

    assert 1 <= len(parts) <= most
    np.testing.assert_array_equal(np.concatenate(parts), order)
    held = [set(location[part].tolist()) for part in parts]
    assert all(part for part in held)
    assert sum(len(part) for part in held) == len(set(places))


def test_an_empty_fleet_is_one_empty_part() -> None:
    nobody = np.zeros(0, dtype=np.int64)

    assert [part.size for part in parts_by_location(nobody, nobody, most=4)] == [0]


def test_results_stand_in_the_order_of_the_parts() -> None:
    assert side_by_side(lambda number: number * number, [3, 1, 2]) == [9, 1, 4]


def test_a_part_that_fails_is_heard_of() -> None:
    with pytest.raises(ZeroDivisionError):
        side_by_side(lambda number: 1 // number, [1, 0, 2])
