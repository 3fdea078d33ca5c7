"""Driving that takes longer at some hours of the day: spans with factors, and trips timed through them.

A factor divides the speed while its span lasts; a trip that runs into another span goes on at that span's
speed (Ichoua, Gendreau and Potvin 2003, "Vehicle dispatching with time-dependent travel times", European
Journal of Operational Research 144). So whoever leaves later never arrives earlier, which a factor by the
hour of leaving would not promise. Parking and walking in at the end of a trip take as long at any hour.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

DAY_S: Final = 86_400
# Clocks of a plan begin on a Monday at midnight and never run longer than this [d].
DAYS: Final = 16
WEEKEND: Final = (5, 6)
LOW: Final = 0.5
HIGH: Final = 3.0
MOST_SPANS: Final = 8
_LINE: Final = re.compile(
    r"x?\s*(\d+(?:[.,]\d+)?)\s+from\s+(\d{1,2}):(\d{2})\s+to\s+(\d{1,2}):(\d{2})(\s+every\s+day)?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True, order=True)
class RushSpan:
    """Hours of the day in which driving takes `factor` times as long.

    Parameters
    ----------
    from_s, to_s
        Bounds, from midnight by the company's clock [s].
    factor
        Times as long as at other hours [1].
    every_day
        True: on Saturday and Sunday, too.
    """

    from_s: int
    to_s: int
    factor: float
    every_day: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.from_s < self.to_s <= DAY_S:
            raise ValueError(f"{self.words}: from must come before to, within one day")
        if not LOW <= self.factor <= HIGH:
            raise ValueError(f"{self.words}: expected {LOW:g} to {HIGH:g} times")

    @property
    def words(self) -> str:
        """The line in which it is typed."""
        day = " every day" if self.every_day else ""
        return f"x {self.factor:g} from {_clock(self.from_s)} to {_clock(self.to_s)}{day}"


def parse_rush_hours(text: str) -> tuple[RushSpan, ...]:
    """Spans of lines like `x 1.3 from 07:00 to 09:00`, in order of time; raises `ValueError` in words.

    Parameters
    ----------
    text
        One span a line; empty lines are left out.
    """
    spans = []
    for line in text.splitlines():
        if not line.strip():
            continue
        found = _LINE.fullmatch(line.strip())
        if found is None:
            raise ValueError(f"{line.strip()[:60]!r}: expected a line like x 1.3 from 07:00 to 09:00")
        hours = [int(found[n]) for n in (2, 4)]
        minutes = [int(found[n]) for n in (3, 5)]
        if max(minutes) > 59 or max(hours) > 24:
            raise ValueError(f"{line.strip()[:60]!r}: no such time of day")
        first, last = (hour * 3600 + minute * 60 for hour, minute in zip(hours, minutes, strict=True))
        spans.append(RushSpan(first, last, float(found[1].replace(",", ".")), found[6] is not None))
    return ordered_spans(spans)


def ordered_spans(spans: Sequence[RushSpan]) -> tuple[RushSpan, ...]:
    """Spans in order of time; raises `ValueError` where two lie over each other, or there are too many."""
    ordered = tuple(sorted(spans))
    if len(ordered) > MOST_SPANS:
        raise ValueError(f"{len(ordered)} lines, expected {MOST_SPANS} at most")
    for first, second in pairwise(ordered):
        if second.from_s < first.to_s:
            raise ValueError(f"{first.words} and {second.words} lie over each other")
    return ordered


def rush_text(spans: tuple[RushSpan, ...]) -> str:
    """The lines in which spans are typed."""
    return "\n".join(span.words for span in spans)


@dataclass(frozen=True, slots=True)
class TravelHours:
    """Trips through the hours of a week, on a clock that begins on a Monday at midnight.

    Parameters
    ----------
    spans
        Hours with a factor, in order and apart; outside them it is 1.
    settle_s
        Share of each trip that is not driven [s]: parking and walking in.
    points_per_hour
        What an hour of driving costs [points], for what a trip takes longer than usual.
    """

    spans: tuple[RushSpan, ...]
    settle_s: float = 0.0
    points_per_hour: float = 0.0
    _at: FloatArray = field(init=False, repr=False, compare=False)
    _done: FloatArray = field(init=False, repr=False, compare=False)
    _knots: tuple[list[float], list[float], list[float]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        at, done, factors = [0.0], [0.0], [1.0]
        for day in range(DAYS):
            for span in self.spans:
                if day % 7 in WEEKEND and not span.every_day:
                    continue
                for moment, factor in ((span.from_s, span.factor), (span.to_s, 1.0)):
                    done.append(done[-1] + (day * DAY_S + moment - at[-1]) / factors[-1])
                    at.append(float(day * DAY_S + moment))
                    factors.append(factor)
        done.append(done[-1] + (DAYS * DAY_S - at[-1]) / factors[-1])
        at.append(float(DAYS * DAY_S))
        factors.append(1.0)
        object.__setattr__(self, "_at", np.array(at))
        object.__setattr__(self, "_done", np.array(done))
        object.__setattr__(self, "_knots", (at, done, factors))

    @property
    def least_factor(self) -> float:
        """The smallest factor of all hours [1]."""
        return min((1.0, *(span.factor for span in self.spans)))

    def arrival(self, leave_s: int, trip_s: int) -> int:
        """Second [s] of arrival, rounded up, of a trip that takes `trip_s` [s] without factors."""
        driven = max(0.0, trip_s - self.settle_s)
        still = trip_s - driven
        at, done, factors = self._knots
        number = _piece(at, leave_s)
        target = done[number] + (leave_s - at[number]) / factors[number] + driven
        end = _piece(done, target)
        arrives = at[end] + (target - done[end]) * factors[end] + still
        return int(-(-(arrives - 1e-6) // 1))

    def leaving(self, arrive_s: int, trip_s: int) -> int:
        """Last second [s] to leave and still arrive by then."""
        driven = max(0.0, trip_s - self.settle_s)
        at, done, factors = self._knots
        there = arrive_s - (trip_s - driven)
        number = _piece(at, there)
        target = done[number] + (there - at[number]) / factors[number] - driven
        start = _piece(done, target)
        leave = int((at[start] + (target - done[start]) * factors[start]) // 1)
        # Rounding up of arrivals may ask for a second more.
        while self.arrival(leave, trip_s) > arrive_s:
            leave -= 1
        while self.arrival(leave + 1, trip_s) <= arrive_s:
            leave += 1
        return leave

    def arrivals(self, leave_s: FloatArray, trip_s: FloatArray) -> FloatArray:
        """Arrivals [s] of many trips at once, not rounded; shapes broadcast."""
        driven = np.maximum(0.0, trip_s - self.settle_s)
        done = np.interp(leave_s, self._at, self._done) + driven
        arrive: FloatArray = np.interp(done, self._done, self._at) + (trip_s - driven)
        return arrive

    def mean_factor(self, from_s: int, to_s: int) -> float:
        """Mean of the factor between two moments [1]: what a trip at any moment of them takes on average."""
        if to_s <= from_s:
            return 1.0
        at, _, factors = self._knots
        inside = [from_s, *(moment for moment in at if from_s < moment < to_s), to_s]
        weighed = sum((b - a) * factors[_piece(at, a)] for a, b in pairwise(inside))
        return float(weighed / (to_s - from_s))


def _piece(knots: list[float], value: float) -> int:
    """Number of the piece that holds a value; the last one goes on without end."""
    return min(max(bisect_right(knots, value) - 1, 0), len(knots) - 1)


def _clock(seconds: int) -> str:
    """A time of day."""
    return f"{seconds // 3600:02d}:{seconds % 3600 // 60:02d}"
