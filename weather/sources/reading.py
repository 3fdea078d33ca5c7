"""Careful reading of answers: whatever is not as agreed raises `SourceChanged` with the path to it."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from datetime import date
from typing import Final

from weather.calc.new_days import RAW, WIND_HEIGHT_M, NewDay, NewPlace
from weather.sources.protocol import SourceChanged

# Beyond these a value is in another unit than agreed, whatever the answer says of it.
BOUNDS: Final[dict[str, tuple[float, float]]] = {
    "tmin_c": (-90.0, 60.0),
    "tmax_c": (-90.0, 60.0),
    "tdew_c": (-100.0, 45.0),
    "rh_min_pct": (0.0, 110.0),
    "rh_max_pct": (0.0, 110.0),
    "wind_m_s": (0.0, 60.0),
    "solar_mj_m2": (0.0, 60.0),
    "rain_mm": (0.0, 2000.0),
}


def mapping_at(value: object, *path: str) -> Mapping[str, object]:
    """Return the object under a path of keys."""
    for step, key in enumerate(path):
        value = value.get(key) if isinstance(value, dict) else None
        if value is None:
            raise SourceChanged(f"the answer has no {'.'.join(path[: step + 1])}")
    if not isinstance(value, dict):
        raise SourceChanged(f"{'.'.join(path) or 'the answer'} is no object")
    return value


def list_at(value: object, *path: str) -> Sequence[object]:
    """Return the list under a path of keys."""
    parent = mapping_at(value, *path[:-1])
    found = parent.get(path[-1])
    if not isinstance(found, list):
        raise SourceChanged(f"the answer has no list {'.'.join(path)}")
    return found


def text_at(value: object, *path: str) -> str:
    """Return the text under a path of keys."""
    found = mapping_at(value, *path[:-1]).get(path[-1])
    if not isinstance(found, str):
        raise SourceChanged(f"the answer has no text {'.'.join(path)}")
    return found


def number_or_none(value: object, *, fill: float | None = None) -> float | None:
    """Return a number; None for null, NaN and the service's fill value."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise SourceChanged(f"{value!r:.40} stands where a number was agreed")
    number = float(value)
    if not math.isfinite(number) or (fill is not None and math.isclose(number, fill)):
        return None
    return number


def days_left_out(days: Collection[date]) -> int:
    """Return how many days lack between the first and the newest one told."""
    return (max(days) - min(days)).days + 1 - len(days) if days else 0


def day_of(
    place: NewPlace, day: date, kind: str, issued: date, values: Mapping[str, float | None]
) -> NewDay | None:
    """Return a day, or None where it holds no value at all; a value out of this world raises."""
    for name, value in values.items():
        if value is None or name not in BOUNDS:
            continue
        low, high = BOUNDS[name]
        if not low <= value <= high:
            raise SourceChanged(f"{name} of {day} is {value:g}: not in the unit agreed")
    if all(values.get(name) is None for name in BOUNDS):
        return None
    known = {**values, "wind_height_m": values.get("wind_height_m") or WIND_HEIGHT_M}
    return NewDay(place, day, kind, issued, tuple(known.get(name) for name in RAW))
