"""Run-off limit, cycles and soak, and storm run-off, against published and worked values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.calc import soil
from sites.calc.balance import run_off

MM_PER_IN = 25.4


def test_runoff_limits_of_the_six_zones_of_the_swat_protocol() -> None:
    # SWAT, Climatologically Based Controllers, 8th Testing Protocol (Irrigation Association 2008), zone table
    # (values from memory); limits computed from 60 ASA / (PR - IR).
    rate = np.array([1.60, 1.60, 1.40, 1.40, 0.20, 0.35]) * MM_PER_IN
    intake = np.array([0.35, 0.15, 0.50, 0.40, 0.20, 0.10]) * MM_PER_IN
    accumulation = np.array([0.25, 0.16, 0.26, 0.24, 0.26, 0.10]) * MM_PER_IN

    found = run_off.runoff_limit_min(rate, intake, accumulation)

    np.testing.assert_allclose(found, [12.0, 6.62, 17.33, 14.4, np.inf, 24.0], atol=0.005)


def test_soak_at_a_full_cycle_is_accumulation_over_intake() -> None:
    # 60 ASA / IR for the same zones: 42.9, 64, 31.2, 36, none, 60 min (computed).
    rate = np.array([1.60, 1.60, 1.40, 1.40, 0.35]) * MM_PER_IN
    intake = np.array([0.35, 0.15, 0.50, 0.40, 0.10]) * MM_PER_IN
    accumulation = np.array([0.25, 0.16, 0.26, 0.24, 0.10]) * MM_PER_IN
    limit = run_off.runoff_limit_min(rate, intake, accumulation)

    split = run_off.cycles_and_soak(2 * limit, rate, intake, accumulation)

    assert split.cycles.tolist() == [2] * 5
    np.testing.assert_allclose(split.soak_min, [42.9, 64.0, 31.2, 36.0, 60.0], atol=0.05)


def test_one_inch_on_sloping_loam_takes_three_cycles_of_25_minutes() -> None:
    # Kansas State turf example (1.0 in / 0.8 in/h = 75 min), extended to loam at 6 % slope (computed).
    split = run_off.cycles_and_soak(75.0, 0.8 * MM_PER_IN, 0.35 * MM_PER_IN, 0.25 * MM_PER_IN)

    assert int(split.cycles) == 3
    assert float(split.cycle_min) == pytest.approx(25.0)
    assert float(split.soak_min) == pytest.approx(32.1, abs=0.1)


@pytest.mark.parametrize(
    ("run_min", "cycles", "soak_min"), [(22.1, 2, 76.0), (23.0, 3, 52.7), (21.7, 2, 74.6)]
)
def test_cycles_of_the_worked_week(run_min: float, cycles: int, soak_min: float) -> None:
    # Worked week of a cool turf on clay loam under spray (computed): run-off limit 11.3 min.
    split = run_off.cycles_and_soak(run_min, 40.0, 5.08, 6.6)

    assert int(split.cycles) == cycles
    assert float(split.soak_min) == pytest.approx(soak_min, abs=0.6)


def test_heads_slower_than_the_soil_never_run_off() -> None:
    split = run_off.cycles_and_soak(600.0, 4.0, 8.9, 6.4)

    assert run_off.runoff_limit_min(4.0, 8.9, 6.4) == np.inf
    assert (int(split.cycles), float(split.soak_min)) == (1, 0.0)


def test_no_run_needs_no_cycle() -> None:
    split = run_off.cycles_and_soak(0.0, 40.0, 8.9, 6.4)

    assert (int(split.cycles), float(split.cycle_min)) == (0, 0.0)


@given(run=st.floats(0.1, 300), rate=st.floats(1, 60), intake=st.floats(2.5, 16), room=st.floats(2, 11))
def test_no_cycle_outlasts_the_runoff_limit(run: float, rate: float, intake: float, room: float) -> None:
    split = run_off.cycles_and_soak(run, rate, intake, room)

    limit = run_off.runoff_limit_min(rate, intake, room)
    assert float(split.cycle_min) <= float(limit) * (1 + 1e-6)
    assert float(split.cycles * split.cycle_min) == pytest.approx(run)


@pytest.mark.parametrize(
    ("rain_in", "number", "runoff_in"),
    [
        (4, 60, 0.76), (4, 65, 1.03), (4, 70, 1.33), (4, 75, 1.67), (4, 80, 2.04), (4, 90, 2.92),
        (5, 80, 2.89), (2, 80, 0.56), (1.2, 80, 0.15),
    ],
)  # fmt: skip
def test_storm_runoff_of_tr_55_table_2_1(rain_in: float, number: float, runoff_in: float) -> None:
    # USDA TR-55 (1986), Table 2-1 (values from memory), in inches.
    found = run_off.rain_runoff_mm(rain_in * MM_PER_IN, number) / MM_PER_IN

    assert float(found) == pytest.approx(runoff_in, abs=0.006)


@pytest.mark.parametrize(
    ("number", "at_25_mm", "at_50_mm"),
    [(39, 0, 0), (61, 0, 1.71), (74, 0.53, 8.52), (80, 2.00, 13.80), (84, 3.69, 18.33), (98, 19.70, 44.28)],
)
def test_storm_runoff_of_lawns_in_millimetres(number: float, at_25_mm: float, at_50_mm: float) -> None:
    # Computed from TR-55, Eq. 2-1 to 2-4, for the curve numbers of its Table 2-2a.
    found = run_off.rain_runoff_mm(np.array([25.0, 50.0]), number)

    np.testing.assert_allclose(found, [at_25_mm, at_50_mm], atol=0.006)


def test_unknown_rain_has_unknown_runoff_and_no_rain_has_none() -> None:
    found = run_off.rain_runoff_mm(np.array([np.nan, 0.0]), 80.0)

    assert np.isnan(found[0])
    assert found[1] == 0.0


@given(rain=st.floats(0, 300), number=st.floats(20, 100))
def test_runoff_is_never_more_than_the_rain(rain: float, number: float) -> None:
    assert 0.0 <= float(run_off.rain_runoff_mm(rain, number)) <= rain + 1e-9


def test_a_steeper_lawn_sheds_more_and_five_percent_is_the_table() -> None:
    clay = soil.texture_index("clay")

    flat, usual, steep = run_off.lawn_curve_number(clay, np.array([0.0, 5.0, 15.0]))

    assert flat < usual < steep
    assert usual == pytest.approx(80.0, abs=0.01)


def test_wet_curve_number_follows_hawkins() -> None:
    # Hawkins: CN 80 is 90.4 when wet (computed; table value 91); a very steep slope adds a third of that.
    steep = run_off.lawn_curve_number(soil.texture_index("clay"), 100.0)

    assert float(steep) == pytest.approx(80 + (90.36 - 80) / 3, abs=0.02)
