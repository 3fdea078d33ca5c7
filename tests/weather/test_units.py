"""Exchanges of units against the definitions of the units and against each other."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weather.calc import units

# Definitions of the units; 0.62338, 748.05 and 40.746 are the usual factors of the trade, computed.
DEFINED = [
    pytest.param(units.fahrenheit_to_c(212.0), 100.0, id="boiling water"),
    pytest.param(units.fahrenheit_to_c(-40.0), -40.0, id="where both scales meet"),
    pytest.param(units.inches_to_mm(1.0), 25.4, id="inch"),
    pytest.param(units.feet_to_m(1.0), 0.3048, id="foot"),
    pytest.param(units.km_to_miles(1.609344), 1.0, id="mile"),
    pytest.param(units.square_feet_to_m2(1.0), 0.09290304, id="square foot"),
    pytest.param(units.mph_to_m_s(1.0), 0.44704, id="mile an hour"),
    pytest.param(units.km_h_to_m_s(36.0), 10.0, id="kilometre an hour"),
    pytest.param(units.knots_to_m_s(3600.0), 1852.0, id="knot"),
    pytest.param(units.l_to_gallons(3.785411784), 1.0, id="gallon"),
    pytest.param(units.gallons_min_to_l_min(2.0), 7.570823568, id="flow"),
    pytest.param(units.psi_to_kpa(1.0), 6.894757293, id="pound a square inch"),
]


@pytest.mark.parametrize(("got", "expected"), DEFINED)
def test_a_factor_follows_the_definition_of_the_unit(got: float, expected: float) -> None:
    assert got == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_usual_factors_of_the_trade_come_out() -> None:
    inch_on_a_square_foot_l = units.inches_to_mm(1.0) * units.square_feet_to_m2(1.0)

    assert units.l_to_gallons(inch_on_a_square_foot_l) == pytest.approx(0.62338, abs=5e-6)
    assert units.l_to_gallons(units.litres_per_unit("ccf")) == pytest.approx(748.05, abs=0.005)


PAIRS = [
    pytest.param(units.fahrenheit_to_c, units.c_to_fahrenheit, id="temperature"),
    pytest.param(units.inches_to_mm, units.mm_to_inches, id="depth"),
    pytest.param(units.feet_to_m, units.m_to_feet, id="length"),
    pytest.param(units.square_feet_to_m2, units.m2_to_square_feet, id="area"),
    pytest.param(units.mph_to_m_s, units.m_s_to_mph, id="speed"),
    pytest.param(units.gallons_min_to_l_min, units.l_min_to_gallons_min, id="flow"),
    pytest.param(units.psi_to_kpa, units.kpa_to_psi, id="pressure"),
]


@pytest.mark.parametrize(("there", "back"), PAIRS)
@given(value=st.floats(-1e6, 1e6))
def test_there_and_back_gives_the_same_value(there: object, back: object, value: float) -> None:
    assert back(there(value)) == pytest.approx(value, rel=1e-12, abs=1e-9)  # type: ignore[operator]


def test_arrays_are_exchanged_without_a_change_of_their_argument() -> None:
    given_f = np.array([32.0, 212.0])

    got_c = units.fahrenheit_to_c(given_f)

    np.testing.assert_allclose(got_c, [0.0, 100.0])
    np.testing.assert_allclose(given_f, [32.0, 212.0])


@pytest.mark.parametrize(
    ("unit", "litres"),
    [("l", 1.0), ("m3", 1000.0), ("gal", 3.785411784), ("kgal", 3785.411784), ("CCF", 2831.6846592)],
)
def test_every_unit_of_a_bill_has_its_litres(unit: str, litres: float) -> None:
    assert units.litres_per_unit(unit) == pytest.approx(litres, rel=1e-9)


def test_an_unknown_unit_of_volume_is_refused_and_not_guessed() -> None:
    with pytest.raises(units.UnknownUnit, match="'hcf' is not one of l, m3, gal, kgal, ccf"):
        units.litres_per_unit("hcf")
