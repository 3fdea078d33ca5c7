"""Frost dates against values worked out from measured station files (data README: weather/)."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from fleet.calc.visits.buried_frost import freezing_index_for, frost_depth_m, pipe_freezes
from fleet.calc.visits.season import (
    HARD_FREEZE_C,
    day_near,
    day_of_year,
    freeze_percentile,
    freeze_seasons,
    season_dates,
)

DATA = Path(__file__).parents[2] / "data" / "weather"


@pytest.fixture(scope="module")
def maricopa() -> tuple[np.ndarray, np.ndarray]:
    frame = pd.read_csv(DATA / "maricopa_az_2003_2020_daily.csv", comment="#")
    return frame["date"].to_numpy("datetime64[D]"), frame["tmin_c"].to_numpy(float)


def test_freeze_dates_of_maricopa_match_the_worked_values(maricopa: tuple[np.ndarray, np.ndarray]) -> None:
    # Worked by hand from the same file with numpy's linear percentiles: 18 springs, 17 autumns.
    found = freeze_seasons(*maricopa)

    assert (len(found.spring_doy), len(found.autumn_doy)) == (18, 17)
    assert_allclose(found.spring_doy.mean(), 45.1, atol=0.05)
    assert_allclose(np.percentile(found.spring_doy, [10, 50, 90]), [21.2, 46.5, 61.0], atol=0.05)
    assert_allclose(found.autumn_doy.mean(), 336.1, atol=0.05)
    assert_allclose(np.percentile(found.autumn_doy, [10, 50, 90]), [327.0, 335.0, 349.8], atol=0.05)
    first_six = [
        day_of_year(int(y), int(d)) for y, d in zip(found.autumn_years[:6], found.autumn_doy, strict=False)
    ]
    assert first_six == [
        date(2003, 11, 23),
        date(2004, 11, 30),
        date(2005, 11, 28),
        date(2006, 11, 30),
        date(2007, 12, 15),
        date(2008, 12, 27),
    ]


@pytest.fixture(scope="module")
def gainesville() -> tuple[np.ndarray, np.ndarray]:
    """Days and minima of 2000 to August 2024; tenths of a degree, one row a month."""
    frame = pd.read_csv(DATA / "gainesville_fl_2000_2024_tmin_tenths.csv", index_col="month")
    stacked = frame.set_axis(frame.columns.astype(int), axis=1).stack()
    months = stacked.index.get_level_values(0).to_numpy(str).astype("datetime64[M]")
    number = stacked.index.get_level_values(1).to_numpy(int) - 1
    return months.astype("datetime64[D]") + number, stacked.to_numpy(float) / 10


def test_freeze_dates_of_gainesville_match_the_worked_values(
    gainesville: tuple[np.ndarray, np.ndarray],
) -> None:
    # NOAA NCEI daily summaries 2000 to August 2024; worked apart from this program with numpy's linear
    # percentiles, split on 24 July, ten missing days at most; the autumn of 2024 is not in the record.
    found = freeze_seasons(*gainesville)

    assert (len(found.spring_doy), len(found.autumn_doy)) == (25, 24)
    assert_allclose(np.nanmean(found.spring_doy), 54.68, atol=0.005)
    spring = [freeze_percentile(found.spring_doy, share, is_autumn=False) for share in (10, 50, 90)]
    assert_allclose(spring, [29.2, 59.0, 75.2], atol=0.05)
    assert_allclose(np.nanmean(found.autumn_doy), 340.25, atol=0.005)
    autumn = [freeze_percentile(found.autumn_doy, share, is_autumn=True) for share in (10, 50, 90)]
    assert_allclose(autumn, [321.6, 336.0, 372.1], atol=0.05)


def test_hard_freezes_of_gainesville_count_the_seasons_without_one(
    gainesville: tuple[np.ndarray, np.ndarray],
) -> None:
    found = freeze_seasons(*gainesville, threshold_c=HARD_FREEZE_C)

    assert (np.isfinite(found.spring_doy).sum(), len(found.spring_doy)) == (22, 25)
    assert_allclose(np.nanmean(found.spring_doy), 39.8, atol=0.05)
    assert (np.isfinite(found.autumn_doy).sum(), len(found.autumn_doy)) == (21, 24)
    assert_allclose(np.nanmean(found.autumn_doy), 357.2, atol=0.05)
    assert (found.autumn_doy > 366).any()  # a first hard freeze in January
    # Of the autumns that have one: 20 November, 24 December, 20 January.
    assert_allclose(np.nanpercentile(found.autumn_doy, [10, 50, 90]), [324.0, 358.0, 385.0], atol=0.05)
    # Of all 24: the three without one stand at the far end, so that fewer than nine in ten have a date.
    counted = [freeze_percentile(found.autumn_doy, share, is_autumn=True) for share in (10, 50, 90)]
    assert_allclose(counted, [324.9, 364.5, np.nan], atol=0.05)
    # Springs, worked apart with numpy over the 22 that have one and with all 25 of them.
    assert_allclose(np.nanpercentile(found.spring_doy, [10, 50, 90]), [19.4, 36.0, 63.9], atol=0.05)
    counted = [freeze_percentile(found.spring_doy, share, is_autumn=False) for share in (10, 50, 90)]
    assert_allclose(counted, [np.nan, 30.0, 63.6], atol=0.05)


def test_the_calendar_of_gainesville_by_its_hard_freezes(gainesville: tuple[np.ndarray, np.ndarray]) -> None:
    dates = season_dates(*gainesville)

    assert (dates.seasons, dates.is_short) == (24, False)
    assert dates.freezing_share == 21 / 24
    # A week before the one-in-ten first hard freeze (324.9), and from the one-in-ten last one (63.6).
    assert (dates.winterize_by, dates.start_up_from) == (318, 64)


def test_hard_freezes_of_maricopa_are_missing_in_some_seasons(
    maricopa: tuple[np.ndarray, np.ndarray],
) -> None:
    found = freeze_seasons(*maricopa, threshold_c=HARD_FREEZE_C)

    assert np.isfinite(found.spring_doy).sum() == 13
    assert np.isfinite(found.autumn_doy).sum() == 16
    assert_allclose(np.nanmean(found.spring_doy), 34.9, atol=0.05)
    assert_allclose(np.nanmean(found.autumn_doy), 346.0, atol=0.05)
    assert_allclose(np.nanpercentile(found.autumn_doy, [10, 50, 90]), [331.0, 339.5, 363.0], atol=0.05)
    # 17 autumns with the one without at the far end, worked apart.
    counted = [freeze_percentile(found.autumn_doy, share, is_autumn=True) for share in (10, 50, 90)]
    assert_allclose(counted, [331.2, 340.0, 368.6], atol=0.05)


def test_winterization_stands_a_week_before_an_early_hard_freeze(
    maricopa: tuple[np.ndarray, np.ndarray],
) -> None:
    dates = season_dates(*maricopa)

    # Seasons without a freeze count as later than every date, so the early percentile hardly moves.
    assert dates.winterize_by == 324
    assert dates.seasons == 17
    assert dates.start_up_from is not None
    assert dates.start_up_from < dates.winterize_by


def test_a_warm_climate_asks_for_no_winterization() -> None:
    days = np.arange("2010-01-01", "2020-12-31", dtype="datetime64[D]")

    dates = season_dates(days, np.full(len(days), 12.0))

    assert (dates.start_up_from, dates.winterize_by, dates.freezing_share) == (None, None, 0.0)


def test_a_season_with_a_long_gap_before_its_freeze_is_not_counted(
    maricopa: tuple[np.ndarray, np.ndarray],
) -> None:
    days, tmin = maricopa
    keep = (days < np.datetime64("2009-09-01")) | (days > np.datetime64("2009-09-15"))

    found = freeze_seasons(days[keep], tmin[keep])

    assert 2009 not in found.autumn_years
    assert len(found.autumn_doy) == 16


def test_a_freeze_in_january_has_a_day_past_the_years_end() -> None:
    days = np.arange("2010-07-24", "2011-08-01", dtype="datetime64[D]")
    tmin = np.where(days == np.datetime64("2011-01-10"), -1.0, 8.0)

    found = freeze_seasons(days, tmin)

    assert found.autumn_doy.tolist() == [375.0]
    assert day_of_year(2010, 375) == date(2011, 1, 10)


def test_a_season_without_freeze_is_counted_at_the_far_end() -> None:
    # By hand: of 11 autumns one has no freeze; the 10th percentile is the second earliest, the 100th is none.
    doys = np.array([300.0, 302, 304, 306, 308, 310, 312, 314, 316, 318, np.nan])

    assert freeze_percentile(doys, 10.0, is_autumn=True) == 302.0
    assert freeze_percentile(doys, 90.0, is_autumn=True) == 318.0
    assert np.isnan(freeze_percentile(doys, 95.0, is_autumn=True))
    assert np.isnan(freeze_percentile(doys, 5.0, is_autumn=False))
    assert np.isnan(freeze_percentile(np.array([]), 50.0, is_autumn=True))


def test_percentiles_that_count_every_season_are_later_than_those_that_drop_some(
    maricopa: tuple[np.ndarray, np.ndarray],
) -> None:
    found = freeze_seasons(*maricopa, threshold_c=HARD_FREEZE_C)

    for share in (10.0, 50.0):
        counted = freeze_percentile(found.autumn_doy, share, is_autumn=True)
        assert counted >= np.nanpercentile(found.autumn_doy, share)


@pytest.mark.parametrize(
    ("number", "day", "expected"),
    [
        (288, date(2026, 10, 1), date(2026, 10, 15)),
        # An autumn freeze in January belongs to the autumn that is just over, not to the next one.
        (375, date(2027, 1, 12), date(2027, 1, 10)),
        (375, date(2026, 12, 20), date(2027, 1, 10)),
        # A spring of the south: 112 days before 1 January.
        (-111, date(2026, 9, 20), date(2026, 9, 11)),
    ],
)
def test_a_day_of_the_year_is_taken_in_the_year_where_it_is_nearest(
    number: int, day: date, expected: date
) -> None:
    assert day_near(number, day) == expected


def test_a_southern_winter_is_split_in_january() -> None:
    days = np.arange("2012-01-01", "2020-12-31", dtype="datetime64[D]")
    month = days.astype("datetime64[M]").astype(int) % 12 + 1
    tmin = np.where((month >= 6) & (month <= 8), -5.0, 8.0)

    dates = season_dates(days, tmin, is_south=True)

    assert dates.winterize_by is not None
    assert dates.start_up_from is not None
    assert day_near(dates.winterize_by, date(2026, 5, 20)) == date(2026, 5, 25)  # a week before 1 June
    assert day_near(dates.start_up_from, date(2026, 9, 3)).replace(year=2000) in (
        date(2000, 8, 31),
        date(2000, 9, 1),
    )


def test_a_short_record_takes_the_extremes_with_more_room_and_says_so() -> None:
    days = np.arange("2022-01-01", "2026-06-01", dtype="datetime64[D]")
    month = days.astype("datetime64[M]").astype(int) % 12 + 1
    tmin = np.where((month >= 11) | (month <= 3), -5.0, 8.0)

    dates = season_dates(days, tmin)
    shorter = season_dates(days[days < np.datetime64("2024-09-01")], tmin[days < np.datetime64("2024-09-01")])

    # The autumn of 2025 is not over on 1 June: three whole ones remain.
    assert (dates.is_short, dates.seasons) == (True, 3)
    # 1 November (day 305, 306 in a leap year) less a week and the room of another.
    assert dates.winterize_by == 305 - 14
    assert (shorter.winterize_by, shorter.seasons) == (None, 2)


@pytest.mark.parametrize(
    ("index", "depth"), [(10, 0.125), (20, 0.176), (50, 0.279), (100, 0.394), (300, 0.682)]
)
def test_frost_depth_by_stefan(index: float, depth: float) -> None:
    # sqrt(2 k 86400 n F / L), k 1.5 W/mK, L 83.5 MJ/m3, n 0.5 (constants from memory; table computed).
    assert float(frost_depth_m(index)) == pytest.approx(depth, abs=0.0006)


def test_the_index_for_a_depth_is_the_inverse() -> None:
    assert freezing_index_for(0.2) == pytest.approx(26, abs=0.3)
    assert freezing_index_for(0.3) == pytest.approx(58, abs=0.3)
    assert float(frost_depth_m(freezing_index_for(0.37))) == pytest.approx(0.37)


def test_one_cold_night_does_not_reach_a_pipe_but_a_cold_week_does() -> None:
    days = np.arange("2020-07-24", "2021-07-24", dtype="datetime64[D]")
    mild = np.full(len(days), 6.0)
    night, week = mild.copy(), mild.copy()
    night[150] = -15.0
    week[150:157] = -5.0
    years = np.array([2020])

    assert np.isnan(pipe_freezes(days, night, years=years)[0])
    # The index passes 25.8 degree-days on the sixth day of -5.
    assert day_of_year(2020, int(pipe_freezes(days, week, years=years)[0])) == date(2020, 12, 26)
