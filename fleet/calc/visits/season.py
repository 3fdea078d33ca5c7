"""Frost dates and the season's calendar: when to start up, and by when to winterize.

Seasons are split on 24 July (north; 24 January in the south), and a season with more than ten missing days
before its freeze is not counted (the rule of the Utah Climate Center's help page). Percentiles are numpy's
linear ones over the seasons that have a freeze; seasons without one are counted beside them, never dropped in
silence. An autumn freeze may fall in January: its day of year then goes past 365.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
DayArray = npt.NDArray[np.datetime64]

FREEZE_C: Final = 0.0  # 32 F
HARD_FREEZE_C: Final = -2.2  # 28 F
SPLIT_NORTH: Final = (7, 24)
SPLIT_SOUTH: Final = (1, 24)
MOST_MISSING: Final = 10
# Fewer seasons than this say nothing about a one-in-ten date.
FEWEST_SEASONS: Final = 5
# From this many seasons on, the extremes seen stand in for it, with more room (own choice); marked as short.
SHORT_SEASONS: Final = 3
SHORT_ROOM_DAYS: Final = 7


@dataclass(frozen=True, slots=True)
class FreezeSeasons:
    """Freeze dates of a station as days of the year [d], one a valid season; NaN: a season without freeze.

    Parameters
    ----------
    spring_years, spring_doy
        Calendar year and day of the year of the last freeze before the split, shaped (springs,).
    autumn_years, autumn_doy
        Year in which the season begins and day of that year of the first freeze, shaped (autumns,).
    """

    spring_years: npt.NDArray[np.int64]
    spring_doy: FloatArray
    autumn_years: npt.NDArray[np.int64]
    autumn_doy: FloatArray


def freeze_seasons(
    days: DayArray, tmin_c: FloatArray, *, threshold_c: float = FREEZE_C, is_south: bool = False
) -> FreezeSeasons:
    """Last spring and first autumn freeze of each year, as days of the year [d].

    Parameters
    ----------
    days
        Days in order, shaped (days,); gaps count as missing.
    tmin_c
        Minimum air temperature [degC], shaped (days,); NaN: missing.
    threshold_c
        A freeze is a minimum at or below this [degC].
    is_south
        True south of the equator: the year is split half a year later.
    """
    if days.shape != tmin_c.shape or days.ndim != 1:
        raise ValueError("days and temperatures must be of one length")
    if not len(days):
        return FreezeSeasons(*(np.array([], dtype=kind) for kind in (int, float, int, float)))
    every, tmin = _without_gaps(days, tmin_c)
    month, dom = SPLIT_SOUTH if is_south else SPLIT_NORTH
    first, last = every[0].astype(object), every[-1].astype(object)
    springs, autumns = [], []
    for year in range(first.year - 1, last.year + 1):
        split = date(year, month, dom)
        year_start = split - timedelta(days=204) if is_south else date(year, 1, 1)
        spring = _last_freeze(every, tmin, year_start, split, threshold_c)
        if spring is not None:
            springs.append((year, spring))
        autumn = _first_freeze(every, tmin, split, date(year + 1, month, dom), threshold_c)
        if autumn is not None:
            autumns.append((year, autumn))
    return FreezeSeasons(
        np.array([year for year, _ in springs], dtype=np.int64),
        np.array([doy for _, doy in springs], dtype=np.float64),
        np.array([year for year, _ in autumns], dtype=np.int64),
        np.array([doy for _, doy in autumns], dtype=np.float64),
    )


def _without_gaps(days: DayArray, tmin_c: FloatArray) -> tuple[DayArray, FloatArray]:
    """All days from first to last, NaN where none was given."""
    every = np.arange(days[0], days[-1] + np.timedelta64(1, "D"))
    tmin = np.full(len(every), np.nan)
    tmin[(days - days[0]).astype(np.int64)] = tmin_c
    return every, tmin


def _last_freeze(
    every: DayArray, tmin: FloatArray, start: date, end: date, threshold_c: float
) -> float | None:
    """Day of the year of the last freeze in [start, end); NaN: none; None: the season cannot be judged."""
    inside = (every >= np.datetime64(start)) & (every < np.datetime64(end))
    expected = (end - start).days
    values = tmin[inside]
    frozen = np.flatnonzero(values <= threshold_c)
    after = values[frozen[-1] :] if len(frozen) else values
    missing = int(np.isnan(after).sum()) + (expected - len(values))
    if missing > MOST_MISSING:
        return None
    if not len(frozen):
        return float("nan")
    return float((every[inside][frozen[-1]] - np.datetime64(date(end.year, 1, 1))).astype(int) + 1)


def _first_freeze(
    every: DayArray, tmin: FloatArray, start: date, end: date, threshold_c: float
) -> float | None:
    """Day of `start`'s year of the first freeze in [start, end); NaN: none; None: cannot be judged."""
    inside = (every >= np.datetime64(start)) & (every < np.datetime64(end))
    values, its_days = tmin[inside], every[inside]
    lead = (its_days[0] - np.datetime64(start)).astype(int) if len(its_days) else 999
    frozen = np.flatnonzero(values <= threshold_c)
    before = values[: frozen[0]] if len(frozen) else values
    # A season that the record does not see to its end is not counted, even when a freeze was seen.
    tail = (end - start).days - lead - len(values)
    if max(lead + int(np.isnan(before).sum()), tail) > MOST_MISSING:
        return None
    if not len(frozen):
        return float("nan")
    return float((its_days[frozen[0]] - np.datetime64(date(start.year, 1, 1))).astype(int) + 1)


@dataclass(frozen=True, slots=True)
class SeasonDates:
    """The calendar of a climate as days of the year [d]; None: this climate asks for none, or too few years.

    Parameters
    ----------
    start_up_from
        Spring start-up not before: 90th percentile of the last hard freeze.
    winterize_by
        Above-ground assemblies winterized by: 10th percentile of the first hard freeze, less seven days.
    seasons
        Valid autumns behind it.
    freezing_share
        Share of them with a hard freeze [1].
    is_short
        Whether the record is too short for percentiles: the extremes seen, a week farther out, stand in.
    """

    start_up_from: int | None
    winterize_by: int | None
    seasons: int
    freezing_share: float
    is_short: bool = False


def season_dates(days: DayArray, tmin_c: FloatArray, *, is_south: bool = False) -> SeasonDates:
    """Start-up and winterization days from a station's own minima (own rule; no bulletin with one was found).

    A climate in which fewer than one autumn in ten brings a hard freeze asks for no winterization.

    Parameters
    ----------
    days
        Days in order, shaped (days,).
    tmin_c
        Minimum air temperature [degC], shaped (days,).
    is_south
        True south of the equator.
    """
    return dates_of(freeze_seasons(days, tmin_c, threshold_c=HARD_FREEZE_C, is_south=is_south))


def dates_of(found: FreezeSeasons) -> SeasonDates:
    """Start-up and winterization days from the hard freezes of a station's seasons; see `season_dates`.

    Parameters
    ----------
    found
        Hard freezes, one a season.
    """
    autumns = len(found.autumn_doy)
    share = float(np.isfinite(found.autumn_doy).mean()) if autumns else 0.0
    if autumns < SHORT_SEASONS or share < 0.1:
        return SeasonDates(None, None, autumns, share)
    if autumns < FEWEST_SEASONS:
        springs = found.spring_doy[np.isfinite(found.spring_doy)]
        start_up = round(float(springs.max())) + SHORT_ROOM_DAYS if len(springs) else None
        first = float(np.nanmin(found.autumn_doy))
        return SeasonDates(start_up, round(first) - 7 - SHORT_ROOM_DAYS, autumns, share, is_short=True)
    start_up = _day(freeze_percentile(found.spring_doy, 90.0, is_autumn=False), 0)
    if len(found.spring_doy) < FEWEST_SEASONS:
        start_up = None
    return SeasonDates(
        start_up, _day(freeze_percentile(found.autumn_doy, 10.0, is_autumn=True), -7), autumns, share
    )


def _day(value: float, shift: int) -> int | None:
    """A day of the year, shifted; None where there is none."""
    return round(value) + shift if np.isfinite(value) else None


def freeze_percentile(doy: FloatArray, share_pct: float, *, is_autumn: bool) -> float:
    """Day of the year [d] by which a share of the seasons has had its freeze; NaN: it is one without.

    A season without freeze is later than every date in autumn and earlier than every date in spring: it
    stands at the far end and is never dropped.

    Parameters
    ----------
    doy
        Days of the year [d], shaped (seasons,); NaN: a season without freeze.
    share_pct
        Share of the seasons [%], by numpy's linear rule.
    is_autumn
        First freezes of autumns; else last freezes of springs.
    """
    if not len(doy):
        return float("nan")
    ordered = np.sort(np.where(np.isnan(doy), np.inf if is_autumn else -np.inf, doy))
    place = (len(ordered) - 1) * share_pct / 100
    low, high = ordered[int(np.floor(place))], ordered[int(np.ceil(place))]
    if not (np.isfinite(low) and np.isfinite(high)):
        return float("nan")
    return float(low + (high - low) * (place - np.floor(place)))


def day_near(number: int, day: date) -> date:
    """The day with that number of the year [d], in the year in which it lies nearest to a day.

    Numbers past a year's end, or below 1 (springs of the south), run over into the next year or the last.

    Parameters
    ----------
    number
        Day of the year, 1 = 1 January [d].
    day
        The day.
    """
    around = (day_of_year(year, number) for year in range(day.year - 2, day.year + 3))
    return min(around, key=lambda one: abs((one - day).days))


def day_of_year(year: int, number: int) -> date:
    """The day with that number [d] in a year; numbers past the year's end run into the next.

    Parameters
    ----------
    year
        Calendar year [a].
    number
        Day of the year, 1 = 1 January [d].
    """
    return date(year, 1, 1) + timedelta(days=number - 1)
