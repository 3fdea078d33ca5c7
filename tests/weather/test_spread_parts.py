"""What each value brings to the spread of ET: of one truth with the spread that filling makes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.weather.filling_cases import filled, holed, one_station, pair
from weather.calc.arrays import FloatArray
from weather.calc.fill_codes import Fill, fill_words
from weather.calc.filling import FilledDays
from weather.calc.foretelling import forecast_days
from weather.calc.spread_parts import parts_of_et_sd
from weather.calc.substitutes import Assumptions, Fallback
from weather.calc.uncertainty import (
    ET_CLIMATOLOGY,
    ET_FLOOR_MM,
    ET_NEIGHBOUR,
    ET_NEIGHBOUR_LONG,
    ET_STATION,
    ET_WIND_DEFAULT,
    et_sd_mm,
)


def parts(days: FilledDays, at: int, column: int = 0) -> dict[str, float]:
    """Parts of one day as they would be read from the store."""
    cell = (at, column)
    words = fill_words(int(days.fills[cell])).split()
    et, sd = float(days.reference_et_mm[cell]), float(days.reference_et_sd_mm[cell])
    got = parts_of_et_sd(et, sd, words, is_grid=False, is_forecast=False)
    assert np.linalg.norm(list(got.values())) == pytest.approx(sd, rel=1e-9)
    return got


def test_parts_grow_in_the_order_of_the_fills() -> None:
    at = 100
    weather, places = pair()
    measured = filled(weather, places)
    lent = filled(holed(weather, (slice(at, at + 1), 0), "wind_m_s"), places)
    alone = one_station()
    assumed = filled(holed(alone, (slice(at, at + 1), 0), "wind_m_s"))
    usual: FloatArray = np.full((12, 1), 5.0)
    bare = filled(holed(alone, (slice(at - 20, at + 1), 0), "tmin_c", "tmax_c"), climatology=usual)

    # The name of the value that was filled, and its share of ET by what stood in for it.
    shares = []
    for days, name in ((lent, "wind_m_s"), (assumed, "wind_m_s"), (bare, "eto_mm")):
        shares.append(parts(days, at)[name] / float(days.reference_et_mm[at, 0]))
    assert set(parts(measured, at)) == {"measured"}
    assert shares[:2] == pytest.approx([ET_NEIGHBOUR, ET_WIND_DEFAULT])
    assert shares[2] == pytest.approx(np.hypot(ET_CLIMATOLOGY, ET_FLOOR_MM / 5.0))
    assert shares == sorted(shares)
    assert parts(assumed, at)["measured"] < shares[1] * float(assumed.reference_et_mm[at, 0])


def test_a_long_gap_shows_in_the_neighbours_part() -> None:
    weather, places = pair()
    days = filled(holed(weather, (slice(90, 101), 0), "wind_m_s", "solar_mj_m2"), places)

    early, late = parts(days, 90), parts(days, 100)
    ratio = (
        late["wind_m_s"] / days.reference_et_mm[100, 0] / (early["wind_m_s"] / days.reference_et_mm[90, 0])
    )
    assert ratio == pytest.approx(ET_NEIGHBOUR_LONG)
    assert late["wind_m_s"] == pytest.approx(late["solar_mj_m2"])


def test_a_forecast_brings_its_own_part_and_more_with_lead() -> None:
    weather = holed(one_station(7), (slice(None), 0), "wind_m_s")
    _, places = pair()
    from_now = forecast_days(
        weather,
        places.__class__(*(v[:1] for v in (places.latitude_deg, places.longitude_deg, places.elevation_m))),
        Assumptions(),
        weather.days[0],
    )
    shares = []
    for at in range(7):
        et, sd = float(from_now.reference_et_mm[at, 0]), float(from_now.reference_et_sd_mm[at, 0])
        got = parts_of_et_sd(et, sd, ["wind_m_s:default"], is_grid=True, is_forecast=True)
        assert set(got) == {"measured", "forecast", "wind_m_s"}
        shares.append(got["forecast"] / et)
    assert shares == sorted(shares)
    assert shares[0] < shares[-1]


@settings(max_examples=40)
@given(
    et=st.floats(0.0, 15.0),
    codes=st.sets(
        st.sampled_from([Fallback.HUMIDITY_FROM_TMIN, Fallback.SOLAR_FROM_RANGE, Fallback.WIND_DEFAULT])
    ),
    temperatures=st.sets(st.sampled_from([Fill.TMIN_NEIGHBOUR, Fill.TMAX_NEIGHBOUR])),
    is_grid=st.booleans(),
)
def test_squares_of_the_parts_are_the_square_of_the_spread(
    et: float, codes: set[Fallback], temperatures: set[Fill], is_grid: bool
) -> None:
    fills = {
        Fallback.HUMIDITY_FROM_TMIN: Fill.DEW_FROM_TMIN,
        Fallback.SOLAR_FROM_RANGE: Fill.SOLAR_FROM_RANGE,
        Fallback.WIND_DEFAULT: Fill.WIND_DEFAULT,
    }
    sd = et_sd_mm(
        np.array([[et]]),
        np.array([[sum(code.value for code in codes)]]),
        np.array([[float(len(temperatures))]]),
        np.array([is_grid]),
    )[0, 0]
    words = fill_words(sum(fill.value for fill in {fills[code] for code in codes} | temperatures)).split()

    got = parts_of_et_sd(et, float(sd), words, is_grid=is_grid, is_forecast=False)

    assert np.linalg.norm(list(got.values())) == pytest.approx(sd, rel=1e-9)
    assert set(got) - {"measured"} == {word.partition(":")[0] for word in words}
    assert got["measured"] >= np.hypot(ET_STATION * et, ET_FLOOR_MM) * (1.0 - 1e-6)
    for fill in temperatures:
        assert got[fill_words(fill.value).partition(":")[0]] == pytest.approx(ET_NEIGHBOUR * et, abs=1e-5)


def test_an_unknown_spread_has_no_parts() -> None:
    assert parts_of_et_sd(None, 0.3, [], is_grid=False, is_forecast=False) == {}
    assert parts_of_et_sd(5.0, None, [], is_grid=False, is_forecast=False) == {}
