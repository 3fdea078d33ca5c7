from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sites.calc.search.gating import (
    ZoneState,
    allowed_starts,
    run_governing,
    run_zones,
)


def state(
    depletion: list[float], *, days: int = 28, demand: float = 5.0, rain: float = 0.0, available: float = 36.0
) -> ZoneState:
    zones = len(depletion)
    shape = (days, zones, 1)
    return ZoneState(
        np.array(depletion, dtype=np.float32),
        np.full(zones, available, dtype=np.float32),
        np.full(zones, available / 2, dtype=np.float32),
        np.full(shape, demand, dtype=np.float32),
        np.full(shape, rain, dtype=np.float32),
    )


def by_hand(depletion: float, threshold: float, depth: float, offered: int) -> int:
    """Starts let through one after the other."""
    allowed = 0
    for _ in range(offered):
        if depletion >= threshold:
            allowed += 1
            depletion = max(0.0, depletion - depth)
    return allowed


@given(
    st.integers(0, 400).map(lambda tenth: tenth / 10),
    st.integers(15, 200).map(lambda tenth: tenth / 10),
    st.integers(5, 150).map(lambda tenth: tenth / 10 + 0.03),
    st.integers(0, 6),
)
def test_the_closed_form_counts_starts_as_one_after_the_other_does(
    depletion: float, threshold: float, depth: float, offered: int
) -> None:
    allowed = by_hand(depletion, threshold, depth, offered)
    arrays = [np.array([value]) for value in (depletion, threshold, depth, float(offered))]

    assert allowed_starts(*arrays)[0] == allowed


def test_a_wet_root_zone_lets_nothing_through() -> None:
    outcome, starts = run_governing(
        state([0.0], demand=0.0),
        np.array([5.0], dtype=np.float32),
        np.array([[3.0]], dtype=np.float32),
        np.full((28, 1, 1), 4, dtype=np.uint8),
        keep_starts=True,
    )

    assert starts is not None
    assert starts.sum() == 0
    assert outcome.passes[0, 0] == 0
    assert outcome.adequacy[0, 0] == 1


def test_the_sensor_gives_back_what_et_took() -> None:
    outcome, _ = run_governing(
        state([6.0]),
        np.array([6.0], dtype=np.float32),
        np.array([[4.0]], dtype=np.float32),
        np.full((28, 1, 1), 4, dtype=np.uint8),
        keep_starts=False,
    )

    assert abs(float(outcome.passes[0, 0]) * 4.0 - 28 * 5.0) < 8.0
    assert outcome.adequacy[0, 0] == 1
    assert outcome.percolated_mm[0, 0] == 0


def test_more_than_the_root_zone_holds_is_lost() -> None:
    starts = np.ones((1, 1, 1, 1), dtype=np.uint8)

    outcome = run_zones(state([7.0], days=1), np.array([[10.0]], dtype=np.float32), starts, np.array([0]))

    assert outcome.percolated_mm[0, 0] == 3.0
    assert outcome.end_depletion_mm[0, 0] == 5.0


@given(st.lists(st.floats(0.5, 12.0), min_size=2, max_size=6), st.integers(1, 4))
def test_adequacy_and_loss_rise_with_the_depth_of_a_pass(depths: list[float], offered: int) -> None:
    depths = sorted(depths)
    starts = np.full((28, 1, len(depths), 1), offered, dtype=np.uint8)
    starts[::2] = 0

    outcome = run_zones(state([10.0]), np.array([depths], dtype=np.float32), starts, np.array([0]))

    assert np.all(np.diff(outcome.adequacy[0]) >= -1e-5)
    assert np.all(np.diff(outcome.percolated_mm[0]) >= -1e-3)
    assert np.all(np.diff(outcome.end_depletion_mm[0]) <= 1e-3)


@given(st.floats(0.0, 36.0), st.floats(0.0, 9.0), st.floats(0.0, 20.0), st.floats(0.1, 15.0))
def test_depletion_stays_between_nothing_and_all_that_is_available(
    depletion: float, demand: float, rain: float, depth: float
) -> None:
    starts = np.ones((28, 1, 1, 1), dtype=np.uint8)

    outcome = run_zones(
        state([depletion], demand=demand, rain=rain),
        np.array([[depth]], dtype=np.float32),
        starts,
        np.array([0]),
    )

    assert 0 <= outcome.end_depletion_mm[0, 0] <= 36.0
    assert 0 <= outcome.adequacy[0, 0] <= 1 + 1e-6
    assert 0 <= outcome.dry_share[0, 0] <= 1


def test_rain_that_finds_no_room_is_not_counted_as_irrigation_lost() -> None:
    starts = np.zeros((28, 1, 1, 1), dtype=np.uint8)

    outcome = run_zones(state([3.0], rain=30.0), np.array([[5.0]], dtype=np.float32), starts, np.array([0]))

    assert outcome.percolated_mm[0, 0] == 0


def test_water_balances_where_nothing_is_lost() -> None:
    starts = np.ones((28, 1, 1, 1), dtype=np.uint8)

    outcome = run_zones(state([10.0], demand=5.0), np.array([[4.5]], dtype=np.float32), starts, np.array([0]))

    used = float(outcome.adequacy[0, 0]) * 28 * 5.0
    assert (
        abs(10.0 - 28 * 4.5 + float(outcome.percolated_mm[0, 0]) + used - outcome.end_depletion_mm[0, 0])
        < 1e-3
    )


@given(
    st.floats(1.5, 16.0),
    st.floats(0.1, 8.0),
    st.floats(1.0, 8.0),
    st.integers(1, 4),
    st.floats(2.0, 9.0),
)
def test_a_wetter_threshold_never_lowers_adequacy_of_the_same_program(
    threshold: float, wetter_by: float, depth: float, offered: int, demand: float
) -> None:
    def adequacy(threshold_mm: float) -> float:
        outcome, _ = run_governing(
            state([8.0], demand=demand),
            np.array([threshold_mm], dtype=np.float32),
            np.array([[depth]], dtype=np.float32),
            np.full((28, 1, 1), offered, dtype=np.uint8),
            keep_starts=False,
        )
        return float(outcome.adequacy[0, 0])

    # A start that comes earlier may leave the last day of the span a little drier: half a day's use at most.
    assert adequacy(max(threshold - wetter_by, 0.1)) >= adequacy(threshold) - 0.02


def test_stress_takes_its_share_of_the_demand() -> None:
    # FAO-56, Eq. 84: three quarters of the water between allowed depletion (18) and wilting (36) are gone.
    outcome, _ = run_governing(
        state([31.5], days=1, demand=4.0),
        np.array([100.0], dtype=np.float32),
        np.array([[3.0]], dtype=np.float32),
        np.zeros((1, 1, 1), dtype=np.uint8),
        keep_starts=False,
    )

    np.testing.assert_allclose(outcome.adequacy, 0.25)
    np.testing.assert_allclose(outcome.end_depletion_mm, 32.5)


def test_dry_days_are_a_share_of_the_days_of_all_seasons() -> None:
    one = state([17.0], days=4, demand=4.0)
    dry, wet = one.demand_mm, np.zeros_like(one.demand_mm)
    two = ZoneState(
        one.depletion_mm,
        one.available_mm,
        one.allowed_mm,
        np.concatenate([dry, wet], axis=2),
        np.zeros((4, 1, 2), dtype=np.float32),
    )

    outcome, _ = run_governing(
        two,
        np.array([100.0], dtype=np.float32),
        np.array([[3.0]], dtype=np.float32),
        np.zeros((4, 1, 1), dtype=np.uint8),
        keep_starts=False,
    )

    np.testing.assert_allclose(outcome.dry_share, 0.5)  # four days of eight
