"""Spreads of values in their own units: never surer when filled, foretold or far; their part of ET's."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.weather.filling_cases import filled, holed, one_station, pair, quality_of
from tests.weather.station_data import MARICOPA
from weather.calc.arrays import FloatArray
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.et_spread import EQUATION, parts_of_et, total_mm
from weather.calc.filling import fill_days
from weather.calc.foretelling import forecast_days
from weather.calc.radiation import (
    day_of_year,
)
from weather.calc.spread_rules import (
    EQUATION_MM,
    FORECAST,
    GRID,
    GROUP_OF,
    INPUTS,
    LENT,
    LENT_LONG,
    REMARKED,
    RULE_SETS,
    STATION,
    SUBSTITUTE,
    TOLD,
    Rule,
    forecast_spread,
    told_spread,
)
from weather.calc.substitutes import Assumptions
from weather.calc.taken_inputs import with_dew
from weather.calc.told_quality import Quality, remarked_groups, told_by

OF_HUMIDITY = ("tdew_c", "rh_min_pct", "rh_max_pct")
PLACE_OF = {"tdew_c": OF_HUMIDITY, "wind_m_s": ("wind_m_s",), "solar_mj_m2": ("solar_mj_m2",)}


def value_at_2m(weather: DailyWeather, name: str) -> FloatArray:
    """A value as the equation takes it."""
    array: FloatArray = getattr(with_dew(weather), name)
    return array


def test_every_told_value_has_the_spread_of_its_teller() -> None:
    weather = one_station(90)
    by_station = filled(weather)
    by_grid = fill_days(
        weather,
        MARICOPA,
        quality=quality_of(np.ones(weather.shape, np.bool_)),
        climatology_mm=np.ones((12, 1)),
    )

    for name in TOLD[:-1]:
        values = getattr(weather, name)
        assert np.isfinite(by_station.spreads[name]).all()
        np.testing.assert_allclose(by_station.spreads[name], STATION.rules[name].spread(values))
        np.testing.assert_allclose(by_grid.spreads[name], GRID.rules[name].spread(values))
    assert (by_grid.rain_sd_mm > by_station.rain_sd_mm).all()
    assert (by_grid.reference_et_sd_mm > by_station.reference_et_sd_mm).all()
    for values in by_station.used.values():
        assert np.isnan(values).all()


@pytest.mark.parametrize("group", sorted(set(GROUP_OF.values())))
def test_each_group_has_the_spread_of_the_source_that_told_it(group: str) -> None:
    weather = one_station(70)
    plain = quality_of(np.zeros(weather.shape, dtype=np.bool_))
    grid = replace(plain, is_grid={**plain.is_grid, group: np.ones(weather.shape, dtype=np.bool_)})
    got = fill_days(weather, MARICOPA, quality=grid, climatology_mm=np.ones((12, 1)))
    spreads = {**got.spreads, "rain_mm": got.rain_sd_mm}

    for name in TOLD:
        rules = GRID if GROUP_OF[name] == group else STATION
        np.testing.assert_allclose(spreads[name], rules.rules[name].spread(getattr(weather, name)))


def test_a_remarked_value_is_less_sure() -> None:
    weather = one_station(70)
    plain = quality_of(np.zeros(weather.shape, dtype=np.bool_))
    marks = np.zeros(weather.shape, dtype=np.bool_)
    marks[40] = True
    doubted = Quality(plain.is_grid, {**plain.is_remarked, "solar": marks})

    before = filled(weather)
    got = fill_days(weather, MARICOPA, quality=doubted, climatology_mm=np.full((12, 1), np.nan))

    ratio = got.spreads["solar_mj_m2"] / before.spreads["solar_mj_m2"]
    np.testing.assert_allclose(ratio[:, 0], np.where(marks[:, 0], REMARKED, 1.0))
    assert got.reference_et_sd_mm[40, 0] > before.reference_et_sd_mm[40, 0]


def test_remarks_and_parts_name_their_values() -> None:
    assert remarked_groups("dew_above_tmin solar_high") == ("humidity", "solar")
    assert remarked_groups("flat_line") == ("temperature", "wind", "solar")
    # That of a dry gauge is found while filling: read back, it would widen the next night.
    assert remarked_groups("gauge_dry") == ()
    assert told_by("nasa_power", "rain:ncei") == {
        **dict.fromkeys(("temperature", "humidity", "wind", "solar"), "nasa_power"),
        "rain": "ncei",
    }
    with pytest.raises(ValueError, match="expected marks of temperature"):
        Quality({}, {})


def test_a_dew_point_of_humidity_has_the_spread_that_humidity_gives_it() -> None:
    weather = holed(one_station(70), (slice(None), 0), "tdew_c")

    got = filled(weather)

    # The same in small steps: each humidity and temperature moved by its own spread.
    dew = value_at_2m(weather, "tdew_c")
    squares = np.zeros(weather.shape)
    for name in ("tmin_c", "tmax_c", "rh_min_pct", "rh_max_pct"):
        step = 1e-4 * got.spreads[name]
        moved = replace(weather, **{name: getattr(weather, name) + step})
        squares += ((value_at_2m(moved, "tdew_c") - dew) / 1e-4) ** 2
    np.testing.assert_allclose(got.spreads["tdew_c"], np.sqrt(squares), rtol=1e-3)
    np.testing.assert_allclose(got.used["tdew_c"], dew)
    assert (got.fills == 0).all()


def holes(seed: int, share: float) -> tuple[DailyWeather, DailyWeather, Places]:
    """Two places, whole and with holes."""
    generator = np.random.default_rng(seed)
    whole, places = pair(70)
    weather = whole
    for name in TOLD:
        values = getattr(weather, name).copy()
        values[generator.random(weather.shape) < share] = np.nan
        weather = replace(weather, **{name: values})
    return whole, weather, places


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), share=st.floats(0.05, 0.6), is_grid=st.booleans())
def test_a_filled_value_is_never_surer_than_an_observed_one_of_the_same_source(
    seed: int, share: float, is_grid: bool
) -> None:
    _, weather, places = holes(seed, share)
    marks = np.full(weather.shape, is_grid)
    got = fill_days(weather, places, quality=quality_of(marks), climatology_mm=np.full((12, 2), 5.0))

    for name in INPUTS:
        put_in = got.used[name]
        is_put_in = np.isfinite(put_in)
        own = told_spread(name, put_in, marks)
        alone = is_put_in & ~(np.isfinite(weather.rh_max_pct) & (name == "tdew_c"))
        assert (got.spreads[name][alone] >= own[alone] - 1e-9).all(), name
        assert np.isfinite(got.spreads[name][is_put_in]).all(), name
        known = np.isfinite(getattr(weather, name))
        assert np.isfinite(got.spreads[name][known]).all(), name
        # A value has a spread, and what is unknown has none.
        assert np.isnan(got.spreads[name][~known & ~is_put_in]).all(), name
    lent = np.isnan(weather.rain_mm) & np.isfinite(got.rain_mm)
    assert (got.rain_sd_mm[lent] >= told_spread("rain_mm", got.rain_mm, marks)[lent]).all()


@pytest.mark.parametrize("name", INPUTS)
def test_a_longer_gap_is_never_surer(name: str) -> None:
    whole, places = pair()
    even = replace(whole, **{name: np.broadcast_to(getattr(whole, name)[90], whole.shape).copy()})
    names = PLACE_OF.get(name, (name,))

    got = filled(holed(even, (slice(100, 110), 1), *names), places)

    spreads = got.spreads[name][100:110, 1]
    assert (np.diff(spreads) >= -1e-9).all()
    assert spreads[-1] > spreads[0]


@pytest.mark.parametrize("name", [*LENT.rules])
@given(near=st.floats(0.0, 50.0), more=st.floats(0.0, 50.0), value=st.floats(0.0, 40.0))
@settings(max_examples=20, deadline=None)
def test_a_farther_neighbour_is_never_surer(name: str, near: float, more: float, value: float) -> None:
    rule, array = LENT.rules[name], np.array([value])

    assert rule.spread(array, near + more) >= rule.spread(array, near)


@pytest.mark.parametrize("name", TOLD)
@given(lead=st.floats(0.0, 7.0), more=st.floats(0.01, 7.0), value=st.floats(0.0, 100.0))
@settings(max_examples=20, deadline=None)
def test_a_greater_lead_is_never_surer(name: str, lead: float, more: float, value: float) -> None:
    array = np.array([[value]])
    early, late = (forecast_spread(name, array, np.array([[at]])) for at in (lead, lead + more))

    assert late > early >= told_spread(name, array, np.zeros((1, 1), dtype=np.bool_))


def test_a_forecast_day_carries_spreads_of_all_values() -> None:
    weather = holed(one_station(7), (slice(None), 0), "wind_m_s", "solar_mj_m2")
    got = forecast_days(weather, MARICOPA, Assumptions(), weather.days[0])

    for name in ("tmin_c", "tmax_c", "tdew_c"):
        assert (np.diff(got.spreads[name][:, 0]) > 0.0).all()
    for name in ("wind_m_s", "solar_mj_m2"):
        assert np.isfinite(got.used[name]).all()
        adds = SUBSTITUTE.rules["wind_m_s:default"].least if name == "wind_m_s" else 0.0
        assert (got.spreads[name] >= np.hypot(adds, FORECAST.rules[name].least)).all()
    assert (np.diff(got.rain_sd_mm[:, 0] / (1.0 + got.rain_mm[:, 0])) > 0.0).all()


@settings(max_examples=40, deadline=None)
@given(at=st.integers(0, 199), name=st.sampled_from(INPUTS), factor=st.floats(1.05, 3.0))
def test_the_spread_of_et_grows_with_each_part(at: int, name: str, factor: float) -> None:
    weather = with_dew(one_station(200))
    values = {one: getattr(weather, one)[at : at + 1] for one in INPUTS}
    spreads = {one: told_spread(one, values[one], np.zeros((1, 1), dtype=np.bool_)) for one in INPUTS}
    where: dict[str, Any] = {
        "day_numbers": day_of_year(weather.days[at : at + 1])[:, np.newaxis],
        "latitude_deg": MARICOPA.latitude_deg,
        "elevation_m": MARICOPA.elevation_m,
    }
    before = parts_of_et(values, spreads, **where)
    after = parts_of_et(values, spreads | {name: spreads[name] * factor}, **where)

    # Dew acts on vapour and on radiation, against each other: where both cancel, below a hundredth of a
    # millimetre, a wider spread meets another balance of the two.
    if name == "tdew_c" and before[name] < 0.01:
        assert abs(total_mm(after) - total_mm(before)) < 0.01
        return
    assert after[name] > before[name]
    assert total_mm(after) > total_mm(before)
    assert {one for one in before if before[one] != after[one]} == {name}
    assert before[EQUATION] == EQUATION_MM


def test_the_spread_of_et_is_the_root_of_its_parts() -> None:
    whole, places = pair()
    got = filled(holed(whole, (slice(100, 106), 1), "solar_mj_m2"), places)
    values = {
        name: np.where(np.isnan(got.used[name]), value_at_2m(whole, name), got.used[name]) for name in INPUTS
    }
    factor = value_at_2m(whole, "wind_m_s") / whole.wind_m_s
    spreads = {name: got.spreads[name] * (factor if name == "wind_m_s" else 1.0) for name in INPUTS}

    parts = parts_of_et(
        values,
        spreads,
        day_numbers=day_of_year(whole.days)[:, np.newaxis],
        latitude_deg=places.latitude_deg,
        elevation_m=places.elevation_m,
    )

    np.testing.assert_allclose(total_mm(parts), got.reference_et_sd_mm, rtol=1e-9)
    # Beyond the third day in a row what the neighbour adds is half as wide again.
    adds = LENT.rules["solar_mj_m2"].spread(got.used["solar_mj_m2"], 9.007)
    long = np.where(np.arange(120) >= 103, LENT_LONG, 1.0)[:, np.newaxis]
    lender = STATION.rules["solar_mj_m2"].spread(whole.solar_mj_m2[:, :1])
    np.testing.assert_allclose(
        got.spreads["solar_mj_m2"][100:106, 1], np.hypot(lender, adds * long)[100:106, 1], rtol=1e-4
    )


def test_rules_name_their_source_and_cannot_shrink() -> None:
    for rules in RULE_SETS:
        assert rules.source
        assert rules.name
    with pytest.raises(ValueError, match="no part of a spread is negative"):
        Rule(1.0, -0.1)
