"""What an earlier season taught of gardens, as far as it still holds for the book of today."""

from __future__ import annotations

from datetime import date

import numpy as np

from fleet.calc.watch.habits import Habits, no_habits
from fleet.models import Flag, WatchHabit
from fleet.selectors.watch.arrays import WatchBook


def habits_of(book: WatchBook, *, as_of: date) -> Habits:
    """Habits that were learned up to a day; unknown where the sensor or the book's numbers are newer.

    Parameters
    ----------
    book
        The watched controllers.
    as_of
        Last day of the season that taught them.
    """
    found = no_habits(book.controller_ids.size)
    place = {int(pk): at for at, pk in enumerate(book.controller_ids)}
    is_older = ~(book.counts_from > np.datetime64(as_of))
    rows = WatchHabit.objects.filter(as_of=as_of, use_mean__isnull=False).values_list(
        "controller_id", "book", "use_mean", "use_sd", "threshold_mean", "threshold_sd"
    )
    for pk, words, *numbers in rows:
        at = place.get(pk)
        if at is None or not is_older[at] or words != book.book_words[at]:
            continue
        parts = (found.use_mean, found.use_sd, found.threshold_mean, found.threshold_sd)
        for part, number in zip(parts, numbers, strict=True):
            part[at] = number
    return found


def faulty_on(as_of: date) -> set[int]:
    """Controllers whose flag says that they were already at fault on a day and not yet settled [pk].

    Parameters
    ----------
    as_of
        Day of interest.
    """
    rows = (
        Flag.objects.filter(since__lte=as_of)
        .exclude(closed_on__lte=as_of)
        .exclude(truth="not_confirmed")
        .exclude(closed_by=Flag.ClosedBy.DATA)
    )
    return set(rows.values_list("controller_id", flat=True))
