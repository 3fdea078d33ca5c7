"""Catch-can figures against published data sets and worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from sites.calc.audit import cans as audit
from sites.calc.balance.irrigation import net_run_depth_mm

# NC State Extension AG-553-1 worksheet, 16 cans [in].
WORKSHEET = [0.57, 0.69, 0.83, 0.65, 0.61, 0.38, 0.27, 0.64, 0.51, 0.26, 0.36, 0.52, 0.79, 0.65, 0.61, 0.86]
# NC State turf rotors, 46 cans [mL], 15 min a zone.
ROTORS = [
    9, 11, 11, 13, 17, 14, 15, 15, 3, 15, 13, 6, 14, 11, 7, 11, 14, 17, 9, 6, 4, 8, 9, 12, 26, 17, 8, 4, 6,
    10, 14, 16, 14, 9, 6, 7, 10, 6, 16, 11, 3, 16, 10, 2, 5, 11,
]  # fmt: skip
# Merriam and Keller 1978, Farm Irrigation System Evaluation, p. 41-43, 15 cans [in/h].
MERRIAM_KELLER = [.23, .31, .24, .24, .28, .31, .27, .22, .26, .31, .31, .25, .20, .22, .32]  # fmt: skip
# Published example of an open audit package, 15 cans [mL].
FIFTEEN = [47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12]
# Worked example, 24 cans [mL] (computed).
TWENTY_FOUR = [
    38, 42, 35, 29, 31, 44, 47, 40, 36, 33, 27, 25, 41, 39, 37, 34, 30, 28, 45, 43, 36, 32, 26, 24,
]  # fmt: skip


@pytest.mark.parametrize(
    ("cans", "uniformity", "coefficient"),
    [
        (WORKSHEET, 55.22, 74.89),
        (ROTORS, 45.28, 64.23),
        (MERRIAM_KELLER, 82.18, 87.04),
        (FIFTEEN, 49.62, 69.14),
    ],
    ids=["nc_state_worksheet", "nc_state_rotors", "merriam_keller", "fifteen"],
)
def test_uniformity_of_published_catches(cans: list[float], uniformity: float, coefficient: float) -> None:
    assert 100 * audit.low_quarter_uniformity(cans) == pytest.approx(uniformity, abs=0.006)
    assert 100 * audit.uniformity_coefficient(cans) == pytest.approx(coefficient, abs=0.006)


@pytest.mark.parametrize(("cans", "low_half"), [(WORKSHEET, 75.65), (ROTORS, 64.36), (FIFTEEN, 71.58)])
def test_low_half_uniformity_rounds_an_odd_count_up(cans: list[float], low_half: float) -> None:
    assert 100 * audit.low_half_uniformity(cans) == pytest.approx(low_half, abs=0.006)


def test_flow_and_cans_of_one_field_agree_on_its_application_efficiency() -> None:
    # Merriam and Keller 1978: 4.6 gal/min on 30 ft x 50 ft; low quarter caught over depth applied 73.65 %
    # with their rounded 96.3; the exact factor of 96.25 gives 73.69.
    applied_in_h = float(audit.precipitation_rate_from_flow_mm_h(4.6 * 3.785411784, 1500 * 0.3048**2)) / 25.4

    low_quarter_in_h = audit.low_quarter_uniformity(MERRIAM_KELLER) * sum(MERRIAM_KELLER) / 15

    assert applied_in_h == pytest.approx(0.29532, rel=6e-4)
    assert 100 * low_quarter_in_h / applied_in_h == pytest.approx(73.65, abs=0.06)


def test_a_quarter_is_rounded_half_up_not_cut_off() -> None:
    # Cutting off would give 40.13 for the fifteen cans, 43.44 for the rotors.
    assert [audit.quarter_size(count) for count in (4, 14, 15, 16, 18, 46)] == [1, 4, 4, 4, 5, 12]


def test_worked_audit_of_24_cans() -> None:
    throat_cm2 = 16.25 * 2.54**2

    uniformity = audit.low_quarter_uniformity(TWENTY_FOUR)
    rate = audit.precipitation_rate_from_cans_mm_h(TWENTY_FOUR, 10.0, throat_cm2)

    assert uniformity == pytest.approx(0.755, abs=0.0005)
    assert rate / 25.4 == pytest.approx(0.790, abs=0.0006)
    assert float(audit.run_time_multiplier(uniformity)) == pytest.approx(1.172, abs=0.0006)


@pytest.mark.parametrize(
    ("gallons_a_minute", "square_feet", "inches_an_hour"), [(12, 1200, 0.9625), (3.6, 225, 1.54)]
)
def test_rate_from_flow_and_area(gallons_a_minute: float, square_feet: float, inches_an_hour: float) -> None:
    # Trade formula PR = 96.25 gpm / ft2 (96.25 is exact).
    found = audit.precipitation_rate_from_flow_mm_h(gallons_a_minute * 3.785411784, square_feet * 0.09290304)

    assert float(found) / 25.4 == pytest.approx(inches_an_hour, rel=1e-6)


@pytest.mark.parametrize(
    ("uniformity", "multiplier"),
    [(.40, 1.562), (.45, 1.493), (.50, 1.429), (.55, 1.370), (.60, 1.316), (.65, 1.266), (.70, 1.220),
     (.75, 1.176), (.80, 1.136), (.90, 1.064)],
)  # fmt: skip
def test_run_time_multiplier_table(uniformity: float, multiplier: float) -> None:
    # 1 / (0.4 + 0.6 DU): Mecham 2010, ASABE paper IRR10-10040 (table computed).
    assert float(audit.run_time_multiplier(uniformity)) == pytest.approx(multiplier, abs=0.0011)


def test_net_depth_of_a_run_is_gross_depth_over_the_multiplier() -> None:
    net = net_run_depth_mm(40.0, 22.1, 0.60)

    assert float(net) == pytest.approx(40.0 * 22.1 / 60.0 / float(audit.run_time_multiplier(0.60)))


def test_three_cans_are_too_few() -> None:
    with pytest.raises(audit.TooFewCansError, match="at least 4"):
        audit.low_quarter_uniformity([1, 2, 3])


@pytest.mark.parametrize("cans", [[], [0, 0, 0, 0], [1, -1, 2, 3], [1, np.nan, 2, 3]])
def test_cans_that_cannot_be_are_refused(cans: list[float]) -> None:
    with pytest.raises(ValueError, match="can"):
        audit.uniformity_coefficient(cans)
