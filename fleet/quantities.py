"""Quantities as a reader wants them: metric or US customary, each with its unit and sensible decimals."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from weather.calc import units

Convert = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: unit and decimals in both systems, and the way from SI to US customary."""

    unit: str
    digits: int
    us_unit: str
    us_digits: int
    to_us: Convert


KINDS: Final[dict[str, Kind]] = {
    "depth": Kind("mm", 1, "in", 2, units.mm_to_inches),  # [mm]
    "depth_whole": Kind("mm", 0, "in", 1, units.mm_to_inches),  # [mm]
    "rate": Kind("mm/h", 0, "in/h", 2, units.mm_to_inches),  # [mm/h]
    "daily": Kind("mm/day", 1, "in/day", 2, units.mm_to_inches),  # [mm/d]
    "area": Kind("m²", 0, "ft²", 0, units.m2_to_square_feet),  # [m2]
    "length": Kind("m", 1, "ft", 0, units.m_to_feet),  # [m]
    "distance": Kind("km", 0, "mi", 0, units.km_to_miles),  # [km]
    "temperature": Kind("°C", 0, "°F", 0, units.c_to_fahrenheit),  # [C]
    "degrees": Kind("°C", 1, "°F", 1, units.kelvin_to_fahrenheit_degrees),  # [K]: a difference or a spread
    "speed": Kind("m/s", 1, "mph", 1, units.m_s_to_mph),  # [m/s]
    "litres": Kind("L", 0, "gal", 0, units.l_to_gallons),  # [L]
    "volume": Kind("m³", 0, "kgal", 1, units.l_to_gallons),  # [m3]: 1000 L and 1000 gal
    "flow": Kind("L/min", 1, "gal/min", 1, units.l_min_to_gallons_min),  # [L/min]
    "pressure": Kind("kPa", 0, "psi", 0, units.kpa_to_psi),  # [kPa]: of water in pipes
}
# What a reader types in US customary units, on its way to SI.
FROM_US: Final[dict[str, Convert]] = {
    "depth": units.inches_to_mm,
    "depth_whole": units.inches_to_mm,
    "area": units.square_feet_to_m2,
    "length": units.feet_to_m,
    "speed": units.mph_to_m_s,
    "flow": units.gallons_min_to_l_min,
    "rate": units.inches_to_mm,
    "pressure": units.psi_to_kpa,
    "temperature": units.fahrenheit_to_c,
}


def unit_of(kind: str, *, is_us: bool) -> str:
    """Return the unit that the reader sees for a kind of quantity."""
    return KINDS[kind].us_unit if is_us else KINDS[kind].unit


def digits_of(kind: str, *, is_us: bool) -> int:
    """Return how many decimals a kind of quantity is shown with."""
    return KINDS[kind].us_digits if is_us else KINDS[kind].digits


def shown(value: float, kind: str, *, is_us: bool) -> float:
    """Return an SI value in the reader's units."""
    return KINDS[kind].to_us(value) if is_us else value


def entered(value: float, kind: str, *, is_us: bool) -> float:
    """Return in SI what a reader typed in the own units."""
    return FROM_US[kind](value) if is_us else value


def worded(value: float, kind: str, *, is_us: bool) -> str:
    """Return an SI value as it stands in a sentence: in the reader's units, with its unit."""
    number = shown(value, kind, is_us=is_us)
    return f"{number:.{digits_of(kind, is_us=is_us)}f} {unit_of(kind, is_us=is_us)}"


# Quantities as sentences that are kept in the book have them: sign, number, unit.
_SPOKEN: Final = re.compile(r"(-?\d[\d,]*(?:\.\d+)?) ?(m2|m²|m3|m³|mm|km|degC|°C|L/min|L)(?![\w²³/]|2 )")
_SIGNS: Final = {"degC": "°C", "m3": "m³", "m2": "m²"}
_PLAIN: Final = re.compile(r"(?<=\d )(?:degC|m3|m2)(?!\w)")


def told(text: str, *, is_us: bool) -> str:
    """Return a sentence that the program wrote into the book, with its quantities as the reader wants them.

    The book keeps them metric. What a person wrote is not for this: it stays as it was written.
    """
    return in_us_words(text) if is_us else _PLAIN.sub(lambda found: _SIGNS[found[0]], text)


def in_us_words(text: str) -> str:
    """Return a sentence of the book with its metric quantities in US customary units."""
    return _SPOKEN.sub(_us_words, text)


def _us_words(found: re.Match[str]) -> str:
    """One quantity in US customary units."""
    value, unit = float(found[1].replace(",", "")), found[2]
    if unit in ("degC", "°C"):
        return worded(value, "temperature", is_us=True)
    if unit == "mm":
        return worded(value, "depth", is_us=True)
    if unit == "km":
        return worded(value, "distance", is_us=True)
    if unit in ("m2", "m²"):
        return worded(value, "area", is_us=True)
    if unit == "L/min":
        return worded(value, "flow", is_us=True)
    if unit == "L":
        return worded(value, "litres", is_us=True)
    return f"{units.l_to_gallons(value * 1000):,.0f} gal"
