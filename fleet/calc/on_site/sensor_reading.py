"""What a reading at a granular matrix sensor says: first which class it falls in, then, if any, the tension.

Two published fits turn resistance into soil water tension; they differ by about 5 kPa at 10 to 20 kPa and
more when dry, so a number always comes with the name of its method. The stored truth is the raw resistance
and the soil temperature. A reading outside the range of a fit is told as "wetter than" or "drier than",
never extrapolated: the denominators reach zero. Readings need an instrument that excites with alternating
current; a direct-current meter polarises the sensor.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Fit(StrEnum):
    """Published fits of tension to resistance and temperature."""

    SHOCK_1998 = "shock_1998"
    THOMPSON_ARMSTRONG_1987 = "thompson_armstrong_1987"


class ReadingClass(StrEnum):
    """What a resistance points to before any conversion."""

    SHORTED = "shorted"
    SATURATED = "saturated"
    WORKING = "working"
    LOST_CONTACT = "lost_contact"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class ReadingBands:
    """Limits between the classes of reading, from memory; each is a setting.

    Parameters
    ----------
    shorted_below_kohm, saturated_below_kohm, working_below_kohm, lost_contact_below_kohm
        Upper limits of the first four classes; above the last the circuit is open [kohm].
    """

    shorted_below_kohm: float = 0.1
    saturated_below_kohm: float = 0.5
    working_below_kohm: float = 30.0
    lost_contact_below_kohm: float = 100.0

    def __post_init__(self) -> None:
        """Reject limits out of order."""
        limits = (
            self.shorted_below_kohm,
            self.saturated_below_kohm,
            self.working_below_kohm,
            self.lost_contact_below_kohm,
        )
        if limits[0] <= 0.0 or list(limits) != sorted(set(limits)):
            raise ValueError("limits of the classes must rise and be above 0 kohm")


@dataclass(frozen=True, slots=True)
class TensionReading:
    """A reading with its class and, where a fit holds, its tension.

    Parameters
    ----------
    reading_class
        What the resistance points to.
    fit
        Method that made the number.
    tension_kpa
        Tension, None where the reading is outside the fit's range or no working reading [kPa].
    bound_kpa
        Tension at the edge of the fit's range where the reading lies beyond it, else None [kPa].
    words
        The result in words, with the method.
    """

    reading_class: ReadingClass
    fit: Fit
    tension_kpa: float | None
    bound_kpa: float | None
    words: str


_SHOCK: Final = (4.093, 3.213, 0.009733, 0.01205)
SHOCK_RANGE_KOHM: Final = (1.0, 8.0)
THOMPSON_ARMSTRONG_RANGE_KPA: Final = (10.0, 100.0)
FIT_WORDS: Final = {
    Fit.SHOCK_1998: "Shock and others 1998",
    Fit.THOMPSON_ARMSTRONG_1987: "Thompson and Armstrong 1987",
}


def classify_reading(resistance_kohm: float | None, bands: ReadingBands) -> ReadingClass:
    """Class of a reading; no reading at all is an open circuit.

    Parameters
    ----------
    resistance_kohm
        Resistance, None where the instrument gives none [kohm].
    bands
        Limits of the classes.
    """
    if resistance_kohm is None or resistance_kohm >= bands.lost_contact_below_kohm:
        return ReadingClass.OPEN
    if resistance_kohm < 0.0:
        raise ValueError("a resistance cannot be negative")
    if resistance_kohm < bands.shorted_below_kohm:
        return ReadingClass.SHORTED
    if resistance_kohm < bands.saturated_below_kohm:
        return ReadingClass.SATURATED
    if resistance_kohm < bands.working_below_kohm:
        return ReadingClass.WORKING
    return ReadingClass.LOST_CONTACT


def shock_tension_kpa(resistance_kohm: float, soil_temperature_c: float) -> float:
    """Tension by Shock, Barnum and Seddigh 1998 (Proc. Int. Irrigation Show, pp. 139-146) [kPa].

    Parameters
    ----------
    resistance_kohm
        Resistance, used from 1 to 8 [kohm].
    soil_temperature_c
        Soil temperature at the sensor [degC].
    """
    a, b, c, d = _SHOCK
    return (a + b * resistance_kohm) / (1.0 - c * resistance_kohm - d * soil_temperature_c)


def thompson_armstrong_tension_kpa(resistance_kohm: float, soil_temperature_c: float) -> float:
    """Tension by Thompson and Armstrong 1987 (Appl. Eng. Agric. 3(2):186-189) [kPa].

    Parameters
    ----------
    resistance_kohm
        Resistance [kohm].
    soil_temperature_c
        Soil temperature at the sensor [degC].
    """
    at_temperature = 1.062 * (34.21 - soil_temperature_c + 0.01060 * soil_temperature_c**2)
    return resistance_kohm / (0.01306 * (at_temperature - resistance_kohm))


def tension_reading(
    resistance_kohm: float | None, soil_temperature_c: float, fit: Fit, bands: ReadingBands
) -> TensionReading:
    """Class of a reading, and its tension where the fit holds [kPa].

    Parameters
    ----------
    resistance_kohm
        Resistance, None where the instrument gives none [kohm].
    soil_temperature_c
        Soil temperature; a mean of the last week's air temperature beats a constant [degC].
    fit
        Published fit to use.
    bands
        Limits of the classes.
    """
    found = classify_reading(resistance_kohm, bands)
    method = FIT_WORDS[fit]
    if found is not ReadingClass.WORKING or resistance_kohm is None:
        return TensionReading(found, fit, None, None, _CLASS_WORDS[found])
    if fit is Fit.SHOCK_1998:
        low, high = SHOCK_RANGE_KOHM
        low_kpa = shock_tension_kpa(low, soil_temperature_c)
        high_kpa = shock_tension_kpa(high, soil_temperature_c)
        value = shock_tension_kpa(min(max(resistance_kohm, low), high), soil_temperature_c)
        wetter, drier = resistance_kohm < low, resistance_kohm > high
    else:
        low_kpa, high_kpa = THOMPSON_ARMSTRONG_RANGE_KPA
        value = thompson_armstrong_tension_kpa(resistance_kohm, soil_temperature_c)
        drier = value < 0.0 or value > high_kpa
        wetter = 0.0 <= value < low_kpa
    if wetter:
        return TensionReading(found, fit, None, low_kpa, f"wetter than {low_kpa:.0f} kPa ({method})")
    if drier:
        return TensionReading(found, fit, None, high_kpa, f"drier than {high_kpa:.0f} kPa ({method})")
    return TensionReading(found, fit, value, None, f"{value:.0f} kPa ({method})")


def shock_resistance_kohm(tension_kpa: float, soil_temperature_c: float) -> float:
    """Resistance at which the fit of Shock, Barnum and Seddigh 1998 gives a tension: its inverse [kohm].

    Parameters
    ----------
    tension_kpa
        Soil water tension [kPa].
    soil_temperature_c
        Soil temperature at the sensor [degC].
    """
    a, b, c, d = _SHOCK
    return (tension_kpa * (1.0 - d * soil_temperature_c) - a) / (b + c * tension_kpa)


def shock_coefficients() -> tuple[float, float, float, float]:
    """Coefficients a, b, c, d of (a + b R) / (1 - c R - d T), for a page that reads without network [-]."""
    return _SHOCK


def resistance_to_expect(tension_kpa: float, soil_temperature_c: float) -> str:
    """What a good sensor reads at a tension, in words, bounded where the fit does not hold [kohm].

    Parameters
    ----------
    tension_kpa
        Soil water tension [kPa].
    soil_temperature_c
        Soil temperature at the sensor [degC].
    """
    low, high = SHOCK_RANGE_KOHM
    value = shock_resistance_kohm(tension_kpa, soil_temperature_c)
    if value < low:
        return f"below {low:g} kohm"
    if value > high:
        return f"above {high:g} kohm"
    return f"about {value:.1f} kohm"


_CLASS_WORDS: Final = {
    ReadingClass.SHORTED: "wires touching, crushed cable or flooded splice: read as wet",
    ReadingClass.SATURATED: "saturated, standing water or a leaking splice",
    ReadingClass.WORKING: "working range",
    ReadingClass.LOST_CONTACT: "lost soil contact, or a dry spot",
    ReadingClass.OPEN: "cut wire or failed splice: read as dry, never blocks",
}


def reading_words(resistance_kohm: float, soil_temperature_c: float | None) -> str:
    """What a technician's reading says, with its method; as its text says [-].

    Parameters
    ----------
    resistance_kohm
        Resistance [kohm].
    soil_temperature_c
        Soil temperature; None: not measured, then no tension is told [degC].
    """
    bands = ReadingBands()
    if soil_temperature_c is None:
        found = classify_reading(resistance_kohm, bands)
        missing = "; no soil temperature, so no tension" if found is ReadingClass.WORKING else ""
        return f"{resistance_kohm:g} kohm: {_CLASS_WORDS[found]}{missing}"
    reading = tension_reading(resistance_kohm, soil_temperature_c, Fit.SHOCK_1998, bands)
    return f"{resistance_kohm:g} kohm at {soil_temperature_c:g} degC: {reading.words}"
