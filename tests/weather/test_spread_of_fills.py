"""What fills are worth: what a location taught, spreads, forecasts by lead, and their words."""

from __future__ import annotations

import numpy as np
import pytest

from tests.weather.filling_cases import one_station
from tests.weather.station_data import MARICOPA, MCLEAN, build_weather, mclean_weather
from weather.calc import uncertainty
from weather.calc.fill_codes import (
    METHOD_WORDS,
    WORDS,
    EtMethod,
    Fill,
    fill_words,
    words_of_fills,
)
from weather.calc.filling import FillSettings, learned_assumptions
from weather.calc.foretelling import forecast_days
from weather.calc.reference_et import reference_et
from weather.calc.substitutes import Assumptions
from weather.calc.trailing import days_since, last_known, trailing_mean


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
