"""Water budgets against the ordinance's examples and filled forms, in their own units."""

from __future__ import annotations

import numpy as np
import pytest

from sites.calc import water_budget

MM_PER_IN = 25.4
M2_PER_FT2 = 0.09290304
L_PER_GAL = 3.785411784


def _as_printed(litres: float) -> float:
    """Gallons as a form prints them: 0.62 gal, not the exact 0.62338, in an inch on a square foot."""
    exact = MM_PER_IN * M2_PER_FT2 / L_PER_GAL
    return litres / L_PER_GAL * 0.62 / exact


@pytest.mark.parametrize(
    ("eto_in", "area", "special", "adjustment", "gallons"),
    [
        (51.1, 50_000, 0, 0.70, 1_108_870), (51.1, 50_000, 2_000, 0.70, 1_127_879),
        (51.1, 50_000, 0, 0.55, 871_255), (51.1, 50_000, 2_000, 0.55, 899_769),
        (35.1, 1_850, 1_200, 0.70, 36_016), (35.1, 1_850, 1_200, 0.55, 33_894),
        (43.0, 2_453, 68, 0.55, 36_784.14),
    ],
)  # fmt: skip
def test_allowance_of_the_ordinance(
    eto_in: float, area: float, special: float, adjustment: float, gallons: float
) -> None:
    # 23 CCR 490-495 (2009 example with 0.7, today's 0.55); the last two rows correct public forms whose own
    # arithmetic is wrong (28,542 and 35,968.34).
    found = water_budget.maximum_applied_water_l(
        eto_in * MM_PER_IN, area * M2_PER_FT2, special * M2_PER_FT2, adjustment
    )

    assert _as_printed(found) == pytest.approx(gallons, abs=0.7)


def test_estimated_use_of_three_hydrozones_fails_the_allowance() -> None:
    factor, efficiency = np.array([0.8, 0.5, 0.3]), np.array([0.75, 0.81, 0.81])
    area = np.array([1500.0, 2500.0, 1000.0]) * M2_PER_FT2

    use = water_budget.estimated_total_water_l(51.1 * MM_PER_IN, factor, efficiency, area)
    allowed = water_budget.maximum_applied_water_l(51.1 * MM_PER_IN, float(area.sum()))

    assert _as_printed(use) == pytest.approx(111_317, abs=1)
    assert _as_printed(allowed) == pytest.approx(87_126, abs=1)
    assert water_budget.average_adjustment(factor, efficiency, area) == pytest.approx(0.703, abs=0.0005)


def test_filled_worksheet_of_a_residence() -> None:
    # Residential worksheet, public copy of 2021: ETo 43.0 in; factors printed with three digits.
    adjustment = np.array([0.617, 0.247, 1.067, 0.247])
    area = np.array([204.0, 1310.0, 677.0, 194.0]) * M2_PER_FT2

    rows = [
        _as_printed(water_budget.estimated_total_water_l(43.0 * MM_PER_IN, [f], [1.0], [a]))
        for f, a in zip(adjustment, area, strict=True)
    ]
    total = water_budget.estimated_total_water_l(
        43.0 * MM_PER_IN, adjustment, np.ones(4), area, 68 * M2_PER_FT2
    )

    np.testing.assert_allclose(rows, [3355.64, 8626.38, 19258.09, 1277.49], atol=0.01)
    assert _as_printed(total) == pytest.approx(34_330.48, abs=0.02)
    exact = water_budget.average_adjustment([0.5, 0.2, 0.8, 0.2], [0.81, 0.81, 0.75, 0.81], area)
    assert exact == pytest.approx(0.511, abs=0.0006)


def test_a_special_area_larger_than_the_landscape_is_refused() -> None:
    with pytest.raises(ValueError, match="part of the landscape"):
        water_budget.maximum_applied_water_l(1000.0, 100.0, 101.0)


def test_peak_month_allowance_is_seventy_percent() -> None:
    # US EPA WaterSense water budget tool: 0.70 x ETo x area x 0.6233 gal (formula from memory).
    found = water_budget.landscape_water_allowance_l(8.0 * MM_PER_IN, 1000 * M2_PER_FT2)

    assert found / L_PER_GAL == pytest.approx(0.70 * 8.0 * 1000 * 0.6233, rel=1e-3)
