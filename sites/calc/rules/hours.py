"""Permitted hours: the spans of time in which a zone may be watered, and whether a run lies inside one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from sites.calc.rules.stages import (
    MINUTES_A_DAY,
    Stage,
    Watered,
    applies,
    in_force,
    permitted_dates,
)
from weather.calc.arrays import BoolArray, DayArray

Span = tuple[int, int]
_DAYS_AROUND = 2


@dataclass(frozen=True, slots=True)
class PermittedHours:
    """Spans of local clock time in which a zone may be watered.

    Parameters
    ----------
    first_day
        Day whose midnight is minute 0.
    spans
        Opening and closing [min after midnight of the first day], in order, apart from each other.
    """

    first_day: date
    spans: tuple[Span, ...]


def permitted_hours(
    stages: Sequence[Stage], watered: Watered, first_day: date, day_count: int
) -> PermittedHours:
    """Spans of local clock time in which all stages in force let the zone be watered.

    A window across midnight belongs to the day on which it opens, or each side to its own day, as its stage
    says. Outside a stage's dates the stage binds nothing. Of overlapping stages the strictest counts, minute
    by minute. The last span may reach beyond the last day.

    Parameters
    ----------
    stages
        Stages of the rule set.
    watered
        What is watered.
    first_day
        First day asked for.
    day_count
        Number of days [d].
    """
    end = (day_count + 1) * MINUTES_A_DAY
    spans: list[Span] = [(-MINUTES_A_DAY, end)]
    for stage in stages:
        if applies(stage, watered):
            spans = _intersection(spans, _stage_spans(stage, watered, first_day, day_count))
    return PermittedHours(first_day, tuple((max(a, 0), b) for a, b in spans if b > 0))


def common_hours(hours: Sequence[PermittedHours]) -> PermittedHours:
    """Spans that are open in all of several permitted hours of the same first day.

    Parameters
    ----------
    hours
        Permitted hours, at least one.
    """
    spans = list(hours[0].spans)
    for other in hours[1:]:
        spans = _intersection(spans, list(other.spans))
    return PermittedHours(hours[0].first_day, tuple(spans))


def _stage_spans(stage: Stage, watered: Watered, first_day: date, day_count: int) -> list[Span]:
    """Spans that one stage leaves open, one day before and after the days asked for included."""
    start = np.datetime64(first_day, "D") - _DAYS_AROUND
    days: DayArray = np.arange(start, start + day_count + 2 * _DAYS_AROUND)
    is_open = permitted_dates(stage, watered, days)
    binds = in_force(stage, watered, days)
    spans: list[Span] = []
    for at in range(len(days)):
        midnight = (at - _DAYS_AROUND) * MINUTES_A_DAY
        if not binds[at]:
            spans.append((midnight, midnight + MINUTES_A_DAY))
        if is_open[at]:
            spans.extend(_clipped(_day_spans(stage, midnight), binds, _DAYS_AROUND * MINUTES_A_DAY))
    return _union(spans)


def _day_spans(stage: Stage, midnight: int) -> Iterable[Span]:
    """Spans that a permitted day opens, before clipping to the stage's dates."""
    if not stage.windows:
        yield midnight, midnight + MINUTES_A_DAY
    for window in stage.windows:
        if not window.crosses_midnight:
            yield midnight + window.opens_min, midnight + window.closes_min
        elif stage.window_day == "opening":
            yield midnight + window.opens_min, midnight + MINUTES_A_DAY + window.closes_min
        else:
            yield midnight + window.opens_min, midnight + MINUTES_A_DAY
            yield midnight, midnight + window.closes_min


def _clipped(spans: Iterable[Span], binds: BoolArray, offset: int) -> Iterable[Span]:
    """The parts of spans on days on which the stage binds; elsewhere the whole day is open anyway."""
    for opens, closes in spans:
        for day in range((opens + offset) // MINUTES_A_DAY, (closes + offset - 1) // MINUTES_A_DAY + 1):
            if 0 <= day < len(binds) and binds[day]:
                midnight = day * MINUTES_A_DAY - offset
                yield max(opens, midnight), min(closes, midnight + MINUTES_A_DAY)


def _union(spans: list[Span]) -> list[Span]:
    """Spans in order, those that touch made one."""
    joined: list[Span] = []
    for opens, closes in sorted(span for span in spans if span[1] > span[0]):
        if joined and opens <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(closes, joined[-1][1]))
        else:
            joined.append((opens, closes))
    return joined


def _intersection(one: list[Span], other: list[Span]) -> list[Span]:
    """Spans common to two ordered lists."""
    common: list[Span] = []
    at, to = 0, 0
    while at < len(one) and to < len(other):
        opens, closes = max(one[at][0], other[to][0]), min(one[at][1], other[to][1])
        if closes > opens:
            common.append((opens, closes))
        if one[at][1] < other[to][1]:
            at += 1
        else:
            to += 1
    return common


def clock_instant(day: date, minute: int, zone: ZoneInfo, *, late: bool) -> datetime:
    """The instant of a clock time, UTC; of a time that comes twice or never, the later or earlier reading.

    Parameters
    ----------
    day
        Day whose midnight is minute 0.
    minute
        Clock time [min after that midnight]; beyond 1439 it lies on a later day.
    zone
        Time zone.
    late
        Which of two readings: True the later, False the earlier.
    """
    wall = datetime.combine(day, datetime.min.time()) + timedelta(minutes=minute)
    readings = [wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)]
    return max(readings) if late else min(readings)
