"""Day patterns and start times of a program, as a controller holds them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

BoolArray = npt.NDArray[np.bool_]
DayArray = npt.NDArray[np.datetime64]

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_FULL_NAMES = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_NUMBER_OF_DAY = {name: number for names in (WEEKDAYS, _FULL_NAMES) for number, name in enumerate(names)}
MINUTES_A_DAY = 1440
LONGEST_INTERVAL_DAYS = 60
_EPOCH_WEEKDAY = 3  # 1970-01-01 was a Thursday, Monday counts as 0


class DayPatternError(ValueError):
    """The text names no day pattern that a controller could hold."""


class StartTimesError(ValueError):
    """The text is no list of start times."""


@dataclass(frozen=True, slots=True)
class DayPattern:
    """Days on which a program runs, as a controller stores them.

    Parameters
    ----------
    kind
        `weekdays`, `interval`, `odd`, `even` or `daily`.
    weekdays
        Days of the week, Monday 0 to Sunday 6; for kind `weekdays` only.
    interval_days
        Every how many days, 1 to 60 [d]; for kind `interval` only.
    anchor
        A day on which the interval runs; for kind `interval` only. The phase stays in the controller, so it
        is kept here and never taken from the week.
    """

    kind: str
    weekdays: tuple[int, ...] = ()
    interval_days: int = 1
    anchor: date | None = None

    def __post_init__(self) -> None:
        """Refuse what no controller could hold."""
        if self.kind not in ("weekdays", "interval", "odd", "even", "daily"):
            raise DayPatternError(f"unknown kind of day pattern {self.kind!r}")
        if self.kind == "weekdays" and not self.weekdays:
            raise DayPatternError("a weekday pattern needs at least one day")
        if any(day not in range(7) for day in self.weekdays):
            raise DayPatternError("weekdays are numbered 0 (Monday) to 6 (Sunday)")
        if not 1 <= self.interval_days <= LONGEST_INTERVAL_DAYS:
            raise DayPatternError(f"an interval is 1 to {LONGEST_INTERVAL_DAYS} days")
        if self.kind == "interval" and self.anchor is None:
            raise DayPatternError("an interval needs a day on which it runs")

    @property
    def text(self) -> str:
        """The pattern in the words of the program file."""
        if self.kind == "weekdays":
            return ",".join(WEEKDAYS[day] for day in self.weekdays)
        if self.kind == "interval" and self.anchor is not None:
            return f"every:{self.interval_days}@{self.anchor.isoformat()}"
        return self.kind


def parse_days(text: str, as_of: date) -> DayPattern:
    """Day pattern of a program file's text.

    Parameters
    ----------
    text
        `mon,wed,fri`, `every:3@2026-04-01`, `every:3`, `odd`, `even` or `daily`; spaces and capitals do not
        matter.
    as_of
        Day on which the program was read; first day of an interval that names none.
    """
    word = text.strip().lower()
    if word in ("odd", "even", "daily"):
        return DayPattern(kind=word)
    if word.startswith("every:"):
        return _interval(word.removeprefix("every:"), as_of, text)
    names = [part.strip() for part in word.split(",") if part.strip()]
    unknown = [name for name in names if name not in _NUMBER_OF_DAY]
    if not names or unknown:
        raise DayPatternError(
            f"{text!r}: expected days such as mon,wed,fri, or every:3@2026-04-01, odd, even or daily"
        )
    return DayPattern(kind="weekdays", weekdays=tuple(sorted({_NUMBER_OF_DAY[name] for name in names})))


def _interval(word: str, as_of: date, text: str) -> DayPattern:
    """Interval pattern of the text behind `every:`."""
    count, _, anchor = word.partition("@")
    try:
        return DayPattern(
            kind="interval",
            interval_days=int(count),
            anchor=date.fromisoformat(anchor.strip()) if anchor else as_of,
        )
    except DayPatternError:
        raise
    except ValueError as problem:
        raise DayPatternError(f"{text!r}: expected every:N or every:N@YYYY-MM-DD") from problem


def days_words(text: str) -> str:
    """Days of a program in plain words, such as `Wed, Sat`, `odd dates` or `every 3 days, from 16 Jun`.

    Parameters
    ----------
    text
        Days in the words of the program file; what cannot be read is given back as it is.
    """
    has_anchor = "@" in text
    try:
        pattern = parse_days(text, date(2000, 1, 1))
    except DayPatternError:
        return text
    if pattern.kind == "weekdays":
        return ", ".join(WEEKDAYS[day].capitalize() for day in pattern.weekdays)
    if pattern.kind == "interval" and pattern.anchor is not None:
        start = f", from {pattern.anchor.day} {pattern.anchor:%b}" if has_anchor else ""
        return f"every {pattern.interval_days} days{start}"
    return {"odd": "odd dates", "even": "even dates"}.get(pattern.kind, "every day")


def runs_on(pattern: DayPattern, days: DayArray) -> BoolArray:
    """Whether the program runs on each day, (days,).

    Parameters
    ----------
    pattern
        Day pattern of the program.
    days
        Calendar days [datetime64 days], (days,).
    """
    whole = days.astype("datetime64[D]")
    number = whole.astype(np.int64)
    if pattern.kind == "daily":
        return np.ones(whole.shape, dtype=np.bool_)
    if pattern.kind == "weekdays":
        return np.isin((number + _EPOCH_WEEKDAY) % 7, pattern.weekdays)
    if pattern.kind == "interval":
        anchor = np.datetime64(pattern.anchor, "D").astype(np.int64)
        return np.asarray((number - anchor) % pattern.interval_days == 0)
    of_month = (whole - whole.astype("datetime64[M]")).astype(np.int64) + 1
    return np.asarray(of_month % 2 == (1 if pattern.kind == "odd" else 0))


def parse_starts(text: str) -> tuple[int, ...]:
    """Start times [min after midnight], in rising order.

    Parameters
    ----------
    text
        Times of day joined by semicolons, `04:00;05:30`; empty means no start.
    """
    minutes = set()
    for part in filter(None, (piece.strip() for piece in text.split(";"))):
        hour, colon, minute = part.partition(":")
        if not (colon and hour.isdigit() and minute.isdigit() and len(minute) == 2):
            raise StartTimesError(f"{text!r}: expected times such as 04:00;05:30")
        if int(hour) > 23 or int(minute) > 59:
            raise StartTimesError(f"{part!r} is no time of day")
        minutes.add(int(hour) * 60 + int(minute))
    return tuple(sorted(minutes))


def starts_text(starts_min: tuple[int, ...]) -> str:
    """Start times in the words of the program file.

    Parameters
    ----------
    starts_min
        Start times [min after midnight].
    """
    return ";".join(f"{start // 60 % 24:02d}:{start % 60:02d}" for start in starts_min)
