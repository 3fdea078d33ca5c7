"""Need, the split of bills, tariffs and the winter base."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.ledger.need import NeedZones, SiteNeed, day_need_mm, site_need
from fleet.calc.ledger.split import share_of_bill, use_by_piece
from fleet.calc.ledger.tariff import cost_over_need, tier_cost
from fleet.calc.ledger.winter import INDOOR_L_D, winter_base
from tests.fleet.ledger.test_use import volumes
from weather.calc import units
from weather.calc.arrays import FloatArray

FIRST = np.datetime64("2026-05-01", "D")


def zones(count: int = 1) -> NeedZones:
    """Zones of 100 m2 at one site with a store of 20 mm and a DU of 0.6."""
    return NeedZones(
        site=np.zeros(count, dtype=np.int64),
        et_column=np.zeros(count, dtype=np.int64),
        rain_column=np.zeros(count, dtype=np.int64),
        area_m2=np.full(count, 100.0),
        landscape_coefficient=np.full(count, 0.8),
        store_mm=np.full(count, 20.0),
        curve_number=np.zeros(count),
        application_efficiency=np.full(count, 0.76),
    )


def need_of(et: list[float], rain: list[float], table: NeedZones | None = None) -> SiteNeed:
    """Need of one site under a few days of weather."""
    return site_need(
        first_day=FIRST,
        reference_et_mm=np.array(et)[:, None],
        rain_mm=np.array(rain)[:, None],
        zones=table or zones(),
        site_count=1,
    )


def test_need_without_rain_is_landscape_et_over_efficiency() -> None:
    need = need_of([5.0, 5.0], [0.0, 0.0])

    assert need.cumulative_l[-1, 0] == pytest.approx(2 * 100 * 0.8 * 5 / 0.76)
    assert need.cumulative_good_l[-1, 0] == pytest.approx(2 * 100 * 0.8 * 5 / (0.4 + 0.6 * 0.75))


def test_stored_rain_serves_later_days_and_no_more_than_the_store_holds() -> None:
    need = need_of([5.0] * 8, [50.0] + [0.0] * 7)

    # day 1 uses 4 mm of the rain itself, 20 mm stay: five dry days are free, two are not
    assert need.cumulative_l[-1, 0] == pytest.approx(2 * 100 * 4 / 0.76)


@given(st.lists(st.tuples(st.floats(0, 9), st.floats(0, 80)), min_size=1, max_size=60), st.floats(0.1, 60))
def test_water_of_the_need_balances_and_is_never_negative(
    days: list[tuple[float, float]], store: float
) -> None:
    stored, total = np.zeros(1), np.zeros(5)  # demand, need, rain, spilled
    size = np.array([store])
    for et, rain in days:
        need, after = day_need_mm(np.array([et]), np.array([rain]), stored, size)
        spilled = stored + rain - (et - need) - after
        assert need[0] >= 0
        assert spilled[0] >= -1e-9
        total += np.array([et, need[0], rain, spilled[0], 0.0])
        stored = after

    assert total[1] == pytest.approx(total[0] - (total[2] - total[3]) + stored[0], abs=1e-9)


def test_a_day_without_weather_makes_its_periods_unknown_not_dry() -> None:
    need = need_of([5.0, np.nan, 5.0], [0.0, 0.0, 0.0])
    site = np.zeros(3, dtype=np.int64)

    found = need.between(site, FIRST + np.array([0, 0, 2]), FIRST + np.array([1, 3, 3]))

    assert found[0] == pytest.approx(100 * 4 / 0.76)
    assert np.isnan(found[1])
    assert np.isfinite(found[2])
    assert np.isnan(need.between(site[:1], FIRST + np.array([2]), FIRST + np.array([9])))[0]


def one(value: float) -> FloatArray:
    """One number as an array."""
    return np.array([value])


def test_bill_is_split_by_need_beyond_the_base() -> None:
    # 30 days, 24 m3, base 0.30 m3/d, need 2 mm for 16 days then 5 mm for 14: 4.706 m3 of the outdoor 15
    # (by days 8.0); computed from the rule outdoor by need, base by days
    part = share_of_bill(
        volume_l=one(24_000.0),
        days=one(30.0),
        need_l=one(2.0 * 16 + 5.0 * 14),
        part_days=one(16.0),
        part_need_l=one(2.0 * 16),
        base_l_d=one(300.0),
    )

    assert part[0] - 16 * 300.0 == pytest.approx(4_706, abs=0.5)
    assert 15_000 * 16 / 30 == 8_000


def test_bill_without_need_is_split_by_days() -> None:
    part = share_of_bill(
        volume_l=one(300.0),
        days=one(30.0),
        need_l=one(0.0),
        part_days=one(10.0),
        part_need_l=one(0.0),
        base_l_d=one(0.0),
    )

    assert part[0] == pytest.approx(100.0)


def test_pieces_hold_all_of_a_bill_and_only_cut_ones_carry_an_error() -> None:
    need = need_of([5.0] * 61, [0.0] * 61)
    bills = volumes([(0, 1, "2026-05-11", "2026-06-20", 400.0), (0, 1, "2026-06-20", "2026-07-01", 110.0)])
    edges = np.array(["2026-05-01", "2026-06-01", "2026-07-01"], dtype="datetime64[D]")

    use = use_by_piece(periods=bills, need=need, edges=edges, base_l_d=np.zeros(1), site_count=1)

    assert use.used_l[0] == pytest.approx([210.0, 300.0])
    assert use.days[0].tolist() == [21.0, 30.0]
    assert use.bridge_d[0] == pytest.approx([21 * 19 / 40, 19 * 21 / 40])


def test_tiers_are_paid_each_at_its_own_price() -> None:
    tiers, prices = np.array([0.0, 10.0, 30.0]), np.array([1.0, 2.0, 4.0])

    cost = tier_cost(np.array([0.0, 5.0, 10.0, 20.0, 40.0]), tiers, prices)

    assert cost.tolist() == [0.0, 5.0, 10.0, 30.0, 90.0]


def test_water_beyond_need_costs_what_its_own_tiers_do() -> None:
    tiers, prices = np.array([0.0, 10.0]), np.array([1.0, 3.0])

    assert cost_over_need(np.array([20.0, 4.0]), np.array([8.0, 6.0]), tiers, prices).tolist() == [32.0, -2.0]


@pytest.mark.parametrize("tiers", [[5.0], [0.0, 3.0, 3.0], []], ids=["not from 0", "twice", "none"])
def test_tiers_that_do_not_ascend_from_nothing_are_refused(tiers: list[float]) -> None:
    with pytest.raises(ValueError, match="ascend from 0"):
        tier_cost(np.array([1.0]), np.array(tiers), np.ones(len(tiers)))


def test_house_is_what_flows_while_the_garden_rests() -> None:
    use = np.array([[500.0, 520.0, 2000.0, 4000.0, 480.0]])
    need = np.array([[0.0, 0.0, 900.0, 2000.0, 10.0]])

    base = winter_base(use, need, np.full((1, 5), 30.0))

    assert not base.is_bounded[0]
    assert (base.low_l_d[0], base.base_l_d[0], base.high_l_d[0]) == pytest.approx((480.0, 500.0, 520.0))


def test_house_of_a_garden_watered_all_year_is_only_bounded() -> None:
    use = np.array([[900.0, 950.0, 2000.0, 4000.0, 1200.0]])
    need = np.array([[500.0, 520.0, 900.0, 2000.0, 700.0]])

    base = winter_base(use, need, np.full((1, 5), 30.0))

    assert base.is_bounded[0]
    assert (base.low_l_d[0], base.high_l_d[0]) == pytest.approx((INDOOR_L_D, 900.0))


def test_house_that_uses_more_than_houses_do_is_only_bounded() -> None:
    use = np.array([[3000.0, 3000.0, 6000.0]])
    need = np.array([[0.0, 0.0, 2000.0]])

    assert winter_base(use, need, np.full((1, 3), 30.0)).is_bounded[0]


def test_conversions_of_the_trade_hold() -> None:
    # computed from the exact definitions of inch, foot and US gallon
    assert units.litres_per_unit("ccf") / units.L_PER_GALLON == pytest.approx(748.05, abs=0.005)
    assert pytest.approx(3.78541, abs=5e-6) == units.L_PER_GALLON
    square_foot_inch_l = units.M2_PER_SQUARE_FOOT * units.MM_PER_INCH
    assert square_foot_inch_l / units.L_PER_GALLON == pytest.approx(0.62338, abs=5e-6)
    assert pytest.approx(40.746, abs=5e-4) == units.L_PER_GALLON / units.M2_PER_SQUARE_FOOT
    acre_foot_l = 43_560 * units.M2_PER_SQUARE_FOOT * 304.8
    assert acre_foot_l / units.L_PER_GALLON == pytest.approx(325_851, abs=1)
    assert pytest.approx(2 * 218.04, abs=0.02) == INDOOR_L_D
