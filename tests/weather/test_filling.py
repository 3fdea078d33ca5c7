"""Filling: in its order, within its limits, each with its code and a wider spread; rain from no other day."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.weather.station_data import MARICOPA, MCLEAN, build_weather, maricopa_weather, mclean_weather
from weather.calc import uncertainty
from weather.calc.arrays import FloatArray
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.fill_codes import (
    METHOD_WORDS,
    WORDS,
    EtMethod,
    Fill,
    fill_words,
    words_of_fills,
    words_of_methods,
)
from weather.calc.filling import FilledDays, FillSettings, fill_days, learned_assumptions
from weather.calc.foretelling import forecast_days
from weather.calc.radiation import day_of_year, extraterrestrial_radiation
from weather.calc.reference_et import reference_et
from weather.calc.substitutes import Assumptions
from weather.calc.trailing import days_since, last_known, trailing_mean

VALUES = ("tmin_c", "tmax_c", "tdew_c", "rh_min_pct", "rh_max_pct", "wind_m_s", "solar_mj_m2", "rain_mm")
NO_YEARS = np.full((12, 1), np.nan)


def one_station(count: int = 200, start: int = 2000) -> DailyWeather:
    """Days of Maricopa in 2008."""
    full = maricopa_weather()
    cut = slice(start, start + count)
    return build_weather(
        full.days[cut], **{name: getattr(full, name)[cut] for name in VALUES}, wind_height_m=3.0
    )


def pair(count: int = 120, warmer_c: float = 2.0, windier: float = 1.4) -> tuple[DailyWeather, Places]:
    """Maricopa, and a place 9 km away that is warmer and windier by a fixed measure."""
    one = one_station(count)
    factors = {"wind_m_s": (windier, 0.0), **dict.fromkeys(("tmin_c", "tmax_c", "tdew_c"), (1.0, warmer_c))}
    columns = {}
    for name in VALUES:
        factor, shift = factors.get(name, (1.0, 0.0))
        own = getattr(one, name)
        columns[name] = np.hstack([own, own * factor + shift])
    weather = build_weather(one.days, **columns, wind_height_m=3.0)
    return weather, Places(
        np.array([33.069, 33.15]), np.array([-111.972, -111.972]), np.array([361.0, 380.0])
    )


def filled(
    weather: DailyWeather, places: Places = MARICOPA, climatology: FloatArray | None = None, **settings_: Any
) -> FilledDays:
    count = places.count
    return fill_days(
        weather,
        places,
        is_grid=np.zeros(weather.shape, dtype=np.bool_),
        climatology_mm=np.full((12, count), np.nan) if climatology is None else climatology,
        settings=FillSettings(**settings_) if settings_ else None,
    )


def holed(weather: DailyWeather, where: tuple[Any, Any], *names: str) -> DailyWeather:
    changed = {}
    for name in names:
        values = getattr(weather, name).copy()
        values[where] = np.nan
        changed[name] = values
    return replace(weather, **changed)


def test_a_complete_day_is_the_equation_itself() -> None:
    weather = one_station(90)

    got = filled(weather)

    np.testing.assert_allclose(got.reference_et_raw_mm, reference_et(weather, MARICOPA).raw_mm, rtol=1e-6)
    assert (got.fills == 0).all()
    assert (got.method == EtMethod.FAO56).all()
    np.testing.assert_allclose(
        got.reference_et_sd_mm, np.hypot(0.05 * got.reference_et_mm, uncertainty.ET_FLOOR_MM), rtol=1e-9
    )


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


def test_the_spread_widens_beyond_three_days_in_a_row() -> None:
    whole, places = pair()
    weather = holed(whole, (slice(100, 106), 1), "solar_mj_m2")

    share = filled(weather, places)
    relative = (share.reference_et_sd_mm / share.reference_et_mm)[100:106, 1]
    squares = relative**2 - (uncertainty.ET_FLOOR_MM / share.reference_et_mm[100:106, 1]) ** 2

    np.testing.assert_allclose(squares[:3], 0.05**2 + 0.06**2, rtol=1e-9)
    np.testing.assert_allclose(squares[3:], 0.05**2 + (1.5 * 0.06) ** 2, rtol=1e-9)


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


def test_rain_comes_from_the_nearest_gauge_that_knows_and_from_no_other_day() -> None:
    days = np.datetime64("2026-06-01") + np.arange(3)
    nan = np.nan
    rain = np.array([[nan, 5.0, 9.0], [nan, nan, 9.0], [nan, nan, nan]])
    weather = build_weather(days, tmin_c=np.full((3, 3), 10.0), tmax_c=np.full((3, 3), 20.0), rain_mm=rain)
    places = Places(np.array([40.0, 40.03, 40.06]), np.full(3, -100.0), np.full(3, 300.0))

    got = filled(weather, places)

    np.testing.assert_array_equal(got.rain_mm, [[5.0, 5.0, 9.0], [9.0, 9.0, 9.0], [nan, nan, nan]])
    assert fill_words(int(got.fills[0, 0] & Fill.RAIN_NEARBY.value)) == "rain_mm:nearby"
    assert got.fills[0, 1] & Fill.RAIN_NEARBY.value == 0
    # 3.34 km to the first gauge, 6.67 km to the second: the spread grows with the way.
    np.testing.assert_allclose(
        got.rain_sd_mm[0, 0], (0.10 + 0.03 * 3.336) * 5.0 + 0.1 + 0.05 * 3.336, rtol=1e-3
    )
    np.testing.assert_allclose(
        got.rain_sd_mm[1, 0], (0.10 + 0.03 * 6.672) * 9.0 + 0.1 + 0.05 * 6.672, rtol=1e-3
    )
    assert np.isnan(got.rain_sd_mm[2]).all()


def test_rain_never_travels_farther_than_its_setting() -> None:
    days = np.datetime64("2026-06-01") + np.arange(1)
    weather = build_weather(days, tmin_c=[[10.0, 10.0]], tmax_c=[[20.0, 20.0]], rain_mm=[[np.nan, 5.0]])
    places = Places(np.array([40.0, 40.1]), np.full(2, -100.0), np.full(2, 300.0))

    assert np.isnan(filled(weather, places).rain_mm[0, 0])
    assert filled(weather, places, rain_km=12.0).rain_mm[0, 0] == 5.0


def test_rain_lent_by_a_grid_has_the_spread_of_a_grid() -> None:
    days = np.datetime64("2026-06-01") + np.arange(1)
    weather = build_weather(days, tmin_c=[[10.0, 10.0]], tmax_c=[[20.0, 20.0]], rain_mm=[[np.nan, 5.0]])
    places = Places(np.array([40.0, 40.0]), np.full(2, -100.0), np.full(2, 300.0))

    got = fill_days(
        weather, places, is_grid=np.array([[False, True]]), climatology_mm=np.full((12, 2), np.nan)
    )

    np.testing.assert_allclose(got.rain_sd_mm[0], 0.40 * 5.0 + 0.5)
    assert got.reference_et_sd_mm[0, 1] > got.reference_et_sd_mm[0, 0]


def test_a_clogged_gauge_is_told_after_a_month_of_wet_neighbours() -> None:
    days = np.datetime64("2026-06-01") + np.arange(40)
    rain = np.zeros((40, 2))
    rain[::3, 1] = 4.0
    weather = build_weather(days, tmin_c=np.full((40, 2), 10.0), tmax_c=np.full((40, 2), 20.0), rain_mm=rain)
    places = Places(np.array([40.0, 40.05]), np.full(2, -100.0), np.full(2, 300.0))

    got = filled(weather, places)
    dry_region = filled(replace(weather, rain_mm=np.zeros((40, 2))), places)

    np.testing.assert_array_equal(got.is_gauge_dry[:, 0], np.arange(40) >= 24)
    assert not got.is_gauge_dry[:, 1].any()
    assert not dry_region.is_gauge_dry.any()


def test_a_locations_own_days_teach_its_sun_and_its_dryness() -> None:
    whole = one_station(120)
    learned = learned_assumptions(whole, MARICOPA)

    assert (np.asarray(learned.solar_coefficient)[:19] == 0.16).all()
    assert (np.asarray(learned.dew_gap_c)[:19] == 0.0).all()
    assert np.asarray(learned.dew_gap_c)[-1, 0] == pytest.approx(
        np.mean((whole.tmin_c - whole.tdew_c)[60:]), rel=1e-9
    )
    bare = build_weather(
        whole.days, tmin_c=whole.tmin_c, tmax_c=whole.tmax_c, wind_m_s=whole.wind_m_s, wind_height_m=3.0
    )
    truth = reference_et(whole, MARICOPA).raw_mm
    plain_error = np.abs(reference_et(bare, MARICOPA).raw_mm - truth)[60:].mean()
    learned_error = np.abs(reference_et(bare, MARICOPA, learned).raw_mm - truth)[60:].mean()
    assert learned_error < 0.6 * plain_error


def share_of_substitute(full: DailyWeather, place: Places, *missing: str) -> float:
    """Root mean square of the relative error over the days above 2 mm/d."""
    truth = reference_et(full, place).scheduling_mm()
    columns = {name: getattr(full, name) for name in VALUES if name not in missing}
    got = reference_et(
        build_weather(full.days, **columns, wind_height_m=full.wind_height_m), place
    ).scheduling_mm()
    season = truth > 2.0
    return float(np.sqrt(np.nanmean(((got - truth)[season] / truth[season]) ** 2)))


@pytest.mark.parametrize(
    ("missing", "share"),
    [
        pytest.param(
            ("tdew_c", "rh_min_pct", "rh_max_pct"), uncertainty.ET_HUMIDITY_FROM_TMIN, id="humidity"
        ),
        pytest.param(("solar_mj_m2",), uncertainty.ET_SOLAR_FROM_RANGE, id="sun"),
        pytest.param(("wind_m_s",), uncertainty.ET_WIND_DEFAULT, id="wind"),
    ],
)
def test_the_spread_of_a_substitute_is_the_larger_measured_one(
    missing: tuple[str, ...], share: float
) -> None:
    desert = share_of_substitute(maricopa_weather(), MARICOPA, *missing)
    prairie = share_of_substitute(mclean_weather(), MCLEAN, *missing)

    assert share == pytest.approx(max(desert, prairie), abs=0.006)


@pytest.mark.parametrize(("day_in_gap", "floor"), [(1, 0.360), (14, 0.408)])
def test_the_spread_of_the_seven_day_mean_is_the_larger_measured_one(day_in_gap: int, floor: float) -> None:
    truth = reference_et(mclean_weather(), MCLEAN).scheduling_mm()
    mean = trailing_mean(truth, 7, 7)[:-day_in_gap]
    later = truth[day_in_gap:]
    season = later > 2.0
    measured = np.sqrt(np.nanmean(((mean - later)[season] / later[season]) ** 2))
    stated = uncertainty.et_sd_of_mean_mm(np.array([1e6]), np.array([day_in_gap]))[0] / 1e6

    assert measured == pytest.approx(floor, abs=0.001)
    assert stated == pytest.approx(measured, abs=0.02)


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


def test_forecast_spread_grows_with_lead() -> None:
    days = np.datetime64("2026-06-15") + np.arange(7)
    weather = build_weather(days, tmin_c=np.full(7, 12.0), tmax_c=np.full(7, 28.0), rain_mm=np.full(7, 3.0))

    got = forecast_days(weather, MCLEAN, Assumptions(), np.datetime64("2026-06-15"))

    assert (np.diff(got.reference_et_sd_mm[:, 0]) > 0.0).all()
    assert (np.diff(got.rain_sd_mm[:, 0]) > 0.0).all()
    assert fill_words(int(got.fills[0, 0])) == "tdew_c:from_tmin solar_mj_m2:from_range wind_m_s:default"


def test_a_forecast_cannot_come_after_its_day() -> None:
    weather = build_weather(["2026-06-15"], tmin_c=[12.0], tmax_c=[28.0])

    with pytest.raises(ValueError, match="issued after its day"):
        forecast_days(weather, MCLEAN, Assumptions(), np.datetime64("2026-06-16"))


def test_words_of_fills_fit_their_column() -> None:
    assert set(WORDS) == set(Fill)
    assert len(fill_words(sum(fill.value for fill in Fill))) <= 300
    assert words_of_fills(np.array([0, 256, 0, 257], dtype=np.uint16)) == [
        "",
        "wind_m_s:default",
        "",
        "tmin_c:neighbour wind_m_s:default",
    ]
    assert len(METHOD_WORDS) == len(EtMethod)


def test_settings_that_reverse_the_order_are_refused() -> None:
    with pytest.raises(ValueError, match="rain_km <= neighbour_km"):
        FillSettings(neighbour_km=5.0, rain_km=10.0)


def test_trailing_mean_leaves_unknown_days_out() -> None:
    nan = np.nan
    values = np.array([[1.0], [nan], [3.0], [nan], [nan], [6.0]])

    got = trailing_mean(values, 3, 2)[:, 0]

    np.testing.assert_array_equal(got, [nan, nan, 2.0, nan, nan, nan])
    np.testing.assert_array_equal(trailing_mean(values, 3, 1)[:, 0], [1.0, 1.0, 2.0, 3.0, 3.0, 6.0])


def test_days_since_and_last_known_look_back_only() -> None:
    known = np.array([[False], [True], [False], [False], [True]])
    values = np.array([[9.0], [1.0], [9.0], [9.0], [4.0]])

    np.testing.assert_array_equal(days_since(known)[:, 0], [1, 0, 1, 2, 0])
    np.testing.assert_array_equal(last_known(values, known)[:, 0], [np.nan, 1.0, 1.0, 1.0, 4.0])
