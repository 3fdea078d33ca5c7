"""Units and ways of writing that a column of somebody's file may come in, and how each becomes the book's."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Final

from weather.calc.units import (
    fahrenheit_to_c,
    feet_to_m,
    gallons_min_to_l_min,
    inches_to_mm,
    km_h_to_m_s,
    knots_to_m_s,
    mph_to_m_s,
    psi_to_kpa,
    square_feet_to_m2,
)

Exchange = Callable[[float], float]


def _same(value: float) -> float:
    return value


def _times(factor: float) -> Exchange:
    return lambda value: value * factor


_DEPTH: Final[dict[str, Exchange]] = {"mm": _same, "cm": _times(10.0), "in": inches_to_mm}
_SPEED: Final[dict[str, Exchange]] = {
    "m/s": _same, "km/h": km_h_to_m_s, "mph": mph_to_m_s, "kn": knots_to_m_s,
}  # fmt: skip
_LENGTH: Final[dict[str, Exchange]] = {"m": _same, "ft": feet_to_m}
_WARMTH: Final[dict[str, Exchange]] = {"°C": _same, "°F": fahrenheit_to_c}
_SHARE: Final[dict[str, Exchange]] = {"0 to 1": _same, "%": _times(0.01)}
_FLOW: Final[dict[str, Exchange]] = {
    "L/min": _same, "gal/min": gallons_min_to_l_min, "m3/h": _times(1000 / 60), "L/h": _times(1 / 60),
}  # fmt: skip
_MINUTES: Final[dict[str, Exchange]] = {"min": _same, "h": _times(60.0), "s": _times(1 / 60)}

UNITS: Final[dict[str, dict[str, Exchange]]] = {
    "area_m2": {"m2": _same, "ft2": square_feet_to_m2},
    "precipitation_rate_mm_h": {"mm/h": _same, "in/h": inches_to_mm},
    "flow_l_min": _FLOW,
    "flow_limit_l_min": _FLOW,
    "distribution_uniformity": _SHARE,
    "landscape_coefficient": _SHARE,
    "slope_pct": {"%": _same, "0 to 1": _times(100.0)},
    "root_depth_mm": _DEPTH,
    "depth_mm": _DEPTH,
    "threshold_kpa": {"kPa": _same, "cb": _same, "psi": psi_to_kpa},
    "max_run_min": _MINUTES,
    "run_min": _MINUTES,
    "service_min": _MINUTES,
    "break_min": _MINUTES,
    "tmin_c": _WARMTH,
    "tmax_c": _WARMTH,
    "tdew_c": _WARMTH,
    "rain_mm": _DEPTH,
    "wind_m_s": _SPEED,
    "wind_height_m": _LENGTH,
    "elevation_m": _LENGTH,
    "solar_mj_m2": {"MJ/m2": _same, "kWh/m2": _times(3.6)},
}  # fmt: skip
"""Units that a column may come in, the book's own first, and how a number of each becomes the book's."""

DATES: Final[dict[str, str]] = {
    "2026-06-14": "%Y-%m-%d",
    "14.06.2026": "%d.%m.%Y",
    "06/14/2026 (month first)": "%m/%d/%Y",
    "14/06/2026 (day first)": "%d/%m/%Y",
    "20260614": "%Y%m%d",
}
"""Ways to write the fourteenth of June, the book's own first."""

DATE_COLUMNS: Final = frozenset(
    {"planted_on", "installed_on", "date", "start", "end", "as_of", "from", "earliest", "latest", "issued"}
)
"""Columns of days; of those that may carry a time too, a cell with one is left as it is."""

_SIGNS: Final[dict[str, tuple[str, ...]]] = {
    "ft2": ("sqft", "ft2", "sf", "squarefeet"),
    "in/h": ("inh", "iph", "inhr"),
    "gal/min": ("gpm", "galmin"),
    "in": ("in", "inch", "inches"),
    "cm": ("cm",),
    "%": ("pct", "percent", "prozent"),
    "°F": ("f", "degf", "fahrenheit"),
    "ft": ("ft", "feet"),
    "mph": ("mph",),
    "km/h": ("kmh", "kph"),
    "kn": ("kn", "kt", "knots"),
    "h": ("h", "hours", "hrs"),
    "s": ("s", "sec", "seconds"),
}


def units_of(column: str) -> tuple[str, ...]:
    """Names of the units, or ways of writing, that a column may come in, the book's own first.

    Parameters
    ----------
    column
        A column of the book or of a table.
    """
    return tuple(DATES) if column in DATE_COLUMNS else tuple(UNITS.get(column, ()))


def unit_named(theirs: str, ours: str) -> str:
    """The unit that the name of a column tells, for a person to check; never by the size of its values.

    Parameters
    ----------
    theirs, ours
        The file's name of the column, and the book's.
    """
    may_be = units_of(ours)
    if not may_be:
        return ""
    words = "".join(sign if sign.isalnum() else " " for sign in theirs.lower()).split()
    joined = ["".join(words[at:]) for at in range(len(words))]
    for unit in may_be[1:]:
        if any(sign in (*words, *joined) for sign in _SIGNS.get(unit, ())):
            return unit
    return may_be[0]


def converted(cell: str, ours: str, unit: str, *, has_comma: bool = False) -> str:
    """A cell in the book's unit; what is no number or date of that kind stays for its column to refuse.

    Parameters
    ----------
    cell
        As the file writes it.
    ours
        The book's column.
    unit
        Unit of the file; empty: the book's own.
    has_comma
        Whether numbers have a decimal comma.
    """
    if ours in DATE_COLUMNS:
        return _day(cell, DATES.get(unit, ""))
    exchange = UNITS.get(ours, {}).get(unit, _same)
    plain = cell.replace(",", ".") if has_comma and cell.count(",") == 1 and "." not in cell else cell
    if exchange is _same:
        return plain if _is_number(plain) else cell
    try:
        return f"{exchange(float(plain)):.6g}"
    except ValueError:
        return cell


def _is_number(text: str) -> bool:
    """Whether a text is a number."""
    try:
        float(text)
    except ValueError:
        return False
    return True


def _day(cell: str, form: str) -> str:
    """A day as ISO 8601 writes it."""
    if not form or form == "%Y-%m-%d":
        return cell
    try:
        return datetime.strptime(cell.strip(), form).date().isoformat()  # noqa: DTZ007 (a day has no zone)
    except ValueError:
        return cell
