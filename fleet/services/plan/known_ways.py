"""Changes of the plan in transactions in which no road is searched: ways are looked up between two tries.

A try that meets places or lines which nobody looked up is rolled back, they are looked up while the database
is free, and it is tried again. So whoever else writes, a phone that reports a stop say, waits for writing and
never for roads.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, TypeVar

from django.db import transaction

from fleet.calc.visits.settings import VisitSettings
from fleet.streets.kept_travel import KeptTravel, UnknownPlaces
from fleet.streets.store import travel_source

Done = TypeVar("Done")
# One try for the places, one for the lines, one that writes, and some where the plan changes meanwhile.
TRIES: Final = 6
NEVER_STILL: Final = (
    "The plan changes while this is worked out: somebody plans, moves or tells visits right now. "
    "Nothing was saved; try again in a moment."
)


class NeverStill(ValueError):
    """The plan changed at every try; nothing was saved. The message says what to do."""


def write_on_known_ways(*, work: Callable[[KeptTravel], Done], settings: VisitSettings) -> Done:
    """What the work answers, done in a transaction of its own. Raises `NeverStill`, and what the work raises.

    Parameters
    ----------
    work
        Reads the book anew each time, and writes; is given the ways.
    settings
        Speed and circuity of estimates.
    """
    travel = KeptTravel(travel_source(settings=settings))
    travel.is_closed = True
    for _ in range(TRIES):
        try:
            return _tried(work, travel)
        except UnknownPlaces:
            travel.look_up()
    raise NeverStill(NEVER_STILL)


@transaction.atomic
def _tried(work: Callable[[KeptTravel], Done], travel: KeptTravel) -> Done:
    """What the work answers; taken back where it drew lines that nobody looked up."""
    done = work(travel)
    if travel.lacks_lines:
        raise UnknownPlaces("lines that were not looked up")
    return done
