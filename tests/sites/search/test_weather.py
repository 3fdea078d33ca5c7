from __future__ import annotations

import numpy as np

from sites.calc.search.settings import ProgramSettings
from sites.calc.search.weather import DaySpan, Seasons, driest_count, seasons, with_forecast

DAYS = 28
SETTINGS = ProgramSettings()


def span(et: float, rain: float, days: int = DAYS, locations: int = 1) -> DaySpan:
    return DaySpan(np.full((days, locations), et), np.full((days, locations), rain))


def found(past: list[DaySpan], recent: DaySpan, ratio: float = 1.0) -> Seasons:
    return seasons(past, recent, np.full((DAYS, recent.rain_mm.shape[1]), ratio), SETTINGS)


def test_ten_past_seasons_are_taken_driest_first() -> None:
    past = [span(4.0 + 0.1 * year, 0.5) for year in range(12)]

    result = found(past, span(4, 1, 60))

    assert result.reference_et_mm.shape == (DAYS, 1, 10)
    np.testing.assert_allclose(result.reference_et_mm[0, 0], 4.9 - 0.1 * np.arange(10))
    assert result.seasons_used.tolist() == [10]
    assert not result.is_short[0]


def test_a_governed_program_is_sized_for_the_drier_half() -> None:
    past = [span(5.0, rain) for rain in range(10)]

    result = found(past, span(4, 1, 60))

    assert result.rain_mm[0, 0, : driest_count(10, SETTINGS)].tolist() == [0, 1, 2, 3, 4]


def test_six_seasons_are_repeated_and_told_as_six() -> None:
    result = found([span(4.0 + year, 0.0) for year in range(6)], span(1, 9, 60))

    assert result.seasons_used.tolist() == [6]
    assert not result.is_short[0]
    assert sorted(set(result.reference_et_mm[0, 0].tolist())) == [4, 5, 6, 7, 8, 9]


def test_a_short_history_is_filled_from_recent_days_scaled_by_radiation_and_marked() -> None:
    result = found([span(6.0, 0.0), span(5.0, 0.0)], span(3.0, 2.0, 60), ratio=1.5)

    assert result.is_short[0]
    assert result.seasons_used.tolist() == [2]
    assert set(result.reference_et_mm[0, 0].tolist()) == {6.0, 5.0, 4.5}
    assert set(result.rain_mm[0, 0].tolist()) == {0.0, 2.0}


def test_a_location_without_seasons_and_recent_days_is_not_known() -> None:
    nothing = span(np.nan, np.nan, 60, 2)
    nothing.reference_et_mm[:, 1] = 4
    nothing.rain_mm[:, 1] = 1

    result = found([], nothing)

    assert result.is_known.tolist() == [False, True]
    assert np.isnan(result.reference_et_mm[:, 0]).all()
    assert np.isfinite(result.reference_et_mm[:, 1]).all()
    assert result.is_short.tolist() == [False, True]


def test_an_unknown_day_is_never_taken_for_a_dry_one() -> None:
    past = [span(5.0, 3.0) for _ in range(6)]
    past[2].rain_mm[4] = np.nan
    past[2].reference_et_mm[4] = np.nan

    result = found(past, span(4, 1, 60))

    assert (result.rain_mm == 3.0).all()
    assert (result.reference_et_mm == 5.0).all()


def test_a_season_with_many_unknown_days_does_not_count() -> None:
    past = [span(5.0, 3.0) for _ in range(6)]
    past[0].rain_mm[:5] = np.nan

    assert found(past, span(4, 1, 60)).seasons_used.tolist() == [5]


def test_the_same_history_gives_the_same_seasons() -> None:
    generator = np.random.default_rng(3)
    recent = DaySpan(generator.gamma(4, 1, (60, 3)), generator.gamma(0.2, 5, (60, 3)))

    one, other = found([], recent), found([], recent)

    np.testing.assert_array_equal(one.rain_mm, other.rain_mm)
    assert len(np.unique(one.rain_mm[:, 0].sum(axis=0))) >= SETTINGS.least_seasons


def test_forecast_rain_is_not_fully_counted_on_and_only_where_it_is_told() -> None:
    result = found([span(5.0, 1.0) for _ in range(5)], span(4, 1, 60))
    told = span(7.0, 10.0, 7)
    told.rain_mm[3] = np.nan

    ahead = with_forecast(result, told, SETTINGS)

    assert set(ahead.reference_et_mm[:7].ravel()) == {7.0}
    assert set(ahead.rain_mm[0].ravel()) == {7.0}
    assert set(ahead.rain_mm[3].ravel()) == {1.0}
    assert set(ahead.rain_mm[7:].ravel()) == {1.0}
