"""The days of a week under watering rules: hours that are open, which stage closes the others, and why."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from sites.calc.rules.hours import PermittedHours, Span, clock_instant, permitted_hours
from sites.calc.rules.stages import (
    MINUTES_A_DAY,
    Stage,
    Watered,
    applies,
    in_force,
    permitted_dates,
    tightest,
)
from sites.calc.rules.words import barred_words, clock_24, spans_words

_SCAN_MIN = 15
Clock = Callable[[int], str]


@dataclass(frozen=True, slots=True)
class StageDay:
    """What one stage leaves open of one day.

    Parameters
    ----------
    name
        The stage.
    spans
        Hours it leaves open by itself [min after midnight].
    decides
        Whether it is the strictest, or more would be open without it.
    why
        What it says of the day, in words.
    """

    name: str
    spans: tuple[Span, ...]
    decides: bool
    why: str


@dataclass(frozen=True, slots=True)
class RuleDay:
    """One day under the rules.

    Parameters
    ----------
    day
        The day.
    spans
        Open hours by the clock of the site [min after midnight].
    open_min
        How long that truly is, clock changes included [min].
    skipped, twice
        Hours that the clock leaves out or shows twice on this day [min after midnight].
    stages
        Stages in force, the deciding ones first.
    """

    day: date
    spans: tuple[Span, ...]
    open_min: int
    skipped: tuple[Span, ...]
    twice: tuple[Span, ...]
    stages: tuple[StageDay, ...]

    @property
    def is_free(self) -> bool:
        """Whether no hour is barred."""
        return self.spans == ((0, MINUTES_A_DAY),)


@dataclass(frozen=True, slots=True)
class RuleWeek:
    """Days of a kind of zone.

    Parameters
    ----------
    labels
        Whom the week is for.
    days
        The days.
    most_days_per_week, most_station_min
        Bounds beside the hours: watering days in any seven [d], minutes a station and day [min]; None: none.
    """

    labels: tuple[str, ...]
    days: tuple[RuleDay, ...]
    most_days_per_week: int | None
    most_station_min: float | None

    @property
    def open_min(self) -> int:
        """Open time of all days [min]."""
        return sum(day.open_min for day in self.days)


def rule_weeks(
    stages: Sequence[Stage],
    kinds: Iterable[tuple[str, Watered]],
    *,
    first_day: date,
    timezone: str,
    day_count: int = 7,
    clock: Clock = clock_24,
) -> tuple[RuleWeek, ...]:
    """Weeks of all kinds of zones; kinds under the same hours and bounds share one.

    Raises `AddressUnknownError` where a rule goes by a house number that nobody told.

    Parameters
    ----------
    stages
        Stages of the rule set.
    kinds
        (label, what is watered).
    first_day, day_count
        The days [d].
    timezone
        Time zone of the site (IANA).
    clock
        How a time of day [min after midnight] is written.
    """
    days = np.arange(np.datetime64(first_day), np.datetime64(first_day) + day_count)
    known: dict[Watered, tuple[tuple[RuleDay, ...], int | None, float | None]] = {}
    shared: dict[tuple[tuple[RuleDay, ...], int | None, float | None], list[str]] = {}
    for label, watered in kinds:
        if watered not in known:
            own = rule_days(
                stages, watered, first_day=first_day, timezone=timezone, day_count=day_count, clock=clock
            )
            known[watered] = (own, *tightest(stages, watered, days))
        shared.setdefault(known[watered], []).append(label)
    return tuple(RuleWeek(tuple(labels), *week) for week, labels in shared.items())


def rule_days(
    stages: Sequence[Stage],
    watered: Watered,
    *,
    first_day: date,
    timezone: str,
    day_count: int = 7,
    clock: Clock = clock_24,
) -> tuple[RuleDay, ...]:
    """Each day's open hours, with what every stage in force makes of it.

    Parameters
    ----------
    stages
        Stages of the rule set.
    watered
        What is watered.
    first_day, day_count
        The days [d].
    timezone
        Time zone of the site (IANA).
    clock
        How a time of day [min after midnight] is written.
    """
    zone = ZoneInfo(timezone)
    days = np.arange(np.datetime64(first_day), np.datetime64(first_day) + day_count)
    binding = [(stage, in_force(stage, watered, days)) for stage in stages if applies(stage, watered)]
    binding = [(stage, binds) for stage, binds in binding if binds.any()]
    every = [stage for stage, _ in binding]
    together = permitted_hours(every, watered, first_day, day_count)
    alone = [permitted_hours([stage], watered, first_day, day_count) for stage in every]
    without = [
        permitted_hours([other for other in every if other is not stage], watered, first_day, day_count)
        for stage in every
    ]
    dated = [permitted_dates(stage, watered, days) for stage in every]
    found = []
    for at in range(day_count):
        day = first_day + timedelta(days=at)
        spans = day_spans(together, at)
        open_min = true_minutes(day, spans, zone)
        lines = []
        for number, (stage, binds) in enumerate(binding):
            if not binds[at]:
                continue
            own = day_spans(alone[number], at)
            decides = spans != ((0, MINUTES_A_DAY),) and (
                own == spans or true_minutes(day, day_spans(without[number], at), zone) > open_min
            )
            why = _why(stage, watered, day, own, is_its_day=bool(dated[number][at]), clock=clock)
            lines.append(StageDay(stage.name, own, decides, why))
        lines.sort(key=lambda line: (not line.decides, sum(b - a for a, b in line.spans)))
        found.append(RuleDay(day, spans, open_min, *odd_hours(day, zone), tuple(lines)))
    return tuple(found)


def day_spans(hours: PermittedHours, at: int) -> tuple[Span, ...]:
    """The open hours of one day, cut at its midnights [min after its midnight].

    Parameters
    ----------
    hours
        Permitted hours.
    at
        Day, counted from their first day [d].
    """
    midnight = at * MINUTES_A_DAY
    return tuple(
        (max(opens - midnight, 0), min(closes - midnight, MINUTES_A_DAY))
        for opens, closes in hours.spans
        if opens < midnight + MINUTES_A_DAY and closes > midnight
    )


def true_minutes(day: date, spans: Sequence[Span], zone: ZoneInfo) -> int:
    """How long hours of a day truly last [min]; an opening that comes twice counts at its later reading.

    Parameters
    ----------
    day
        The day.
    spans
        Hours by the clock [min after midnight].
    zone
        Time zone.
    """
    total = 0.0
    for opens, closes in spans:
        from_, until = (
            clock_instant(day, opens, zone, late=True),
            clock_instant(day, closes, zone, late=False),
        )
        total += max((until - from_).total_seconds(), 0.0)
    return round(total / 60)


def odd_hours(day: date, zone: ZoneInfo) -> tuple[tuple[Span, ...], tuple[Span, ...]]:
    """Hours that the clock leaves out on a day, and hours that it shows twice [min after midnight].

    Parameters
    ----------
    day
        The day.
    zone
        Time zone.
    """
    midnight = datetime.combine(day, time())
    offsets = {(midnight + timedelta(days=n)).replace(tzinfo=zone).utcoffset() for n in (0, 1)}
    if len(offsets) == 1:
        return (), ()
    skipped: list[int] = []
    twice: list[int] = []
    for minute in range(0, MINUTES_A_DAY, _SCAN_MIN):
        wall = midnight + timedelta(minutes=minute)
        first, second = (wall.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        if first.utcoffset() == second.utcoffset():
            continue
        is_shown = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == wall
        (twice if is_shown else skipped).append(minute)
    return _runs(skipped), _runs(twice)


def _runs(minutes: Sequence[int]) -> tuple[Span, ...]:
    """Scanned minutes as spans."""
    spans: list[Span] = []
    for minute in minutes:
        if spans and spans[-1][1] == minute:
            spans[-1] = (spans[-1][0], minute + _SCAN_MIN)
        else:
            spans.append((minute, minute + _SCAN_MIN))
    return tuple(spans)


def _why(
    stage: Stage, watered: Watered, day: date, own: tuple[Span, ...], *, is_its_day: bool, clock: Clock
) -> str:
    """What a stage says of a day."""
    barred = "" if is_its_day else barred_words(stage, watered, day)
    if not own:
        return barred or "no hour is open"
    if own == ((0, MINUTES_A_DAY),):
        return "the whole day is open"
    open_words = f"open {spans_words(own, clock)}"
    # The tail of a window that opened on the evening before.
    return f"{open_words}, from the evening before; {barred}" if barred else open_words
