"""Learns what the season before the watched days says of each garden, once in four weeks, in hindsight."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db import transaction

from fleet.calc.watch.filter import watch_fleet
from fleet.calc.watch.fit import HABIT_DAYS, fit_fleet, learned_habits
from fleet.calc.watch.habits import Habits, only, widened
from fleet.calc.watch.log import runs_with_cuts
from fleet.calc.watch.periods import spread_periods
from fleet.calc.watch.settings import WatchSettings, starting_fit
from fleet.models import WatchHabit
from fleet.selectors.watch.arrays import SPAN_DAYS, WatchBook, watch_book
from fleet.selectors.watch.habits import faulty_on, habits_of
from sites.calc import landscape, soil
from sites.models import BypassLog

HABIT_LASTS_DAYS = 28
_WRITTEN_AT_ONCE = 1_000
_FIELDS = ["as_of", "seen_days", "book", "use_mean", "use_sd", "threshold_mean", "threshold_sd"]


@dataclass(frozen=True, slots=True)
class HabitsLearned:
    """Of how many gardens a season taught something."""

    as_of: date
    controllers: int
    known: int


def habit_day(as_of: date) -> date:
    """Last day of the season that teaches the habits for a run of the watch; none of its own days.

    The same for a run that is repeated, and new once in four weeks.
    """
    before = (as_of - timedelta(days=SPAN_DAYS)).toordinal()
    return date.fromordinal(before - before % HABIT_LASTS_DAYS)


def current_habits(book: WatchBook, *, as_of: date, settings: WatchSettings) -> Habits:
    """Habits of the watched gardens for a run of the watch, with what may have changed; learned if due."""
    day = habit_day(as_of)
    if not WatchHabit.objects.filter(as_of=day).exists():
        learn_habits(as_of=day, settings=settings)
    return widened(habits_of(book, as_of=day), settings.habit_use_drift, settings.habit_threshold_drift)


def learn_habits(*, as_of: date, settings: WatchSettings) -> HabitsLearned:
    """Run the watch over the season that ended on a day, and keep what it says of each garden's own errors.

    Gardens that were at fault then, by a flag or by the season's own end, teach nothing.
    """
    first = as_of - timedelta(days=SPAN_DAYS - 1)
    if not BypassLog.objects.filter(start__lte=as_of - timedelta(days=HABIT_DAYS), end__gt=first).exists():
        return HabitsLearned(as_of, 0, 0)
    book = watch_book(as_of=as_of)
    if book is None:
        return HabitsLearned(as_of, 0, 0)
    inputs = book.inputs
    fit = fit_fleet(
        inputs, starting_fit(len(landscape.PLANTS) * len(landscape.HEADS), len(soil.TEXTURES)), settings
    )
    spread = spread_periods(inputs, fit, settings)
    run = watch_fleet(inputs, fit, settings, assumed_ran=runs_with_cuts(book.log, spread))
    in_order = ~np.isin(book.controller_ids, list(faulty_on(as_of)))
    habits = only(learned_habits(inputs, fit, run, settings), in_order)
    _store(book, habits, as_of)
    return HabitsLearned(as_of, book.controller_ids.size, int(habits.known.sum()))


@transaction.atomic
def _store(book: WatchBook, habits: Habits, as_of: date) -> None:
    """One row a controller, empty where nothing was learned; older rows go."""
    seen = book.inputs.seen.sum(axis=0)
    parts = (habits.use_mean, habits.use_sd, habits.threshold_mean, habits.threshold_sd)
    rows = []
    for at, pk in enumerate(book.controller_ids.tolist()):
        numbers = [float(part[at]) if habits.known[at] else None for part in parts]
        rows.append(
            WatchHabit(
                controller_id=pk,
                as_of=as_of,
                seen_days=int(seen[at]),
                book=book.book_words[at],
                **dict(zip(_FIELDS[3:], numbers, strict=True)),
            )
        )
    WatchHabit.objects.exclude(controller_id__in=book.controller_ids.tolist()).delete()
    WatchHabit.objects.bulk_create(
        rows,
        batch_size=_WRITTEN_AT_ONCE,
        update_conflicts=True,
        unique_fields=["controller"],
        update_fields=_FIELDS,
    )
