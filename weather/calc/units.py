"""The only place where units are exchanged. Everything inside the house is SI.

Exact factors follow the definitions of the international yard and pound (1959), the US liquid gallon of
231 cubic inches, and the 100 cubic feet (CCF) of water bills. Each function takes a number or an array.
"""

from __future__ import annotations

from typing import TypeVar

from weather.calc.arrays import FloatArray

Number = TypeVar("Number", float, FloatArray)

MM_PER_INCH = 25.4
M_PER_FOOT = 0.3048
M2_PER_SQUARE_FOOT = M_PER_FOOT**2
L_PER_GALLON = 231 * 0.0254**3 * 1000.0
L_PER_CUBIC_FOOT = M_PER_FOOT**3 * 1000.0
M_PER_MILE = 1609.344
KPA_PER_PSI = 6.894757293168361
LATENT_MM_PER_MJ = 0.408  # FAO-56, Eq. 20: depth of water evaporated by 1 MJ/m2
_L_PER_UNIT = {
    "l": 1.0,
    "m3": 1000.0,
    "gal": L_PER_GALLON,
    "kgal": 1000.0 * L_PER_GALLON,
    "ccf": 100.0 * L_PER_CUBIC_FOOT,
}
VOLUME_UNITS = tuple(_L_PER_UNIT)


class UnknownUnit(ValueError):
    """A unit that the table does not hold; it is never guessed."""


def fahrenheit_to_c(temperature_f: Number) -> Number:
    """Temperature [C] of one given in Fahrenheit [F]."""
    return (temperature_f - 32.0) / 1.8


def c_to_fahrenheit(temperature_c: Number) -> Number:
    """Temperature [F] of one given in Celsius [C]."""
    return temperature_c * 1.8 + 32.0


def kelvin_to_fahrenheit_degrees(difference_k: Number) -> Number:
    """Difference of temperatures [F] of one given in kelvin [K]: a degree is smaller, and zero stays zero."""
    return difference_k * 1.8


def inches_to_mm(depth_in: Number) -> Number:
    """Depth [mm] of one given in inches [in]."""
    return depth_in * MM_PER_INCH


def mm_to_inches(depth_mm: Number) -> Number:
    """Depth [in] of one given in millimetres [mm]."""
    return depth_mm / MM_PER_INCH


def feet_to_m(length_ft: Number) -> Number:
    """Length [m] of one given in feet [ft]."""
    return length_ft * M_PER_FOOT


def m_to_feet(length_m: Number) -> Number:
    """Length [ft] of one given in metres [m]."""
    return length_m / M_PER_FOOT


def square_feet_to_m2(area_ft2: Number) -> Number:
    """Area [m2] of one given in square feet [ft2]."""
    return area_ft2 * M2_PER_SQUARE_FOOT


def m2_to_square_feet(area_m2: Number) -> Number:
    """Area [ft2] of one given in square metres [m2]."""
    return area_m2 / M2_PER_SQUARE_FOOT


def km_to_miles(length_km: Number) -> Number:
    """Length [mi] of one given in kilometres [km]."""
    return length_km / (M_PER_MILE / 1000.0)


def mph_to_m_s(speed_mph: Number) -> Number:
    """Speed [m/s] of one given in miles an hour [mi/h]."""
    return speed_mph * (M_PER_MILE / 3600.0)


def m_s_to_mph(speed_m_s: Number) -> Number:
    """Speed [mi/h] of one given in metres a second [m/s]."""
    return speed_m_s / (M_PER_MILE / 3600.0)


def km_h_to_m_s(speed_km_h: Number) -> Number:
    """Speed [m/s] of one given in kilometres an hour [km/h]."""
    return speed_km_h / 3.6


def knots_to_m_s(speed_kn: Number) -> Number:
    """Speed [m/s] of one given in knots [kn]."""
    return speed_kn * (1852.0 / 3600.0)


def l_to_gallons(volume_l: Number) -> Number:
    """Volume [gal] of one given in litres [L]."""
    return volume_l / L_PER_GALLON


def gallons_min_to_l_min(flow_gal_min: Number) -> Number:
    """Flow [L/min] of one given in US gallons a minute [gal/min]."""
    return flow_gal_min * L_PER_GALLON


def l_min_to_gallons_min(flow_l_min: Number) -> Number:
    """Flow [gal/min] of one given in litres a minute [L/min]."""
    return flow_l_min / L_PER_GALLON


def psi_to_kpa(pressure_psi: Number) -> Number:
    """Pressure [kPa] of one given in pounds-force a square inch [psi]."""
    return pressure_psi * KPA_PER_PSI


def kpa_to_psi(pressure_kpa: Number) -> Number:
    """Pressure [psi] of one given in kilopascals [kPa]."""
    return pressure_kpa / KPA_PER_PSI


def litres_per_unit(unit: str) -> float:
    """Litres [L] in one of a water bill's or meter's units (`l`, `m3`, `gal`, `kgal`, `ccf`).

    Raises
    ------
    UnknownUnit
        Where the unit is none of these.
    """
    try:
        return _L_PER_UNIT[unit.strip().lower()]
    except KeyError:
        raise UnknownUnit(f"unit {unit!r} is not one of {', '.join(VOLUME_UNITS)}") from None
