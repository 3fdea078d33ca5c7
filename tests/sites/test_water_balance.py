"""The daily balance against FAO-56's worked examples, and the laws it must keep."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from sites.calc.water_balance import (
    Balance,
    BalanceState,
    BalanceZones,
    Percolation,
    starting_state,
    stress_coefficient,
    water_balance,
)
from tests.conftest import DATA


def _zones(taw_mm: float, raw_mm: float, *, kl: float = 1.0, storage_mm: float = 1e9) -> BalanceZones:
    """One zone whose rain never runs off unless a storage is given."""
    one = np.ones(1)
    return BalanceZones(
        location_at=np.zeros(1, dtype=np.int64),
        rain_at=np.zeros(1, dtype=np.int64),
        landscape_coefficient=kl * one,
        total_available_water_mm=taw_mm * one,
        allowed_depletion_mm=raw_mm * one,
        storage_mm=storage_mm * one,
        coefficient_error=0.1 * one,
        rate_error=0.1 * one,
    )


def _run(
    zones: BalanceZones,
    eto_mm: list[float],
    rain_mm: list[float],
    irrigation_mm: list[float],
    *,
    start_mm: float,
    percolation: Percolation = Percolation.BEFORE_ET,
) -> Balance:
    def column(values: list[float]) -> NDArray[np.float64]:
        return np.array(values, dtype=float)[:, None]

    nothing = np.zeros(1)
    return water_balance(
        zones,
        reference_et_mm=column(eto_mm),
        reference_et_sd_mm=column([0.5] * len(eto_mm)),
        rain_mm=column(rain_mm),
        rain_sd_mm=column([0.0] * len(eto_mm)),
        irrigation_net_mm=column(irrigation_mm),
        state=BalanceState(np.full(1, start_mm), nothing, nothing, nothing),
        percolation=percolation,
    )


EXAMPLES = json.loads((DATA / "balance" / "fao56_examples.json").read_text())


def test_available_water_of_fao56_example_36() -> None:
    # FAO-56 (Allen et al. 1998), Example 36: TAW and RAW of three crops on three soils, Eq. 82 and 83.
    inputs, printed = EXAMPLES["ex36"]["inputs"], EXAMPLES["ex36"]["expected_TAW_RAW_mm"]
    for crop, rows in printed.items():
        depth_m, fraction = inputs["crops"][crop]["Zr"], inputs["crops"][crop]["p"]
        for (capacity, wilting), (taw, raw) in zip(inputs["soils"].values(), rows, strict=True):
            available = 1000 * (capacity - wilting) * depth_m
            assert available == pytest.approx(taw, abs=EXAMPLES["ex36"]["tol"])
            assert fraction * available == pytest.approx(raw, abs=EXAMPLES["ex36"]["tol"] + 0.1)


def _example_38(percolation: Percolation) -> tuple[list[float], list[float]]:
    """Depletion at each day's end, and percolation, of FAO-56's Example 38; the root zone grows daily."""
    given = EXAMPLES["ex38"]["inputs"]
    depletion, ends, drained = given["Dr0"], [], []
    for day, depth_m in enumerate(given["Zr"]):
        taw = 1000 * (given["FC"] - given["WP"]) * depth_m
        etc = (given["Kcb"][day] + given["Ke"][day]) * given["ETo"][day]
        done = _run(
            _zones(taw, given["p"] * taw),
            [etc],
            [given["P_minus_RO"][day]],
            [given["I"][day]],
            start_mm=depletion,
            percolation=percolation,
        )
        depletion = float(done.depletion_mm[0, 0])
        ends.append(depletion)
        drained.append(float(done.percolation_mm[0, 0]))
    return ends, drained


def test_the_printed_table_of_fao56_example_38_drains_before_et() -> None:
    ends, drained = _example_38(Percolation.BEFORE_ET)

    np.testing.assert_allclose(ends, EXAMPLES["ex38"]["expected"]["Dr_end"], atol=EXAMPLES["ex38"]["tol"])
    np.testing.assert_allclose(drained, EXAMPLES["ex38"]["expected"]["DP"], atol=EXAMPLES["ex38"]["tol"])


def test_equation_88_as_printed_drains_after_et_and_ends_about_five_mm_wetter() -> None:
    ends, drained = _example_38(Percolation.AFTER_ET)

    assert drained[0] == pytest.approx(40 - 23 - 1.21 * 4.5, abs=0.5)
    assert ends[0] == pytest.approx(0.0, abs=1e-9)
    lower = np.array(EXAMPLES["ex38"]["expected"]["Dr_end"][1:9]) - ends[1:9]
    assert np.all((lower > 4.4) & (lower < 7.0))


def test_stress_starts_beyond_the_allowed_depletion() -> None:
    # FAO-56 Eq. 84: half of what is left beyond RAW gives Ks 0.5.
    ks = stress_coefficient(np.array([0.0, 30.0, 45.0, 60.0]), np.full(4, 60.0), np.full(4, 30.0))

    np.testing.assert_allclose(ks, [1.0, 1.0, 0.5, 0.0])


def test_more_water_than_open_storage_percolates() -> None:
    done = _run(_zones(60, 30), [4.0], [25.0], [0.0], start_mm=10.0)

    assert done.percolation_mm[0, 0] == pytest.approx(15.0)
    assert done.effective_rain_mm[0, 0] == pytest.approx(10.0)
    assert done.depletion_mm[0, 0] == pytest.approx(4.0)


def test_after_et_the_days_draw_makes_room_first() -> None:
    before = _run(_zones(60, 30), [4.0], [25.0], [0.0], start_mm=10.0)
    after = _run(_zones(60, 30), [4.0], [25.0], [0.0], start_mm=10.0, percolation=Percolation.AFTER_ET)

    assert after.percolation_mm[0, 0] == pytest.approx(before.percolation_mm[0, 0] - 4.0)
    assert after.depletion_mm[0, 0] == pytest.approx(0.0)


def test_a_full_root_zone_is_known_better_than_a_dry_one() -> None:
    dry = _run(_zones(60, 30), [5.0] * 10, [0.0] * 10, [0.0] * 10, start_mm=0.0)
    wet = _run(_zones(60, 30), [5.0] * 10, [0.0] * 9 + [80.0], [0.0] * 10, start_mm=0.0)

    assert wet.depletion_sd_mm[-1, 0] < 0.5 * dry.depletion_sd_mm[-1, 0]
    assert np.all(np.diff(dry.depletion_sd_mm[:6, 0]) > 0)


amounts = st.lists(st.floats(0, 60), min_size=12, max_size=12)


@given(
    rain=amounts,
    irrigation=amounts,
    eto=st.lists(st.floats(0, 12), min_size=12, max_size=12),
    start=st.floats(0, 60),
)
def test_water_is_conserved_and_stays_in_the_root_zone(
    rain: list[float], irrigation: list[float], eto: list[float], start: float
) -> None:
    for order in Percolation:
        done = _run(_zones(60, 27, storage_mm=50), eto, rain, irrigation, start_mm=start, percolation=order)

        in_mm = np.sum(rain) + np.sum(irrigation)
        out_mm = done.actual_et_mm.sum() + done.percolation_mm.sum() + done.runoff_mm.sum()
        assert abs((start - in_mm + out_mm) - done.depletion_mm[-1, 0]) < 1e-9
        assert np.all(done.depletion_mm >= -1e-9)
        assert np.all(done.depletion_mm <= 60 + 1e-9)


@given(rain=amounts, more=amounts, eto=st.lists(st.floats(0, 12), min_size=12, max_size=12))
def test_more_rain_never_leaves_the_soil_drier(
    rain: list[float], more: list[float], eto: list[float]
) -> None:
    zones = _zones(60, 27, storage_mm=50)
    less = _run(zones, eto, rain, [0.0] * 12, start_mm=20)
    greater = _run(zones, eto, [a + b for a, b in zip(rain, more, strict=True)], [0.0] * 12, start_mm=20)

    assert np.all(greater.depletion_mm <= less.depletion_mm + 1e-9)


def test_the_first_state_is_unsure_by_a_third_of_the_allowed_depletion() -> None:
    state = starting_state(np.array([20.0]))

    assert state.depletion_mm[0] == 10.0
    assert np.sqrt(state.variance_mm2[0]) == pytest.approx(6.0)


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="irrigation_net_mm"):
        water_balance(
            _zones(60, 30),
            reference_et_mm=np.ones((2, 1)),
            reference_et_sd_mm=np.ones((2, 1)),
            rain_mm=np.ones((2, 1)),
            rain_sd_mm=np.ones((2, 1)),
            irrigation_net_mm=np.ones((3, 1)),
            state=starting_state(np.array([20.0])),
        )
