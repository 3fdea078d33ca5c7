"""Flags, programs and sensors by site and month: what may explain a month's use."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

import numpy as np

from fleet.calc.ledger.reasons import MonthMarks, season_has_turned
from fleet.models import Flag, MeterLeak
from fleet.selectors.ledger.inputs import LedgerBook
from sites.models import Recommendation
from weather.calc.arrays import BoolArray, FloatArray

_OPEN = ("recommended", "accepted")


def month_marks(
    *,
    book: LedgerBook,
    months: Sequence[tuple[date, date]],
    ratio: FloatArray,
    need_l: FloatArray,
    need_good_l: FloatArray,
) -> MonthMarks:
    """Marks of all sites and months.

    Parameters
    ----------
    book
        Sites and their use.
    months
        First day and the day after the last of each month, in order.
    ratio, need_l, need_good_l
        Used over need, need, and need at a good uniformity [L], (sites, months).
    """
    shape = ratio.shape
    index = {int(pk): place for place, pk in enumerate(book.site_ids)}
    edges = np.array([months[0][0], *[span[1] for span in months]], dtype="datetime64[D]")
    cause: np.ndarray[tuple[int, int], np.dtype[np.object_]] = np.full(shape, "", dtype=np.object_)
    flags = Flag.objects.order_by("raised_on").values_list(
        "controller__site_id", "cause", "since", "raised_on", "closed_on"
    )
    for pk, word, since, raised, closed in flags:
        first, last = _columns(edges, since or raised, closed)
        cause[index[pk], first:last] = word
    unkeyed, bound = np.zeros(shape, dtype=np.bool_), np.zeros(shape, dtype=np.bool_)
    advised = Recommendation.objects.order_by().values_list(
        "controller__site_id", "week", "status", "is_change", "binding_limit"
    )
    _mark_programs(advised, index, edges, unkeyed, bound)
    of_house = np.zeros(shape[0], dtype=np.bool_)
    of_house[book.use.periods.site[book.use.periods.is_whole_house]] = True
    here = book.sensor_on[:, None] < edges[None, 1:]
    calendar = np.array([span[0].month - 1 for span in months], dtype=np.int64)
    return MonthMarks(
        ratio=ratio,
        need_l=need_l,
        is_own_meter=~of_house,
        flag_cause=cause,
        is_unkeyed=unkeyed,
        is_bound_by_rules=bound,
        has_sensor=here,
        falls=season_has_turned(need_l, calendar),
        is_leaking=_leaking(shape, index, edges),
        unevenness=np.divide(need_l, need_good_l, out=np.full(shape, np.nan), where=need_good_l > 0),
    )


def _leaking(
    shape: tuple[int, int], index: dict[int, int], edges: np.ndarray[tuple[int], np.dtype[np.datetime64]]
) -> BoolArray:
    """Months of gardens in which a meter never stood still."""
    leaking = np.zeros(shape, dtype=np.bool_)
    rows = MeterLeak.objects.order_by().values_list("meter__site_id", "since", "until")
    for pk, since, until in rows:
        first, last = _columns(edges, since, until)
        leaking[index[pk], first:last] = True
    return leaking


def _columns(
    edges: np.ndarray[tuple[int], np.dtype[np.datetime64]], first: date, last: date | None
) -> tuple[int, int]:
    """Columns of months that a stretch of days touches."""
    low = int(np.searchsorted(edges, np.datetime64(first), side="right")) - 1
    high = edges.size - 1 if last is None else int(np.searchsorted(edges, np.datetime64(last), side="left"))
    return max(low, 0), max(min(high, edges.size - 1), 0)


def _mark_programs(
    advised: Iterable[tuple[int, date, str, bool, str]],
    index: dict[int, int],
    edges: np.ndarray[tuple[int], np.dtype[np.datetime64]],
    unkeyed: BoolArray,
    bound: BoolArray,
) -> None:
    """Set the marks of the months of each recommendation."""
    for pk, week, status, is_change, limit in advised:
        month = int(np.searchsorted(edges, np.datetime64(week), side="right")) - 1
        if 0 <= month < edges.size - 1:
            unkeyed[index[pk], month] |= is_change and status in _OPEN
            bound[index[pk], month] |= bool(limit)
