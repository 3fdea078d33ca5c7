"""Pulling: every source is asked for every point; what comes is checked, stored and filled."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from itertools import islice
from typing import Final

from django.db.models import Max

from weather.calc.et_gaps import MEAN_LIMIT_ALONE_D
from weather.calc.new_days import OBSERVED, NewDay, check_days
from weather.models import Location, SourceDay, SourceMeeting
from weather.services.fill_weather import fill_weather
from weather.services.record_daily_weather import record_daily_weather
from weather.services.refill_weather import refill_weather
from weather.sources.protocol import Answer, DailySource, Point, Question, SourceUnavailable

# A point that was never measured begins with three seasons, so that programs can be tried on them.
FIRST_DAYS: Final = 1_200
FORECAST_DAYS: Final = 8
# After a longer silence the days before the last one told are asked for as well: they may have been revised.
REVISED_DAYS: Final = 7
# After so many points in a row that could not be reached, a source is left alone until the next run.
GIVE_UP_AFTER: Final = 3
ANSWERS_AT_ONCE: Final = 100
_LONGEST_ERROR: Final = 300


@dataclass(slots=True)
class SourceReport:
    """What one source gave in a run.

    Parameters
    ----------
    name
        The source.
    asked, answered
        Points that it was asked for, and that it gave days for.
    added, changed
        Days that were new, and that it revised.
    problems
        What went wrong, point by point; the others went on.
    unreachable
        Points that stayed without an answer, although the source may have one.
    """

    name: str
    asked: int = 0
    answered: int = 0
    added: int = 0
    changed: int = 0
    problems: list[str] = field(default_factory=list)
    unreachable: int = 0


@dataclass(frozen=True, slots=True)
class PullReport:
    """What a run gave.

    Parameters
    ----------
    sources
        One report a source.
    filled
        Days filled behind the newest measured ones.
    newest_day
        Newest measured day of all; None: no day at all.
    missing
        Locations whose newest day lies more than the usual lag behind, with that day.
    """

    sources: tuple[SourceReport, ...]
    filled: int
    newest_day: date | None
    missing: tuple[tuple[str, date | None], ...]

    @property
    def problems(self) -> tuple[str, ...]:
        """Everything that went wrong, with the source's name."""
        return tuple(f"{report.name}: {problem}" for report in self.sources for problem in report.problems)

    def summary(self) -> str:
        """One line for the end of a command."""
        added, changed = (
            sum(getattr(report, name) for report in self.sources) for name in ("added", "changed")
        )
        newest = f"newest measured day {self.newest_day}" if self.newest_day else "no measured day yet"
        late = f"; {len(self.missing)} locations late" if self.missing else ""
        wrong = f"; {len(self.problems)} problems" if self.problems else ""
        return f"Weather: {added} days added, {changed} revised, {self.filled} filled; {newest}{late}{wrong}."


def pull_weather(
    *, points: Sequence[Point], sources: Sequence[DailySource], today: date, now: datetime, days: int = 14
) -> PullReport:
    """Ask all sources for the last days and the coming week of all points, and store what comes.

    Parameters
    ----------
    points
        Where weather is wanted.
    sources
        The sources in order: a later one only fills what earlier ones did not know.
    today
        The day; observed days end with yesterday.
    now
        The moment, stored with each day.
    days
        How many days back; a point never measured before begins further back.
    """
    reports = pull_points(points=points, sources=sources, today=today, now=now, days=days)
    return close_pull(points=points, reports=reports, today=today, now=now)


def pull_points(
    *, points: Sequence[Point], sources: Sequence[DailySource], today: date, now: datetime, days: int = 14
) -> tuple[SourceReport, ...]:
    """Ask all sources for some points and store what comes; what is missing behind is not filled yet.

    Parameters
    ----------
    points, sources, today, now, days
        As in `pull_weather`.
    """
    # A source before may have told the height that a later one does not know.
    return tuple(_pull_source(source, _with_heights(points), today, now, days) for source in sources)


def close_pull(
    *, points: Sequence[Point], reports: Sequence[SourceReport], today: date, now: datetime
) -> PullReport:
    """Fill what is marked and what is missing behind the newest measured days, and tell what is late.

    Parameters
    ----------
    points
        Where weather is wanted.
    reports
        What the sources gave.
    today, now
        The day, and the moment.
    """
    yesterday = today - timedelta(days=1)
    refill_weather(now=now)
    newest = dict(Location.objects.exclude(newest_day=None).values_list("pk", "newest_day"))
    # A record that ended long ago is history, not a gap.
    oldest = yesterday - timedelta(days=MEAN_LIMIT_ALONE_D)
    since = {
        pk: day + timedelta(days=1)
        for pk, day in newest.items()
        if day is not None and oldest <= day < yesterday
    }
    filled = fill_weather(since=since, through=yesterday, now=now) if since else None
    late = Location.objects.filter(name__in=[point.name for point in points])
    usual = today - timedelta(days=8)
    missing = [
        (name, day) for name, day in late.values_list("name", "newest_day") if day is None or day < usual
    ]
    known = set(late.values_list("name", flat=True))
    missing += [(point.name, None) for point in points if point.name not in known]
    return PullReport(
        sources=tuple(reports),
        filled=filled.rows if filled else 0,
        newest_day=max((day for day in newest.values() if day is not None), default=None),
        missing=tuple(sorted(missing, key=lambda pair: pair[0])),
    )


def _with_heights(points: Sequence[Point]) -> list[Point]:
    """Points with the height that is stored for them."""
    names = [point.name for point in points]
    heights = dict(Location.objects.filter(name__in=names).values_list("name", "elevation_m"))
    return [replace(point, elevation_m=heights.get(point.name, point.elevation_m)) for point in points]


def _pull_source(
    source: DailySource, points: Sequence[Point], today: date, now: datetime, days: int
) -> SourceReport:
    """Ask one source, store what it gives batch by batch, and keep when it last answered."""
    report = SourceReport(source.name)
    answers = _answers(source, points, today, days, report)
    while batch := list(islice(answers, ANSWERS_AT_ONCE)):
        found: list[NewDay] = []
        for answer in batch:
            report.problems.extend(answer.remarks)
            if answer.error is not None:
                report.unreachable += isinstance(answer.error, SourceUnavailable)
                report.problems.append(f"{answer.asked}: {answer.error}")
                continue
            report.answered += 1
            found.extend(answer.days)
        checked = check_days(found)
        for day, flag in checked.refused:
            report.problems.append(f"{day.place.name}, {day.day}: refused ({str(flag.name).lower()})")
        record = record_daily_weather(days=checked.good, source=source.name, now=now)
        report.added += record.added
        report.changed += record.changed
    _keep_meeting(report, now)
    return report


def _answers(
    source: DailySource, points: Sequence[Point], today: date, days: int, report: SourceReport
) -> Iterator[Answer]:
    """Answers of a source until it cannot be reached several times in a row."""
    failures = 0
    for some, question in _questions(source, points, today, days):
        report.asked += len(some)
        for answer in source.ask(some, question):
            yield answer
            failures = failures + 1 if isinstance(answer.error, SourceUnavailable) else 0
            if failures == GIVE_UP_AFTER:
                report.problems.append(f"left alone after {GIVE_UP_AFTER} points in a row without an answer")
                return


def _questions(
    source: DailySource, points: Sequence[Point], today: date, days: int
) -> Iterator[tuple[list[Point], Question]]:
    """Points that are asked for the same days."""
    if source.kind != OBSERVED:
        yield list(points), Question(today, today + timedelta(days=FORECAST_DAYS), today)
        return
    by_back: dict[int, list[Point]] = defaultdict(list)
    for point, back in zip(points, _days_back(source.name, points, today, days), strict=True):
        by_back[back].append(point)
    for back, some in sorted(by_back.items()):
        yield some, Question(today - timedelta(days=back), today, today)


def _days_back(source: str, points: Sequence[Point], today: date, days: int) -> list[int]:
    """How far back each point is asked for: past the newest day that the source told of it.

    A source of stations tells no point itself; then the newest day of its stations counts.
    """
    names = [point.name for point in points]
    told = SourceDay.objects.filter(source=source, kind=OBSERVED).order_by()
    of_point = dict(
        told.filter(location__name__in=names).values_list("location__name").annotate(newest=Max("day"))
    )
    of_stations = told.filter(location__is_grid=False).aggregate(newest=Max("day"))["newest"]
    measured = set(
        Location.objects.filter(name__in=names).exclude(newest_day=None).values_list("name", flat=True)
    )
    backs = []
    for name in names:
        newest = of_point.get(name, of_stations)
        if newest is not None:
            backs.append(min(max(days, (today - newest).days + REVISED_DAYS), max(days, FIRST_DAYS)))
        else:
            backs.append(days if name in measured else max(days, FIRST_DAYS))
    return backs


def _keep_meeting(report: SourceReport, now: datetime) -> None:
    """Keep when the source was asked and when it answered."""
    if not report.asked:
        return
    meeting = {"last_asked_at": now, "last_error": "; ".join(report.problems)[:_LONGEST_ERROR]}
    if report.answered:
        meeting["last_answered_at"] = now
    SourceMeeting.objects.update_or_create(source=report.name, defaults=meeting)
