"""What became of the watch's flags: how often it was right, how soon somebody went; what settings cost."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import Final

from fleet.calc.proportion import Share, wilson_interval
from fleet.calc.watch.calibration import FALSE_PER_100, FLAG_SCORES, FOUND_PCT, setting_number
from fleet.calc.watch.settings import watch_settings
from fleet.models import Cause, Company, Flag, WatchDay

LOOK_BACK_DAYS: Final = 365
COURSE_DAYS: Final = 28


@dataclass(frozen=True, slots=True)
class CauseRecord:
    """Settled flags of one cause, or of all."""

    word: str
    settled: int
    confirmed: int
    other: int
    not_confirmed: int
    precision: Share
    days_to_visit: float | None


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One setting of the flag and what it brings."""

    flag_score: float
    word: str
    found_pct: int
    false_per_100: float
    visits_a_week: float | None
    is_used: bool


@dataclass(frozen=True, slots=True)
class WatchRecord:
    """The watch judged by what was found."""

    since: date
    total: CauseRecord
    causes: tuple[CauseRecord, ...]
    closed_by_data: int
    open_flags: int
    oldest_open: Flag | None
    settings: tuple[SettingRow, ...]
    course: tuple[WatchDay, ...]

    @property
    def in_use(self) -> SettingRow:
        """The setting in use."""
        return next(row for row in self.settings if row.is_used)


_WORDS: Final = ("much earlier", "earlier", "usual", "later", "much later", "only when sure")


def watch_record(*, day: date) -> WatchRecord:
    """Precision, days to the visit and settings, over the last year."""
    since = day - timedelta(days=LOOK_BACK_DAYS)
    flags = list(Flag.objects.filter(raised_on__gt=since, raised_on__lte=day))
    settled = [flag for flag in flags if flag.closed_by == Flag.ClosedBy.FINDING and flag.truth]
    by_cause = [
        _record(str(word), [flag for flag in settled if flag.cause == cause])
        for cause, word in Cause.choices
        if any(flag.cause == cause for flag in settled)
    ]
    waiting = Flag.objects.filter(closed_on__isnull=True).select_related("controller__site")
    return WatchRecord(
        since=since,
        total=_record("all causes", settled),
        causes=tuple(by_cause),
        closed_by_data=sum(flag.closed_by == Flag.ClosedBy.DATA for flag in flags),
        open_flags=waiting.count(),
        oldest_open=waiting.exclude(resting_until__gt=day).order_by("raised_on", "pk").first(),
        settings=_settings(),
        course=tuple(WatchDay.objects.filter(as_of__lte=day)[:COURSE_DAYS]),
    )


def watch_precision(*, day: date) -> tuple[Share, int]:
    """Share of settled flags of the last year that a visit confirmed, with its interval; how many.

    Parameters
    ----------
    day
        Last day of the year.
    """
    settled = Flag.objects.filter(
        raised_on__gt=day - timedelta(days=LOOK_BACK_DAYS),
        raised_on__lte=day,
        closed_by=Flag.ClosedBy.FINDING,
    ).exclude(truth="")
    count = settled.count()
    return wilson_interval(settled.filter(truth="confirmed").count(), count), count


def _record(word: str, flags: list[Flag]) -> CauseRecord:
    """What became of some settled flags."""
    truths = [flag.truth for flag in flags]
    waits = [(flag.closed_on - flag.raised_on).days for flag in flags if flag.closed_on is not None]
    return CauseRecord(
        word=word,
        settled=len(flags),
        confirmed=truths.count("confirmed"),
        other=truths.count("other"),
        not_confirmed=truths.count("not_confirmed"),
        precision=wilson_interval(truths.count("confirmed"), len(flags)),
        days_to_visit=median(waits) if waits else None,
    )


def _settings() -> tuple[SettingRow, ...]:
    """Every setting with what simulated fleets and the company's own logs say of it."""
    company = Company.objects.first()
    used = setting_number(watch_settings(company.settings if company else {}).flag_score)
    newest = WatchDay.objects.first()
    visits = newest.new_flags_a_week if newest and len(newest.new_flags_a_week) == len(FLAG_SCORES) else None
    return tuple(
        SettingRow(
            flag_score=score,
            word=_WORDS[at],
            found_pct=FOUND_PCT[at],
            false_per_100=FALSE_PER_100[at],
            visits_a_week=None if visits is None else float(visits[at]),
            is_used=at == used,
        )
        for at, score in enumerate(FLAG_SCORES)
    )
