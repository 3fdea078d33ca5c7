"""The daily balance against FAO-56's worked examples, and the laws it must keep."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc import soil
from sites.calc.balance.parts import BalanceState, Forcing, RootZones, infiltrating_rain_mm, unknown_start
from sites.calc.balance.water_balance import DayOrder, WaterBalance, water_balance
from tests.conftest import DATA

EXAMPLES = json.loads((DATA / "balance" / "fao56_examples.json").read_text())
AT_FIRST = np.zeros(1, dtype=np.int64)


def _zone(taw_mm: float, raw_mm: float, *, kl: float = 1.0, number: float = 0.0) -> RootZones:
    """One zone whose rain never runs off unless a curve number is given."""
    one = np.ones(1)
    return RootZones(taw_mm * one, raw_mm * one, kl * one, number * one, 0.1 * one, 0.1 * one)


def _run(
    zone: RootZones,
    eto_mm: list[float],
    rain_mm: list[float],
    irrigation_mm: list[float],
    *,
    start_mm: float,
    order: DayOrder = DayOrder.WATER_FIRST,
) -> WaterBalance:
    def column(values: list[float]) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
        return np.array(values, dtype=np.float64)[:, None]

    nothing = np.zeros(1)
    forcing = Forcing(
        reference_et_mm=column(eto_mm),
        reference_et_sd_mm=column([0.5] * len(eto_mm)),
        rain_mm=column(rain_mm),
        rain_sd_mm=column([0.0] * len(eto_mm)),
        location=AT_FIRST,
        rain_location=AT_FIRST,
        irrigation_net_mm=column(irrigation_mm),
    )
    state = BalanceState(np.full(1, start_mm), nothing, nothing.copy(), nothing.copy())
    return water_balance(zone, forcing, state, order=order, dtype=np.float64)


def test_available_water_of_fao56_example_36() -> None:
    # FAO-56 (Allen et al. 1998), Example 36: TAW and RAW of three crops on three soils, Eq. 82 and 83.
    inputs, printed = EXAMPLES["ex36"]["inputs"], EXAMPLES["ex36"]["expected_TAW_RAW_mm"]
    for crop, rows in printed.items():
        depth_m, fraction = inputs["crops"][crop]["Zr"], inputs["crops"][crop]["p"]
        for (capacity, wilting), (taw, raw) in zip(inputs["soils"].values(), rows, strict=True):
            available = soil.held_between_mm(capacity, wilting, 1000 * depth_m)
            allowed = soil.allowed_depletion_mm(available, fraction)
            assert float(available) == pytest.approx(taw, abs=EXAMPLES["ex36"]["tol"])
            assert float(allowed) == pytest.approx(raw, abs=EXAMPLES["ex36"]["tol"] + 0.1)


def _example_38(order: DayOrder) -> tuple[list[float], list[float]]:
    """Depletion at each day's end, and percolation, of FAO-56's Example 38; the root zone grows daily."""
    inputs = EXAMPLES["ex38"]["inputs"]
    depletion, ends, drained = inputs["Dr0"], [], []
    for day, depth_m in enumerate(inputs["Zr"]):
        taw = 1000 * (inputs["FC"] - inputs["WP"]) * depth_m
        etc = (inputs["Kcb"][day] + inputs["Ke"][day]) * inputs["ETo"][day]
        done = _run(
            _zone(taw, inputs["p"] * taw),
            [etc],
            [inputs["P_minus_RO"][day]],
            [inputs["I"][day]],
            start_mm=depletion,
            order=order,
        )
        depletion = float(done.depletion_mm[0, 0])
        ends.append(depletion)
        drained.append(float(done.percolation_mm[0, 0]))
    return ends, drained


def test_the_printed_table_of_fao56_example_38_drains_before_et() -> None:
    ends, drained = _example_38(DayOrder.WATER_FIRST)

    np.testing.assert_allclose(ends, EXAMPLES["ex38"]["expected"]["Dr_end"], atol=EXAMPLES["ex38"]["tol"])
    np.testing.assert_allclose(drained, EXAMPLES["ex38"]["expected"]["DP"], atol=EXAMPLES["ex38"]["tol"])


def test_equation_88_as_printed_drains_after_et_and_ends_about_five_mm_wetter() -> None:
    ends, drained = _example_38(DayOrder.SAME_DAY)

    assert drained[0] == pytest.approx(40 - 23 - 1.21 * 4.5, abs=0.5)
    assert ends[0] == pytest.approx(0.0, abs=1e-9)
    lower = np.array(EXAMPLES["ex38"]["expected"]["Dr_end"][1:9]) - ends[1:9]
    assert np.all((lower > 4.4) & (lower < 7.0))


def test_the_worked_week_of_a_cool_turf_on_clay_loam() -> None:
    # Computed by hand: KL 0.94, TAW 27, AD 13.5 mm; refilled on days 2, 4, 7; 0.8 of 9 mm rain on day 5 finds
    # 3.95 mm of room, which is that day's ET (Eq. 88).
    eto = [5.8, 6.1, 6.4, 6.0, 4.2, 5.5, 6.2]
    zone = _zone(27.0, 13.5, kl=0.94)
    depletion, ends, kept_rain = 0.0, [], []
    for day, demand in enumerate(eto):
        done = _run(
            zone, [demand], [7.2 if day == 4 else 0.0], [0.0], start_mm=depletion, order=DayOrder.SAME_DAY
        )
        depletion = float(done.depletion_mm[0, 0])
        ends.append(depletion)
        kept_rain.append(float(done.effective_rain_mm[0, 0]))
        if depletion + 5.64 > 13.5:
            depletion = 0.0

    np.testing.assert_allclose(ends, [5.45, 11.19, 6.02, 11.66, 0.0, 5.17, 11.00], atol=0.006)
    np.testing.assert_allclose(kept_rain, [0, 0, 0, 0, 3.95, 0, 0], atol=0.006)


def test_stress_starts_beyond_the_allowed_depletion() -> None:
    # FAO-56 Eq. 84: half of what is left beyond RAW gives Ks 0.5.
    starts = [0.0, 30.0, 45.0, 60.0]
    found = [float(_run(_zone(60, 30), [1.0], [0.0], [0.0], start_mm=d).actual_et_mm[0, 0]) for d in starts]

    np.testing.assert_allclose(found, [1.0, 1.0, 0.5, 0.0])


def test_more_water_than_open_storage_percolates() -> None:
    done = _run(_zone(60, 30), [4.0], [25.0], [0.0], start_mm=10.0)

    assert done.percolation_mm[0, 0] == pytest.approx(15.0)
    assert done.effective_rain_mm[0, 0] == pytest.approx(10.0)
    assert done.depletion_mm[0, 0] == pytest.approx(4.0)


def test_after_et_the_days_draw_makes_room_first() -> None:
    done = _run(_zone(60, 30), [4.0], [25.0], [0.0], start_mm=10.0, order=DayOrder.SAME_DAY)

    assert done.percolation_mm[0, 0] == pytest.approx(11.0)
    assert done.depletion_mm[0, 0] == pytest.approx(0.0)


def test_rain_has_the_room_before_the_runs() -> None:
    done = _run(_zone(60, 30), [4.0], [8.0], [8.0], start_mm=10.0)

    assert done.effective_rain_mm[0, 0] == pytest.approx(8.0)
    assert done.percolation_mm[0, 0] == pytest.approx(6.0)


def test_rain_below_a_fifth_of_eto_wets_leaves_only_and_storms_run_off() -> None:
    # FAO-56, chapter 8; TR-55 with curve number 80: 2.00 mm of 25 mm (computed).
    found = infiltrating_rain_mm(np.array([0.9, 1.1, 25.0, np.nan]), np.full(4, 5.0), np.full(4, 80.0))

    np.testing.assert_allclose(found[:3], [0.0, 1.1, 23.0], atol=0.006)
    assert np.isnan(found[3])


def test_unknown_weather_makes_the_day_unknown_and_the_next_one_starts_wide() -> None:
    done = _run(_zone(60, 30), [5.0, np.nan, 5.0, 5.0], [0.0] * 4, [0.0] * 4, start_mm=0.0)

    assert np.isnan(done.depletion_mm[1, 0])
    assert done.depletion_mm[2, 0] == pytest.approx(15.0 + 5.0)
    assert done.depletion_sd_mm[2, 0] > 5 * done.depletion_sd_mm[0, 0]


def test_unknown_runs_are_taken_as_needed() -> None:
    done = _run(_zone(60, 30), [5.0] * 20, [0.0] * 20, [np.nan] * 20, start_mm=0.0)

    assert done.depletion_mm.max() <= 35.0
    assert set(np.unique(done.irrigation_net_mm)) == {0.0, 30.0}
    np.testing.assert_allclose(done.actual_et_mm, 5.0)


def test_a_full_root_zone_is_known_better_than_a_dry_one() -> None:
    dry = _run(_zone(60, 30), [5.0] * 10, [0.0] * 10, [0.0] * 10, start_mm=0.0)
    wet = _run(_zone(60, 30), [5.0] * 10, [0.0] * 9 + [80.0], [0.0] * 10, start_mm=0.0)

    assert wet.depletion_sd_mm[-1, 0] < 0.5 * dry.depletion_sd_mm[-1, 0]
    assert np.all(np.diff(dry.depletion_sd_mm[:6, 0]) > 0)


def test_the_spread_agrees_with_a_simulation_of_the_same_errors() -> None:
    # Independent check: 4,000 gardens with errors of KL, PR, ETo and rain, through the same mean model.
    rng = np.random.default_rng(11)
    days, copies = 60, 4000
    eto = np.abs(rng.normal(5.0, 1.0, (days, 1)))
    rain = np.where(rng.random((days, 1)) < 0.12, rng.gamma(1.0, 9.0, (days, 1)), 0.0)
    runs = np.where(np.arange(days)[:, None] % 3 == 0, 9.0, 0.0)
    one, column = np.ones(copies), np.arange(copies)
    errors = {"kl": 0.12, "pr": 0.10}
    forcing = Forcing(
        np.maximum(0.0, eto + rng.normal(0, 0.5, (days, copies))),
        np.zeros((days, copies)),
        rain * np.exp(rng.normal(0, 0.2, (days, copies)) - 0.02),
        np.zeros((days, copies)),
        column,
        column,
        runs * np.exp(rng.normal(0, errors["pr"], copies)),
    )
    truth = RootZones(
        45 * one, 22 * one, 0.75 * np.exp(rng.normal(0, errors["kl"], copies)), 0 * one, 0 * one, 0 * one
    )
    spread = water_balance(truth, forcing, unknown_start(truth), dtype=np.float64).depletion_mm.std(axis=1)

    zone = replace(_zone(45, 22, kl=0.75), coefficient_error=np.full(1, 0.12), rate_error=np.full(1, 0.10))
    told = Forcing(eto, np.full_like(eto, 0.5), rain, 0.2 * rain, AT_FIRST, AT_FIRST, runs)
    nothing = np.zeros(1)
    start = BalanceState(np.full(1, 11.0), nothing, nothing.copy(), nothing.copy())
    found = water_balance(zone, told, start, dtype=np.float64).depletion_sd_mm[:, 0]

    ratio = found / np.maximum(spread, 0.3)
    assert 0.8 < np.median(ratio) < 1.25
    assert np.quantile(ratio, 0.05) > 0.5
    assert np.quantile(ratio, 0.95) < 2.0


amounts = st.lists(st.floats(0, 60), min_size=12, max_size=12)
demands = st.lists(st.floats(0, 12), min_size=12, max_size=12)
orders = st.sampled_from(list(DayOrder))


@settings(deadline=None)
@given(rain=amounts, irrigation=amounts, eto=demands, start=st.floats(0, 60), order=orders)
def test_water_is_conserved_and_stays_in_the_root_zone(
    rain: list[float], irrigation: list[float], eto: list[float], start: float, order: DayOrder
) -> None:
    done = _run(_zone(60, 27, number=74), eto, rain, irrigation, start_mm=start, order=order)

    entered = infiltrating_rain_mm(np.array(rain), np.array(eto), np.full(12, 74.0)).sum() + np.sum(
        irrigation
    )
    left = done.actual_et_mm.sum() + done.percolation_mm.sum()
    assert abs(start - entered + left - done.depletion_mm[-1, 0]) < 1e-9
    assert np.all(done.depletion_mm >= 0)
    assert np.all(done.depletion_mm <= 60 + 1e-9)
    assert np.all(done.effective_rain_mm <= np.array(rain)[:, None] + 1e-12)


@settings(deadline=None)
@given(rain=amounts, more=amounts, eto=demands, order=orders)
def test_more_rain_never_leaves_the_soil_drier(
    rain: list[float], more: list[float], eto: list[float], order: DayOrder
) -> None:
    less = _run(_zone(60, 27, number=74), eto, rain, [0.0] * 12, start_mm=20, order=order)
    both = [a + b for a, b in zip(rain, more, strict=True)]
    greater = _run(_zone(60, 27, number=74), eto, both, [0.0] * 12, start_mm=20, order=order)

    assert np.all(greater.depletion_mm <= less.depletion_mm + 1e-9)


def test_no_zone_hangs_on_its_neighbours() -> None:
    rng = np.random.default_rng(5)
    days, count = 40, 9000
    zones = RootZones(
        rng.uniform(20, 60, count), np.full(count, 10.0), rng.uniform(0.3, 0.8, count),
        rng.uniform(40, 80, count), np.full(count, 0.1), np.full(count, 0.2),
    )  # fmt: skip
    forcing = Forcing(
        rng.uniform(1, 8, (days, 3)), np.full((days, 3), 0.4),
        np.where(rng.random((days, 3)) < 0.2, 12.0, 0.0), np.full((days, 3), 0.5),
        rng.integers(0, 3, count), rng.integers(0, 3, count),
        np.where(rng.random((days, count)) < 0.3, 6.0, 0.0),
    )  # fmt: skip
    whole = water_balance(zones, forcing, unknown_start(zones))
    some = np.array([0, 17, 4095, 4096, 8999])
    alone = water_balance(
        zones.take(some),
        replace(
            forcing,
            location=forcing.location[some],
            rain_location=forcing.rain_location[some],
            irrigation_net_mm=forcing.irrigation_net_mm[:, some],
        ),
        unknown_start(zones.take(some)),
    )

    np.testing.assert_array_equal(whole.depletion_mm[:, some], alone.depletion_mm)
    np.testing.assert_array_equal(whole.depletion_sd_mm[:, some], alone.depletion_sd_mm)


def test_a_balance_may_be_cut_anywhere_and_gives_the_same_days() -> None:
    zone = _zone(60, 27)
    eto, rain, runs = [5.0, 6.0, 4.0, 7.0], [0.0, 9.0, 0.0, 0.0], [4.0, 0.0, 0.0, 8.0]
    whole = _run(zone, eto, rain, runs, start_mm=20)
    first = _run(zone, eto[:2], rain[:2], runs[:2], start_mm=20)
    forcing = Forcing(
        np.array([eto[2:]]).T, np.full((2, 1), 0.5), np.array([rain[2:]]).T, np.zeros((2, 1)),
        AT_FIRST, AT_FIRST, np.array([runs[2:]]).T,
    )  # fmt: skip

    second = water_balance(zone, forcing, first.end, dtype=np.float64)

    np.testing.assert_array_equal(second.depletion_mm, whole.depletion_mm[2:])
    np.testing.assert_array_equal(second.depletion_sd_mm, whole.depletion_sd_mm[2:])


def test_no_zones_and_no_days_give_empty_arrays() -> None:
    zone = _zone(60, 27)
    done = _run(zone, [], [], [], start_mm=3.0)

    assert done.depletion_mm.shape == (0, 1)
    assert done.end.depletion_mm[0] == 3.0


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="irrigation must be shaped"):
        _run(_zone(60, 30), [1.0, 1.0], [0.0, 0.0], [0.0, 0.0, 0.0], start_mm=0.0)


@pytest.mark.parametrize(("taw", "raw"), [(0.0, 0.0), (30.0, 30.0), (30.0, -1.0)])
def test_a_root_zone_that_holds_no_water_is_refused(taw: float, raw: float) -> None:
    with pytest.raises(ValueError, match="allowed depletion"):
        _zone(taw, raw)
