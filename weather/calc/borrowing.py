"""What neighbours lend: single variables brought to the borrower's own level, and rain as it fell."""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import Final

import numpy as np

from weather.calc.arrays import BoolArray, FloatArray, IntArray
from weather.calc.neighbours import Neighbours
from weather.calc.trailing import days_since, trailing_mean

USUAL_GAP_D: Final = 3  # days in a row that a neighbour may lend before the spread widens
LAPSE_C_PER_M: Final = -0.0065  # standard atmosphere; used until the two have days in common
_LEVEL_WINDOW_D: Final = 60
_LEVEL_LEAST: Final = 10
_RATIO_RANGE: Final = (0.5, 2.0)
_NEAREST_WEIGHED_KM: Final = 1.0
_DRY_WINDOW_D: Final = 30
_DRY_LEAST: Final = 25
_WET_NEIGHBOUR_MM_D: Final = 25.0 / _DRY_WINDOW_D  # 25 mm in the month


class Borrowed(enum.Enum):
    """How a variable changes from one place to the next."""

    TEMPERATURE = "difference"
    RATIO = "ratio"


@dataclass(frozen=True, slots=True)
class Lent:
    """One variable with what neighbours lent. All arrays are (days, locations).

    Parameters
    ----------
    values
        Values, NaN where nobody knew [their unit].
    is_lent
        True where neighbours lent [1].
    is_long
        True beyond the third day in a row that they did [1].
    distance_km
        Way to the lenders, weighed as their values are; 0 where nobody lent [km].
    lender_spread
        Largest spread of the lenders' own values [unit of the values]; 0 where nobody lent.
    """

    values: FloatArray
    is_lent: BoolArray
    is_long: BoolArray
    distance_km: FloatArray
    lender_spread: FloatArray


def borrow(values: FloatArray, spreads: FloatArray, near: Neighbours, kind: Borrowed) -> Lent:
    """Values with unknown ones taken from neighbours, and what their spread rests on.

    Parameters
    ----------
    values
        One variable, NaN = unknown [its unit], shape (days, locations).
    spreads
        Standard deviations of the known ones [its unit], same shape.
    near
        Neighbours of the locations [as named].
    kind
        Whether the level between two places is a difference or a ratio [1]. It is learned from the last 60
        days that both measured; until 10 are known, the standard lapse of temperature, or 1, stands in.

    Returns
    -------
    Lent
        Values and what was lent [as named], (days, locations).
    """
    columns = np.flatnonzero(np.isnan(values).any(axis=0) & (near.columns[:, 0] >= 0))
    filled, never, nothing = values.copy(), np.zeros(values.shape, dtype=np.bool_), np.zeros(values.shape)
    given = Lent(filled, never, never.copy(), nothing, nothing.copy())
    if columns.size == 0:
        return given
    own = values[:, columns]
    total, weights, way, worst = (np.zeros(own.shape) for _ in range(4))
    for slot in range(near.columns.shape[1]):
        lender = near.columns[columns, slot]
        lent = np.where(lender >= 0, values[:, np.maximum(lender, 0)], np.nan)
        lent = _brought_over(own, lent, kind, near.rise_m[columns, slot])
        known, distance = np.isfinite(lent), near.distance_km[columns, slot]
        share = np.where(known, 1.0 / np.maximum(distance, _NEAREST_WEIGHED_KM) ** 2, 0.0)
        total += np.where(known, lent, 0.0) * share
        weights += share
        way += np.where(known, distance, 0.0) * share
        worst = np.where(known, np.fmax(worst, spreads[:, np.maximum(lender, 0)]), worst)
    missing = np.isnan(own)
    taken, weights = missing & (weights > 0.0), np.where(weights > 0.0, weights, 1.0)
    filled[:, columns] = np.where(taken, total / weights, own)
    given.is_lent[:, columns] = taken
    given.is_long[:, columns] = taken & (days_since(~missing) > USUAL_GAP_D)
    given.distance_km[:, columns] = np.where(taken, way / weights, 0.0)
    given.lender_spread[:, columns] = np.where(taken, worst, 0.0)
    return given


def _brought_over(own: FloatArray, lent: FloatArray, kind: Borrowed, rise_m: FloatArray) -> FloatArray:
    """Lent values at the borrower's level."""
    both = np.isfinite(own) & np.isfinite(lent)
    mine = trailing_mean(np.where(both, own, np.nan), _LEVEL_WINDOW_D, _LEVEL_LEAST)
    theirs = trailing_mean(np.where(both, lent, np.nan), _LEVEL_WINDOW_D, _LEVEL_LEAST)
    if kind is Borrowed.TEMPERATURE:
        return lent + np.where(np.isnan(mine), LAPSE_C_PER_M * rise_m, mine - theirs)
    ratio = np.clip(mine / np.where(theirs > 0.0, theirs, np.nan), *_RATIO_RANGE)
    return lent * np.where(np.isnan(ratio), 1.0, ratio)


@dataclass(frozen=True, slots=True)
class LentRain:
    """Rain with what gauges nearby lent. All arrays are (days, locations).

    Parameters
    ----------
    values
        Rain [mm/d], NaN where no gauge knew.
    distance_km
        Way to the gauge that lent it, 0 where it is the own [km].
    lender
        Column of the lender, or the own [1].
    is_borrowed
        True where it was lent [1].
    """

    values: FloatArray
    distance_km: FloatArray
    lender: IntArray
    is_borrowed: BoolArray

    def take(self, table: BoolArray) -> BoolArray:
        """Values of a table (days, locations) at each day's lender [1]."""
        return np.take_along_axis(table, self.lender, axis=1)


def borrow_rain(rain_mm: FloatArray, near: Neighbours, within_km: float) -> LentRain:
    """Rain with unknown days taken from the nearest gauge that knows, never from other days or years.

    Parameters
    ----------
    rain_mm
        Measured rain, NaN = unknown [mm/d], shape (days, locations).
    near
        Neighbours of the locations, nearest first [as named].
    within_km
        Farthest gauge that may lend [km].

    Returns
    -------
    LentRain
        Rain [mm/d] and whose it is, shape (days, locations).
    """
    values = rain_mm.copy()
    distance = np.zeros(values.shape)
    lender = np.broadcast_to(np.arange(values.shape[1]), values.shape).copy()
    borrowed = np.zeros(values.shape, dtype=np.bool_)
    for slot in range(near.columns.shape[1]):
        close = (near.columns[:, slot] >= 0) & (near.distance_km[:, slot] <= within_km)
        columns = np.flatnonzero(np.isnan(values).any(axis=0) & close)
        if columns.size == 0:
            continue
        theirs = near.columns[columns, slot]
        lent = rain_mm[:, theirs]
        rows, picked = np.nonzero(np.isnan(values[:, columns]) & np.isfinite(lent))
        where = (rows, columns[picked])
        values[where] = lent[rows, picked]
        distance[where] = near.distance_km[columns[picked], slot]
        lender[where] = theirs[picked]
        borrowed[where] = True
    return LentRain(values, distance, lender, borrowed)


def is_gauge_dry(rain_mm: FloatArray, near: Neighbours) -> BoolArray:
    """True where a gauge stood dry for a month in which its neighbours had at least 25 mm.

    Parameters
    ----------
    rain_mm
        Measured rain, NaN = unknown [mm/d], shape (days, locations).
    near
        Neighbours of the locations [as named].

    Returns
    -------
    BoolArray
        Marks of the day that ends such a month [1], shape (days, locations). A clogged gauge shows as zeros
        while the neighbours are wet (common practice, no source for the numbers).
    """
    monthly = trailing_mean(rain_mm, _DRY_WINDOW_D, _DRY_LEAST)
    total, known = np.zeros(monthly.shape), np.zeros(monthly.shape)
    for slot in range(near.columns.shape[1]):
        lender = near.columns[:, slot]
        lent = np.where(lender >= 0, monthly[:, np.maximum(lender, 0)], np.nan)
        total += np.where(np.isfinite(lent), lent, 0.0)
        known += np.isfinite(lent)
    around = np.where(known > 0, total / np.maximum(known, 1.0), np.nan)
    return np.asarray((monthly == 0.0) & (around >= _WET_NEIGHBOUR_MM_D))
