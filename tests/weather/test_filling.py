"""Filling: in its order, within its limits, each with its code and a wider spread."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.weather.filling_cases import VALUES, filled, holed, one_station, pair
from tests.weather.station_data import MARICOPA, MCLEAN, build_weather
from weather.calc.daily_weather import Places
from weather.calc.fill_codes import (
    EtMethod,
    fill_words,
    words_of_methods,
)
from weather.calc.radiation import day_of_year, extraterrestrial_radiation
from weather.calc.reference_et import reference_et
from weather.calc.spread_rules import EQUATION_MM


def test_a_complete_day_is_the_equation_itself() -> None:
    weather = one_station(90)

    got = filled(weather)

    np.testing.assert_allclose(got.reference_et_raw_mm, reference_et(weather, MARICOPA).raw_mm, rtol=1e-6)
    assert (got.fills == 0).all()
    assert (got.method == EtMethod.FAO56).all()
    # A station in order is good for some percent of a summer's day, and never better than the equation.
    warm = got.reference_et_mm > 4.0
    share = got.reference_et_sd_mm[warm] / got.reference_et_mm[warm]
    assert 0.04 < share.min() < share.max() < 0.12
    assert (got.reference_et_sd_mm > EQUATION_MM).all()


def test_neighbours_lend_at_the_borrowers_own_level() -> None:
    whole, places = pair()
    names = ("tmin_c", "tmax_c", "tdew_c", "rh_min_pct", "rh_max_pct", "wind_m_s", "solar_mj_m2")
    weather = holed(whole, (slice(100, 102), 1), *names)

    truth, got = filled(whole, places), filled(weather, places)

    # The second place is exactly 2 C warmer and 1.4 times windier, so its days come back exactly.
    np.testing.assert_allclose(got.reference_et_mm[100:102, 1], truth.reference_et_mm[100:102, 1], rtol=1e-4)
    assert fill_words(int(got.fills[100, 1])) == (
        "tmin_c:neighbour tmax_c:neighbour tdew_c:neighbour wind_m_s:neighbour solar_mj_m2:neighbour"
    )
    assert (got.reference_et_sd_mm[100:102, 1] > truth.reference_et_sd_mm[100:102, 1]).all()
    np.testing.assert_array_equal(got.fills[:, 0], 0)
    assert np.count_nonzero(got.fills) == 2


def test_a_neighbour_lends_before_the_substitutes_of_the_equation() -> None:
    whole, places = pair()
    weather = holed(whole, (110, 1), "solar_mj_m2")

    assert fill_words(int(filled(weather, places).fills[110, 1])) == "solar_mj_m2:neighbour"
    far = filled(weather, places, neighbour_km=5.0, rain_km=5.0)
    assert fill_words(int(far.fills[110, 1])) == "solar_mj_m2:from_range"


def test_without_days_in_common_temperature_follows_the_lapse_of_the_air() -> None:
    whole, places = pair(warmer_c=0.0)
    higher = Places(places.latitude_deg, places.longitude_deg, np.array([361.0, 461.0]))
    weather = holed(whole, (slice(None), 1), "tmin_c", "tmax_c")

    got = filled(weather, higher)
    expected = replace(whole, tmin_c=whole.tmin_c - [[0.0, 0.65]], tmax_c=whole.tmax_c - [[0.0, 0.65]])

    np.testing.assert_allclose(
        got.reference_et_raw_mm[:, 1], reference_et(expected, higher).raw_mm[:, 1], rtol=2e-4
    )


def test_a_lent_extreme_never_crosses_the_own_one() -> None:
    whole, places = pair(warmer_c=0.0)
    tmax = whole.tmax_c.copy()
    tmax[110, 1] = np.nan
    tmin = whole.tmin_c.copy()
    tmin[110, 1] = tmax[110, 0] + 5.0
    weather = replace(whole, tmin_c=tmin, tmax_c=tmax)

    got = filled(weather, places)

    same = replace(weather, tmax_c=np.where(np.isnan(tmax), tmin, tmax))
    np.testing.assert_allclose(
        got.reference_et_raw_mm[110, 1], reference_et(same, places).raw_mm[110, 1], rtol=1e-6
    )


def test_the_mean_of_seven_days_fills_days_without_temperature() -> None:
    whole = one_station(120)
    weather = holed(whole, (slice(100, 103), 0), "tmin_c", "tmax_c")

    got, truth = filled(weather), filled(whole)

    assert words_of_methods(got.method[99:104, 0]) == ["fao56", *["mean_7_days"] * 3, "fao56"]
    assert fill_words(int(got.fills[100, 0])) == "eto_mm:mean_7_days"
    # The mean is taken of the share of the radiation above the air, so that it follows the season.
    above = extraterrestrial_radiation(day_of_year(whole.days), np.array([33.069]))[:, 0]
    share = (truth.reference_et_mm[93:100, 0] / above[93:100]).mean()
    np.testing.assert_allclose(got.reference_et_mm[100:103, 0], share * above[100:103], rtol=1e-9)
    sd_share = got.reference_et_sd_mm[100, 0] / got.reference_et_mm[100, 0]
    assert sd_share == pytest.approx(0.37, abs=0.01)
    assert got.reference_et_sd_mm[102, 0] > got.reference_et_sd_mm[100, 0]


def test_other_years_fill_what_seven_days_cannot() -> None:
    weather = holed(one_station(120), (slice(100, 120), 0), "tmin_c", "tmax_c")
    usual = np.full((12, 1), 6.0)

    with_years = filled(weather, climatology=usual)
    alone = filled(weather)

    assert words_of_methods(with_years.method[113:115, 0]) == ["mean_7_days", "climatology"]
    assert with_years.reference_et_mm[114, 0] == pytest.approx(6.0)
    assert with_years.reference_et_sd_mm[114, 0] == pytest.approx(np.hypot(0.4 * 6.0, 0.15))
    assert words_of_methods(alone.method[113:120, 0]) == ["mean_7_days"] * 7


def test_a_long_outage_without_other_years_ends_in_unknown() -> None:
    weather = holed(one_station(200), (slice(100, 200), 0), "tmin_c", "tmax_c")

    got = filled(weather)

    assert np.isfinite(got.reference_et_mm[159, 0])
    assert np.isnan(got.reference_et_mm[160:, 0]).all()
    assert np.isnan(got.reference_et_sd_mm[160:, 0]).all()
    assert (got.method[160:, 0] == EtMethod.UNKNOWN).all()
    assert (got.fills[160:, 0] == 0).all()


def test_a_place_never_measured_stays_unknown() -> None:
    nothing = build_weather(np.datetime64("2026-06-01") + np.arange(30), tmin_c=np.full(30, np.nan))

    got = filled(nothing, MCLEAN)

    assert np.isnan(got.reference_et_mm).all()
    assert np.isnan(got.rain_mm).all()


def test_the_season_moves_between_the_middles_of_the_months() -> None:
    months = np.arange(1.0, 13.0)[:, np.newaxis]
    days = np.arange("2026-01-01", "2027-01-01", dtype="datetime64[D]")
    got = filled(build_weather(days, tmin_c=np.full(365, np.nan)), MCLEAN, climatology=months)

    assert got.reference_et_mm[195, 0] == pytest.approx(7.0, abs=0.05)  # 15 July
    assert got.reference_et_mm[180, 0] == pytest.approx(6.48, abs=0.05)  # 30 June, between June and July
    assert got.reference_et_mm[0, 0] == pytest.approx(6.1, abs=0.1)  # New Year, between December and January


def test_one_known_month_serves_its_sides_alone() -> None:
    months = np.full((12, 1), np.nan)
    months[6] = 7.0
    days = np.arange("2026-06-20", "2026-08-10", dtype="datetime64[D]")

    got = filled(build_weather(days, tmin_c=np.full(days.size, np.nan)), MCLEAN, climatology=months)

    np.testing.assert_allclose(got.reference_et_mm[:, 0], 7.0)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), share=st.floats(0.0, 0.6))
def test_filling_touches_no_measured_day_and_leaves_no_hidden_one(seed: int, share: float) -> None:
    generator = np.random.default_rng(seed)
    whole, places = pair(70)
    weather = whole
    for name in VALUES:
        mask = generator.random(weather.shape) < share
        values = getattr(weather, name).copy()
        values[mask] = np.nan
        weather = replace(weather, **{name: values})

    got = filled(weather, places, np.full((12, 2), 5.0))

    known = np.isfinite(weather.rain_mm)
    np.testing.assert_array_equal(got.rain_mm[known], weather.rain_mm[known])
    assert np.isfinite(got.reference_et_mm).all()
    assert (got.reference_et_mm >= 0.0).all()
    assert (got.reference_et_sd_mm > 0.0).all()
    no_temperature = np.isnan(weather.tmin_c) | np.isnan(weather.tmax_c)
    assert (got.fills[no_temperature] != 0).all()
    assert (np.isnan(got.rain_mm) == np.isnan(got.rain_sd_mm)).all()


def test_filling_changes_none_of_its_arguments() -> None:
    whole, places = pair(70)
    weather = holed(whole, (slice(60, 65), 1), *VALUES)
    before = {name: getattr(weather, name).copy() for name in VALUES}

    filled(weather, places)

    for name, values in before.items():
        np.testing.assert_array_equal(getattr(weather, name), values)
