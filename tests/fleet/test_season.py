"""Frost dates against values worked out from measured station files (data README: weather/)."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from fleet.calc.season import HARD_FREEZE_C, day_of_year, freeze_seasons, season_dates

DATA = Path(__file__).parents[1] / "data" / "weather"


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


def test_hard_freezes_of_maricopa_are_missing_in_some_seasons(
    maricopa: tuple[np.ndarray, np.ndarray],
) -> None:
    found = freeze_seasons(*maricopa, threshold_c=HARD_FREEZE_C)

    assert np.isfinite(found.spring_doy).sum() == 13
    assert np.isfinite(found.autumn_doy).sum() == 16
    assert_allclose(np.nanmean(found.spring_doy), 34.9, atol=0.05)
    assert_allclose(np.nanpercentile(found.autumn_doy, [10, 50, 90]), [331.0, 339.5, 363.0], atol=0.05)


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
