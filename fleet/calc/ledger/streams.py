"""One stream of periods a garden, whatever told of its water: bills, registers, several meters.

Volumes without a meter's number (bills) tell of all meters of their kind together. Where a register was read
on the same days both tell of the same water: one of them counts, and never both. Meters of one kind whose
times do not meet follow one another, as when a register is exchanged under a new number.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from fleet.calc.ledger.bills import median_days
from fleet.calc.ledger.periods import (
    BILLS_DIFFER,
    FAR,
    METERS_READ_APART,
    MeteredUse,
    UsePeriods,
    UseProblem,
    group_numbers,
    joined,
    no_periods,
)
from weather.calc.arrays import BoolArray, FloatArray, IntArray

# Share by which bills and reads of the same days may lie apart: their days of reading differ. [judgement]
ALIKE: Final = 0.15


def site_periods(use: MeteredUse, *, bill_meters: IntArray | None = None) -> MeteredUse:
    """Periods of each site as if it had one meter, the irrigation meter before the whole-house one.

    Meters of one kind that follow one another are one stream. Several at a time are added between days on
    which all of them were read; where those days are fewer than two, the site is named `meters_read_apart`
    and left out. Bills and reads of the same days count once.

    Parameters
    ----------
    use
        Sound, sorted periods of `sound_periods` [L].
    bill_meters
        Meters whose volumes speak for all meters of their kind, shape (n,) [1]; None: no meter does.
    """
    periods = use.periods
    if periods.site.size == 0:
        return use
    is_bill = np.isin(periods.meter, np.zeros(0, dtype=np.int64) if bill_meters is None else bill_meters)
    streams, problems = [], list(use.problems)
    for is_house in (False, True):
        mine = periods.is_whole_house == is_house
        reads, apart = _one_stream(periods.where(mine & ~is_bill))
        bills = periods.where(mine & is_bill)
        stream, differ = _once(bills, reads)
        streams.append(stream)
        told = np.unique(stream.site)
        problems += [one for one in apart if is_house or one.site not in told]
        problems += differ
    own, house = streams
    together = joined(own, house.where(~np.isin(house.site, own.site)))
    together = together.where(np.lexsort((together.start, together.site)))
    return MeteredUse(together, tuple(sorted(problems)))


def followed_meters(use: MeteredUse) -> list[tuple[int, str]]:
    """Sites and days (ISO) on which a register of another number took over.

    Parameters
    ----------
    use
        Sound, sorted periods of registers, bills not among them [L].
    """
    periods = use.periods
    if periods.site.size == 0:
        return []
    slot, first = _slots(periods)
    key = group_numbers(periods.site, periods.is_whole_house.astype(np.int64))[first]
    order = np.lexsort((periods.start[first], slot[first], key))
    at = first[order]
    again = (np.diff(key[order]) == 0) & (np.diff(slot[at]) == 0)
    return [(int(periods.site[i]), str(periods.start[i])) for i in at[1:][again]]


def _slots(periods: UsePeriods) -> tuple[IntArray, IntArray]:
    """Place of each period's meter among those that run at a time, and the first period of each meter.

    A meter takes the first place that is free when it begins, so those that follow one another share one.
    """
    group = group_numbers(periods.site, periods.is_whole_house.astype(np.int64), periods.meter)
    first = np.unique(group, return_index=True)[1]
    kind = group_numbers(periods.site, periods.is_whole_house.astype(np.int64))[first]
    begin = periods.start[first].astype(np.int64)
    end = np.maximum.reduceat(periods.end.astype(np.int64), first)
    slot = np.zeros(first.size, dtype=np.int64)
    several = np.flatnonzero(np.bincount(kind)[kind] > 1)
    busy: dict[int, list[int]] = {}
    for meter in several[np.lexsort((begin[several], kind[several]))].tolist():
        places = busy.setdefault(int(kind[meter]), [])
        free = next((n for n, until in enumerate(places) if until <= begin[meter]), len(places))
        places[free : free + 1] = [int(end[meter])]
        slot[meter] = free
    return slot[group], first


def _one_stream(periods: UsePeriods) -> tuple[UsePeriods, list[UseProblem]]:
    """Registers of one kind as one stream a site."""
    if periods.site.size == 0:
        return periods, []
    periods = replace(periods, meter=_slots(periods)[0])
    periods = periods.where(np.lexsort((periods.start, periods.meter, periods.site)))
    meters_of_site = np.zeros(int(periods.site.max()) + 1, dtype=np.int64)
    np.maximum.at(meters_of_site, periods.site, periods.meter + 1)
    several = meters_of_site[periods.site] > 1
    added, problems = _added_meters(periods.where(several), meters_of_site)
    together = joined(periods.where(~several), added)
    return together.where(np.lexsort((together.start, together.site))), problems


def _once(bills: UsePeriods, reads: UsePeriods) -> tuple[UsePeriods, list[UseProblem]]:
    """Bills and reads of one kind, those of the same days once.

    The finer of the two counts where they agree over the days that both know; where they do not, neither
    does on those days, because which is right cannot be told.

    Parameters
    ----------
    bills, reads
        One stream a site of each, sorted by site and start [L].
    """
    doubled = _overlaps(bills, reads)
    if not doubled.any():
        return joined(bills, reads), []
    count = int(max(bills.site.max(), reads.site.max())) + 1
    differs = _differs(bills, reads, count)
    finer = median_days(reads, count) <= 1.2 * median_days(bills, count)
    covered = _overlaps(reads, bills)
    keep_bills = ~doubled | (~differs & ~finer)[bills.site]
    keep_reads = ~covered | (~differs & finer)[reads.site]
    both = bills.where(doubled & differs[bills.site])
    first, until = np.unique(both.site, return_index=True), np.searchsorted(both.site, both.site, "right")
    problems = [
        UseProblem(int(site), BILLS_DIFFER, str(both.start[at]), str(both.end[until[at] - 1]))
        for site, at in zip(*first, strict=True)
    ]
    return joined(bills.where(keep_bills), reads.where(keep_reads)), problems


def _overlaps(periods: UsePeriods, others: UsePeriods) -> BoolArray:
    """Which periods share a day with another stream's of their site; both sorted by site and start."""
    if periods.site.size == 0 or others.site.size == 0:
        return np.zeros(periods.site.shape, dtype=np.bool_)
    start = periods.site * FAR + periods.start.astype(np.int64)
    end = periods.site * FAR + periods.end.astype(np.int64)
    before = np.searchsorted(others.site * FAR + others.start.astype(np.int64), end, side="left")
    over = np.searchsorted(others.site * FAR + others.end.astype(np.int64), start, side="right")
    return np.asarray(before > over)


def _differs(bills: UsePeriods, reads: UsePeriods, count: int) -> BoolArray:
    """Which sites' bills and reads tell of different water on the days that both know, shape (sites,)."""
    first = bills.site * FAR + bills.start.astype(np.int64)
    last = bills.site * FAR + bills.end.astype(np.int64)
    known = _passed(reads, reads.days, last) - _passed(reads, reads.days, first)
    passed = _passed(reads, reads.volume_l, last) - _passed(reads, reads.volume_l, first)
    whole = known >= bills.days - 0.5
    read_l = np.bincount(bills.site, passed * whole, count)
    billed_l = np.bincount(bills.site, bills.volume_l * whole, count)
    return np.asarray(np.abs(read_l - billed_l) > ALIKE * np.maximum(read_l, billed_l))


def _passed(periods: UsePeriods, amount: FloatArray, key: IntArray) -> FloatArray:
    """What of an amount passed by each site and day in one key; within a period in proportion."""
    edges = np.stack([periods.start, periods.end], axis=1).astype(np.int64) + periods.site[:, None] * FAR
    total = np.cumsum(np.stack([np.zeros_like(amount), amount], axis=1).ravel())
    found: FloatArray = np.interp(key.astype(np.float64), edges.ravel().astype(np.float64), total)
    return found


def _added_meters(periods: UsePeriods, meters_of_site: IntArray) -> tuple[UsePeriods, list[UseProblem]]:
    """Sums over the meters of a site between days on which each of them was read."""
    if periods.site.size == 0:
        return periods, []
    first, last = periods.start.astype(np.int64), periods.end.astype(np.int64)
    meter = np.tile(group_numbers(periods.site, periods.meter), 2)
    read = np.unique(
        np.stack([np.tile(periods.site, 2) * FAR + np.concatenate([first, last]), meter], axis=1), axis=0
    )  # one row a day of reading and meter
    day, count = np.unique(read[:, 0], return_counts=True)
    common = day[count == meters_of_site[day // FAR]]
    added = _sums_between(periods, common, meters_of_site) if common.size else no_periods()
    problems = []
    for apart in np.setdiff1d(periods.site, added.site):
        own = periods.where(periods.site == apart)
        problems.append(UseProblem(int(apart), METERS_READ_APART, str(own.start.min()), str(own.end.max())))
    return added, problems


def _sums_between(periods: UsePeriods, common: IntArray, meters_of_site: IntArray) -> UsePeriods:
    """Sums over all meters between common days (site and day in one key), where none has a gap."""
    # a common day is an edge of every meter's periods, so no period reaches over one
    span = np.searchsorted(common, periods.site * FAR + periods.start.astype(np.int64), side="right") - 1
    follows = np.minimum(span + 1, common.size - 1)
    inside = (span >= 0) & (follows > span) & (common[follows] // FAR == periods.site)
    inside &= common[span] // FAR == periods.site
    volume, days = np.zeros(common.size), np.zeros(common.size)
    estimated, whole = np.zeros(common.size, dtype=np.bool_), np.zeros(common.size, dtype=np.bool_)
    np.add.at(volume, span[inside], periods.volume_l[inside])
    np.add.at(days, span[inside], periods.days[inside])
    np.logical_or.at(estimated, span[inside], periods.spans_estimate[inside])
    np.logical_or.at(whole, span[inside], periods.is_whole_house[inside])
    site = common // FAR
    length = np.diff(common, append=common[-1:])
    # fewer metered days than meters x days: one of the meters has a gap in that span
    full = np.flatnonzero((days > 0) & (days == meters_of_site[site] * length))
    return UsePeriods(
        site[full],
        np.zeros(full.size, dtype=np.int64),
        (common[full] % FAR).astype("datetime64[D]"),
        (common[full + 1] % FAR).astype("datetime64[D]"),
        volume[full],
        estimated[full],
        whole[full],
    )
