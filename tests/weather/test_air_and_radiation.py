"""Parts of FAO-56 against its printed examples.

Source of the printed values: Allen, Pereira, Raes and Smith (1998), Crop evapotranspiration, FAO Irrigation
and Drainage Paper 56, examples 2 to 15, as the test suites of the open PyETo and pyet libraries quote them.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.weather.station_data import unknown
from weather.calc import air, radiation
from weather.calc.arrays import FloatArray


def one(value: float) -> FloatArray:
    return np.array([value])


@pytest.mark.parametrize(
    ("elevation_m", "printed"), [(1800.0, 81.8), (1200.0, 87.9), (2.0, 101.3), (200.0, 98.96)]
)
def test_air_pressure_at_the_printed_elevations(elevation_m: float, printed: float) -> None:
    assert air.air_pressure_kpa(one(elevation_m))[0] == pytest.approx(printed, abs=0.05)


def test_psychrometric_constant_of_example_2() -> None:
    assert air.psychrometric_constant(one(81.8))[0] == pytest.approx(0.054, abs=0.0005)


def test_saturation_of_example_3_is_the_mean_at_the_extremes() -> None:
    at_extremes = air.saturation_vapour_pressure_kpa(np.array([24.5, 15.0]))

    assert at_extremes.mean() == pytest.approx(2.39, abs=0.005)


@pytest.mark.parametrize(
    ("rh_min_pct", "printed"),
    [pytest.param(54.0, 1.70, id="both"), pytest.param(np.nan, 1.69, id="highest alone")],
)
def test_vapour_pressure_of_example_5_from_humidity(rh_min_pct: float, printed: float) -> None:
    at_tmin, at_tmax = (
        air.saturation_vapour_pressure_kpa(one(18.0)),
        air.saturation_vapour_pressure_kpa(one(25.0)),
    )

    got = air.vapour_pressure_from_humidity_kpa(at_tmin, at_tmax, one(rh_min_pct), one(82.0))

    assert got[0] == pytest.approx(printed, abs=0.005)


def test_vapour_pressure_without_any_humidity_is_unknown() -> None:
    got = air.vapour_pressure_from_humidity_kpa(one(2.0), one(3.0), one(30.0), unknown((1,)))

    assert np.isnan(got[0])


def test_dew_point_is_the_inverse_of_saturation() -> None:
    dew = np.linspace(-30.0, 30.0, 13)

    np.testing.assert_allclose(air.dew_point_c(air.saturation_vapour_pressure_kpa(dew)), dew, atol=1e-9)


def test_wind_of_example_14_comes_down_from_10_m() -> None:
    assert 3.2 * air.wind_factor_to_2m(one(10.0))[0] == pytest.approx(2.4, abs=0.05)


def test_wind_measured_at_2_m_stays_as_it_is() -> None:
    assert air.wind_factor_to_2m(one(2.0))[0] == 1.0


@pytest.mark.parametrize("height_m", [0.1, 0.0, -2.0])
def test_a_wind_height_under_the_profile_is_refused(height_m: float) -> None:
    with pytest.raises(ValueError, match=r"above 0\.1 m"):
        air.wind_factor_to_2m(one(height_m))


@pytest.mark.parametrize(
    ("day", "latitude", "printed"),
    [
        pytest.param(246.0, -20.0, 32.2, id="example 8, 20 S"),
        pytest.param(105.0, 13.73, 38.06, id="example 17, Bangkok"),
        pytest.param(187.0, 50.80, 41.09, id="example 18, Uccle"),
    ],
)
def test_radiation_above_the_air(day: float, latitude: float, printed: float) -> None:
    tolerance = 0.05 if printed == 32.2 else 0.005
    assert radiation.extraterrestrial_radiation(one(day), one(latitude))[0, 0] == pytest.approx(
        printed, abs=tolerance
    )


def test_radiation_above_the_air_spreads_days_over_locations() -> None:
    got = radiation.extraterrestrial_radiation(np.array([1.0, 180.0]), np.array([-20.0, 40.0, 50.0]))

    assert got.shape == (2, 3)
    alone = radiation.extraterrestrial_radiation(one(180.0), one(50.0))
    assert got[1, 2] == pytest.approx(alone[0, 0], rel=1e-12)


def test_the_polar_night_has_no_sun() -> None:
    dark = radiation.extraterrestrial_radiation(np.array([355.0]), np.array([85.0]))

    assert dark[0, 0] == pytest.approx(0.0, abs=1e-9)


def test_net_longwave_of_example_11() -> None:
    got = radiation.net_longwave_radiation(one(19.1), one(25.1), one(2.1), one(14.5), one(18.8))

    assert got[0] == pytest.approx(3.5, abs=0.05)


def test_net_radiation_of_example_12() -> None:
    assert radiation.net_radiation(one(14.5), one(0.0))[0] == pytest.approx(11.1, abs=0.1)


def test_solar_of_example_15_from_the_temperature_range() -> None:
    got = radiation.solar_from_temperature_range(one(14.8), one(26.6), one(40.6), one(31.0))

    assert got[0] == pytest.approx(22.3, abs=0.05)


def test_solar_from_a_wide_range_stops_at_the_clear_sky() -> None:
    got = radiation.solar_from_temperature_range(one(0.0), one(40.0), one(40.0), one(30.0))

    assert got[0] == 30.0


def test_longwave_holds_the_cloudiness_between_its_bounds() -> None:
    arguments = (one(12.0), one(22.0), one(1.4))

    overcast = radiation.net_longwave_radiation(*arguments, one(0.0), one(30.0))
    at_the_floor = radiation.net_longwave_radiation(*arguments, one(9.0), one(30.0))
    above = radiation.net_longwave_radiation(*arguments, one(45.0), one(30.0))
    clear = radiation.net_longwave_radiation(*arguments, one(30.0), one(30.0))

    assert overcast[0] == pytest.approx(at_the_floor[0], rel=1e-12)
    assert above[0] == pytest.approx(clear[0], rel=1e-12)
    assert 0.0 < overcast[0] < clear[0]


def test_longwave_without_sun_takes_the_clear_night() -> None:
    dark = radiation.net_longwave_radiation(one(-20.0), one(-12.0), one(0.1), one(0.0), one(0.0))
    clear = radiation.net_longwave_radiation(one(-20.0), one(-12.0), one(0.1), one(5.0), one(5.0))

    assert dark[0] == pytest.approx(clear[0], rel=1e-12)


def test_day_of_the_year_counts_from_one_and_knows_leap_years() -> None:
    days = np.array(["2023-12-31", "2024-01-01", "2024-12-31", "2025-03-01"], dtype="datetime64[D]")

    np.testing.assert_array_equal(radiation.day_of_year(days), [365.0, 1.0, 366.0, 60.0])


def test_the_slope_is_that_of_the_curve_itself() -> None:
    warmth = np.linspace(-10.0, 45.0, 56)
    step = 1e-4

    rise = air.saturation_vapour_pressure_kpa(warmth + step) - air.saturation_vapour_pressure_kpa(
        warmth - step
    )

    # FAO-56 rounds the constant of Eq. 13, so that the two differ by a few parts in ten thousand.
    np.testing.assert_allclose(air.saturation_slope(warmth), rise / (2 * step), rtol=5e-4)
