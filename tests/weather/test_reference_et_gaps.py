"""Reference ET where something is missing, and its seams: blocks, codes of what was assumed, nonsense."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.weather.station_data import build_weather
from weather.calc.arrays import FloatArray
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.reference_et import (
    reference_et,
)
from weather.calc.substitutes import Assumptions, Fallback


def place(latitude: float, elevation_m: float, longitude: float = 0.0) -> Places:
    return Places(np.array([latitude]), np.array([longitude]), np.array([elevation_m]))


def day_of_2015(day_of_year: int) -> list[str]:
    return [str(np.datetime64("2015-01-01") + np.timedelta64(day_of_year - 1, "D"))]


def random_weather(seed: int, count_days: int, count: int) -> tuple[DailyWeather, Places]:
    generator = np.random.default_rng(seed)
    days = np.datetime64("2024-02-20") + np.arange(count_days)
    shape = (count_days, count)
    tmin = generator.uniform(-10.0, 25.0, shape)
    weather = build_weather(
        days,
        tmin_c=tmin,
        tmax_c=tmin + generator.uniform(1.0, 20.0, shape),
        tdew_c=tmin - generator.uniform(-1.0, 8.0, shape),
        rh_min_pct=generator.uniform(10.0, 60.0, shape),
        rh_max_pct=generator.uniform(60.0, 100.0, shape),
        wind_m_s=generator.uniform(0.3, 6.0, shape),
        wind_height_m=generator.choice([2.0, 3.0, 10.0], count),
        solar_mj_m2=generator.uniform(2.0, 28.0, shape),
    )
    places = Places(
        generator.uniform(-60.0, 60.0, count), np.zeros(count), generator.uniform(0.0, 2500.0, count)
    )
    return weather, places


@pytest.mark.parametrize("shape", [(3, 20_001), (20_001, 1), (1, 1), (400, 90)], ids=str)
def test_blocks_leave_no_seam(shape: tuple[int, int]) -> None:
    weather, places = random_weather(7, *shape)
    all_at_once = reference_et(weather, places).raw_mm

    for column in {0, shape[1] // 2, shape[1] - 1}:
        alone = Places(
            places.latitude_deg[[column]], places.longitude_deg[[column]], places.elevation_m[[column]]
        )
        names = ("tmin_c", "tmax_c", "tdew_c", "wind_m_s", "solar_mj_m2")
        single = build_weather(
            weather.days,
            **{name: getattr(weather, name)[:, [column]] for name in names},
            wind_height_m=weather.wind_height_m[column],
        )
        np.testing.assert_allclose(
            reference_et(single, alone).raw_mm[:, 0], all_at_once[:, column], rtol=1e-12
        )


def with_unknown(weather: DailyWeather, *names: str) -> DailyWeather:
    kept = {
        name: getattr(weather, name)
        for name in ("tmin_c", "tmax_c", "tdew_c", "rh_min_pct", "rh_max_pct", "wind_m_s", "solar_mj_m2")
        if name not in names
    }
    return build_weather(weather.days, **kept, wind_height_m=weather.wind_height_m)


@pytest.mark.parametrize(
    ("missing", "expected"),
    [
        pytest.param((), Fallback.NONE, id="nothing"),
        pytest.param(("tdew_c",), Fallback.HUMIDITY_FROM_RH, id="dew point"),
        pytest.param(("tdew_c", "rh_min_pct"), Fallback.HUMIDITY_FROM_RH_MAX, id="all but highest humidity"),
        pytest.param(("tdew_c", "rh_max_pct"), Fallback.HUMIDITY_FROM_TMIN, id="all but lowest humidity"),
        pytest.param(("solar_mj_m2",), Fallback.SOLAR_FROM_RANGE, id="solar"),
        pytest.param(("wind_m_s",), Fallback.WIND_DEFAULT, id="wind"),
    ],
)
def test_what_is_missing_is_told_by_its_code(missing: tuple[str, ...], expected: Fallback) -> None:
    weather, places = random_weather(3, 4, 5)

    got = reference_et(with_unknown(weather, *missing), places)

    assert (got.fallbacks == expected).all()
    assert np.isfinite(got.raw_mm).all()


def test_a_missing_value_changes_no_other_day_or_location() -> None:
    weather, places = random_weather(5, 6, 4)
    complete = reference_et(weather, places)
    holed = with_unknown(weather)
    for name in ("tdew_c", "solar_mj_m2", "wind_m_s"):
        getattr(holed, name)[2, 1] = np.nan

    got = reference_et(holed, places)

    differs = got.raw_mm != complete.raw_mm
    assert differs[2, 1]
    assert differs.sum() == 1
    assert np.count_nonzero(got.fallbacks) == 1


@pytest.mark.parametrize("name", ["tmin_c", "tmax_c"])
def test_without_an_extreme_of_temperature_the_value_is_unknown(name: str) -> None:
    weather, places = random_weather(5, 3, 2)
    getattr(weather, name)[1, 0] = np.nan

    got = reference_et(weather, places)

    assert np.isnan(got.raw_mm[1, 0])
    assert np.isnan(got.raw_mm).sum() == 1


def test_a_cold_damp_day_keeps_its_raw_value_and_schedules_zero() -> None:
    weather = build_weather(
        ["2015-12-20"], tmin_c=[-8.0], tmax_c=[-6.0], tdew_c=[-6.0], wind_m_s=[0.3], solar_mj_m2=[0.5]
    )

    got = reference_et(weather, place(52.0, 50.0))

    assert got.raw_mm[0, 0] < 0.0
    assert got.scheduling_mm()[0, 0] == 0.0


def test_a_suspect_wind_has_a_floor_and_a_measured_one_none() -> None:
    weather = build_weather(
        ["2015-07-01"], tmin_c=[15.0], tmax_c=[33.0], tdew_c=[8.0], wind_m_s=[0.1], solar_mj_m2=[27.0]
    )
    suspect = Assumptions(wind_is_suspect=np.array([[True]]))
    stronger = build_weather(
        ["2015-07-01"], tmin_c=[15.0], tmax_c=[33.0], tdew_c=[8.0], wind_m_s=[0.5], solar_mj_m2=[27.0]
    )
    here = place(40.0, 500.0)

    measured = reference_et(weather, here).raw_mm[0, 0]
    floored = reference_et(weather, here, suspect).raw_mm[0, 0]

    assert measured < floored
    assert floored == pytest.approx(reference_et(stronger, here).raw_mm[0, 0], rel=1e-12)


def test_a_dew_point_gap_of_a_dry_site_raises_the_value_where_only_tmin_is_known() -> None:
    weather = build_weather(["2015-07-01"], tmin_c=[15.0], tmax_c=[33.0])
    here = place(40.0, 500.0)

    humid = reference_et(weather, here).raw_mm[0, 0]
    dry = reference_et(weather, here, Assumptions(dew_gap_c=3.0)).raw_mm[0, 0]

    assert dry > humid


def test_assumptions_may_differ_between_locations() -> None:
    weather = build_weather(["2015-07-01"], tmin_c=[[15.0, 15.0]], tmax_c=[[33.0, 33.0]])
    here = Places(np.array([40.0, 40.0]), np.zeros(2), np.array([500.0, 500.0]))

    got = reference_et(weather, here, Assumptions(solar_coefficient=np.array([0.16, 0.19])))

    assert got.raw_mm[0, 1] > got.raw_mm[0, 0]


@settings(max_examples=60, deadline=None)
@given(
    tmin=st.floats(-5.0, 28.0),
    reach=st.floats(2.0, 22.0),
    wind=st.floats(0.0, 8.0),
    solar=st.floats(3.0, 28.0),
)
def test_more_sun_never_means_less_evaporation_when_it_is_not_freezing(
    tmin: float, reach: float, wind: float, solar: float
) -> None:
    days = ["2015-06-20"]
    common = {"tmin_c": [[tmin] * 2], "tmax_c": [[tmin + reach] * 2], "wind_m_s": [[wind] * 2]}
    weather = build_weather(days, **common, solar_mj_m2=[[solar, solar + 2.0]])
    here = Places(np.array([40.0, 40.0]), np.zeros(2), np.array([300.0, 300.0]))

    low, high = reference_et(weather, here).raw_mm[0]

    assert high >= low


def test_nonsense_is_refused_at_the_seams() -> None:
    weather, places = random_weather(1, 2, 2)

    with pytest.raises(ValueError, match="1 places for 2 columns"):
        reference_et(weather, place(40.0, 0.0))
    with pytest.raises(ValueError, match="latitude_deg"):
        Places(np.array([91.0]), np.array([0.0]), np.array([0.0]))
    with pytest.raises(ValueError, match="longitude_deg"):
        Places(np.array([1.0]), np.array([181.0]), np.array([0.0]))
    with pytest.raises(ValueError, match="elevation_m"):
        Places(np.array([1.0]), np.array([0.0]), np.array([12_000.0]))
    with pytest.raises(ValueError, match="share one shape"):
        Places(np.array([1.0]), np.array([0.0, 1.0]), np.array([0.0]))
    with pytest.raises(ValueError, match="without a gap"):
        build_weather(["2015-01-01", "2015-01-03"], tmin_c=[1.0, 2.0])
    with pytest.raises(ValueError, match="solar_coefficient"):
        Assumptions(solar_coefficient=1.6)
    with pytest.raises(ValueError, match="dew_gap_c"):
        Assumptions(dew_gap_c=-1.0)
    shapes: FloatArray = np.zeros((2, 2))
    with pytest.raises(ValueError, match="rain_mm has the shape"):
        replace(weather, tmin_c=shapes, rain_mm=np.zeros((2, 3)))
    assert places.count == 2
