"""Which visits a week takes by value alone, before and after a change of prices."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

BoolArray = npt.NDArray[np.bool_]
FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class OrderChange:
    """What the order by value would take in and leave out.

    Parameters
    ----------
    comes_in, drops_out
        Which visits, shape (visits,).
    """

    comes_in: BoolArray
    drops_out: BoolArray


def taken_by_value(value: FloatArray, minutes: FloatArray, is_held: BoolArray, room_min: float) -> BoolArray:
    """Visits that fit a span of work, held ones first, then by value per minute; shape (visits,) [-].

    A visit that does not fit any more is left out and the next is tried, as a knapsack is filled greedily
    (Dantzig 1957).

    Parameters
    ----------
    value
        Value of going this week, shape (visits,) [money].
    minutes
        Time on the spot, shape (visits,) [min].
    is_held
        Told or locked visits: taken whatever they are worth, shape (visits,) [-].
    room_min
        Time on the spot that the week has [min].
    """
    taken = is_held.copy()
    left = room_min - float(minutes[is_held].sum())
    rate = value / np.maximum(minutes, 1.0)
    for number in np.lexsort((np.arange(len(value)), -rate)):
        if not taken[number] and minutes[number] <= left + 1e-9 and value[number] > 0:
            taken[number] = True
            left -= float(minutes[number])
    return taken


def order_change(
    before: FloatArray,
    after: FloatArray,
    minutes_before: FloatArray,
    minutes_after: FloatArray,
    is_held: BoolArray,
    room_min: float,
) -> OrderChange:
    """What would come in and drop out by value alone.

    Parameters
    ----------
    before, after
        Value of going this week by the prices in force and by those tried, shape (visits,) [money].
    minutes_before, minutes_after
        Time on the spot by both, shape (visits,) [min].
    is_held
        Told or locked visits, shape (visits,) [-].
    room_min
        Time on the spot that the week has [min].
    """
    old = taken_by_value(before, minutes_before, is_held, room_min)
    new = taken_by_value(after, minutes_after, is_held, room_min)
    return OrderChange(comes_in=new & ~old, drops_out=old & ~new)
