"""Days on which a whole street, or a whole supplier's book, stood still: no timer is blamed for those.

A ban week, a storm that cuts a street's power, a supplier's burst main: the starts of many controllers stop
together and come back together. Such days say nothing on one timer or its program, so the tests of causes
outside the sensor leave them out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.spatial import KDTree

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]
CountArray: TypeAlias = npt.NDArray[np.integer]

STREET_M = 300.0
"""Gardens within this distance share a street's power [m] (own judgement, no source)."""
_STREET_PEERS = 8
_FEWEST_IN_STREET, _STREET_SHARE = 2, 0.5
_FEWEST_AT_SUPPLIER, _SUPPLIER_SHARE = 5, 0.6
_FEWEST_AT_SMALL_SUPPLIER = 2  # with fewer than five others due, all of them must stand still
_WINDOW_DAYS = 1  # programs that water every second or third day are compared over the days around


@dataclass(frozen=True, slots=True)
class Peers:
    """Whom a controller may stand still with, all (sites,).

    Parameters
    ----------
    site
        Number of the garden: two timers on one wall are no street [1].
    supplier
        Number of the water supplier, -1 where none is known [1].
    x_m, y_m
        Place on a plane, NaN where unknown [m].
    """

    site: IntArray
    supplier: IntArray
    x_m: FloatArray
    y_m: FloatArray


def nobody(sites: int) -> Peers:
    """Controllers of which nothing is known that they could share.

    Parameters
    ----------
    sites
        Number of controllers [1].
    """
    unknown = np.full(sites, np.nan)
    return Peers(np.arange(sites), np.full(sites, -1, dtype=np.int64), unknown, unknown)


def common_standstill(
    scheduled: CountArray, skipped: CountArray, book_starts: CountArray, is_known: BoolArray, peers: Peers
) -> BoolArray:
    """Days on which a controller stood still together with its street or its supplier's book, (days, sites).

    Parameters
    ----------
    scheduled
        Starts scheduled by the log's daily rows, -1 on days without such a row, (days, sites) [1].
    skipped
        Starts skipped for any other cause than the sensor, (days, sites) [1].
    book_starts
        Starts by the program in the book, (days, sites) [1].
    is_known
        Whether a program was known on the day, (days, sites).
    peers
        Streets and suppliers.
    """
    logged = scheduled >= 0
    due = _around(logged & ((is_known & (book_starts > 0)) | (scheduled > 0)))
    still = due & ~_around(logged & (scheduled > skipped))
    if not still.any():
        return still
    return still & (_in_street(still, due, peers) | _at_supplier(still, due, peers.supplier))


def _around(days: BoolArray) -> BoolArray:
    """Whether a day or one beside it is marked, (days, sites)."""
    found = days.copy()
    for step in range(1, _WINDOW_DAYS + 1):
        found[step:] |= days[:-step]
        found[:-step] |= days[step:]
    return found


def _in_street(still: BoolArray, due: BoolArray, peers: Peers) -> BoolArray:
    """Whether enough of the nearest gardens stood still on the same day, (days, sites)."""
    result = np.zeros(still.shape, dtype=np.bool_)
    placed = np.flatnonzero(np.isfinite(peers.x_m) & np.isfinite(peers.y_m))
    asking = placed[still[:, placed].any(axis=0)]
    if placed.size < 2 or not asking.size:
        return result
    ground = np.column_stack([peers.x_m[placed], peers.y_m[placed]])
    tree = KDTree(ground)
    wanted = min(_STREET_PEERS + 3, placed.size)
    own = np.column_stack([peers.x_m[asking], peers.y_m[asking]])
    _, found = tree.query(own, k=np.arange(1, wanted + 1), distance_upper_bound=STREET_M)
    inside = found < placed.size
    others = placed[np.minimum(found, placed.size - 1)]
    inside &= peers.site[others] != peers.site[asking][:, None]
    inside &= np.cumsum(inside, axis=1) <= _STREET_PEERS
    silent = (still[:, others] & inside).sum(axis=2)
    asked = (due[:, others] & inside).sum(axis=2)
    result[:, asking] = (silent >= _FEWEST_IN_STREET) & (silent >= _STREET_SHARE * asked)
    return result


def _at_supplier(still: BoolArray, due: BoolArray, supplier: IntArray) -> BoolArray:
    """Whether most of a supplier's other controllers, or all of few, stood still that day, (days, sites)."""
    groups = int(supplier.max(initial=-1)) + 1
    result = np.zeros(still.shape, dtype=np.bool_)
    for group in range(groups):
        mine = np.flatnonzero(supplier == group)
        silent = still[:, mine].sum(axis=1)[:, None] - still[:, mine]
        asked = due[:, mine].sum(axis=1)[:, None] - due[:, mine]
        most = (silent >= _FEWEST_AT_SUPPLIER) & (silent >= _SUPPLIER_SHARE * asked)
        all_of_few = (asked >= _FEWEST_AT_SMALL_SUPPLIER) & (silent == asked)
        result[:, mine] = most | all_of_few
    return result
