"""Reads of the weather page: the services, when they last answered, and which of them tells what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db.models import Max, Q

from weather.calc.new_days import FORECAST
from weather.calc.source_chain import FILES, GROUPS, SOURCE_WORDS, VARIABLES, default_order
from weather.models import SourceDay, SourceMeeting, SourceOrder

GROUP_WORDS: Final[Mapping[str, str]] = {
    "temperature": "Temperature",
    "humidity": "Humidity",
    "wind": "Wind",
    "solar": "Solar radiation",
    "rain": "Rain",
    FORECAST: "Forecast",
}


def source_word(name: str) -> str:
    """Return the name of a source as the reader sees it."""
    return "files" if name == FILES else SOURCE_WORDS.get(name, (name, ""))[0]


def part_phrases(parts: str) -> tuple[str, ...]:
    """Return stored parts as phrases: `rain: NCEI daily summaries`."""
    found = (word.partition(":") for word in parts.split())
    return tuple(
        f"{GROUP_WORDS.get(group, group).lower()}: {source_word(source)}" for group, _, source in found
    )


@dataclass(frozen=True, slots=True)
class SourceRow:
    """A service: what it gives, whether it is on, when it last answered here, and when its tests met it."""

    name: str
    word: str
    gives: str
    is_on: bool
    last_asked_at: datetime | None
    last_answered_at: datetime | None
    tests_met_on: date | None
    last_error: str
    notice: str


def source_rows(
    *, names_on: Sequence[str], notices: Mapping[str, str], met_by_tests: Mapping[str, date]
) -> tuple[SourceRow, ...]:
    """Return every known service with its last meeting.

    Parameters
    ----------
    names_on
        Services that are asked.
    notices
        What their licences ask to be shown, by name.
    met_by_tests
        Day on which this version's tests met the live service, by name.
    """
    met = {meeting.source: meeting for meeting in SourceMeeting.objects.all()}
    rows = []
    for name, (word, gives) in SOURCE_WORDS.items():
        meeting = met.get(name)
        rows.append(
            SourceRow(
                name=name,
                word=word,
                gives=gives,
                is_on=name in names_on,
                last_asked_at=meeting.last_asked_at if meeting else None,
                last_answered_at=meeting.last_answered_at if meeting else None,
                tests_met_on=met_by_tests.get(name),
                last_error=meeting.last_error if meeting else "",
                notice=notices.get(name, ""),
            )
        )
    return tuple(rows)


@dataclass(frozen=True, slots=True)
class Teller:
    """A source in an order: its newest day of the variable, and how far that lies behind the location's."""

    name: str
    word: str
    newest_day: date | None
    days_behind: int | None


@dataclass(frozen=True, slots=True)
class OrderRow:
    """Which sources tell a variable of a location, best first."""

    variable: str
    word: str
    tellers: tuple[Teller, ...]
    whose: str  # "this location", "all locations" or "as delivered"
    choices: tuple[tuple[str, str], ...]

    @property
    def places(self) -> tuple[str, ...]:
        """Return the names in order, empty where there are fewer than three."""
        names = tuple(teller.name for teller in self.tellers)
        return (*names, *[""] * (3 - len(names)))


def order_rows(*, location_id: int, newest_day: date | None) -> tuple[OrderRow, ...]:
    """Return the order of sources of each variable, with the newest day that each told.

    Parameters
    ----------
    location_id
        The location.
    newest_day
        Its newest measured day, from which the lag counts; None: it has none.
    """
    orders = {
        (row.location_id, row.variable): tuple(row.sources.split())
        for row in SourceOrder.objects.filter(Q(location=None) | Q(location_id=location_id))
    }
    told = _newest(location_id)
    rows = []
    for variable in VARIABLES:
        own, general = orders.get((location_id, variable)), orders.get((None, variable))
        names = own or general or default_order(variable)
        others = {source for source, group in told if group == variable}
        choices = dict.fromkeys([*default_order(variable), *sorted(others), *names])
        tellers = []
        for name in names:
            day = told.get((name, variable))
            behind = (newest_day - day).days if day and newest_day and variable != FORECAST else None
            tellers.append(Teller(name, source_word(name), day, behind))
        whose = "this location" if own else "all locations" if general else "as delivered"
        rows.append(
            OrderRow(
                variable=variable,
                word=GROUP_WORDS[variable],
                tellers=tuple(tellers),
                whose=whose,
                choices=tuple((name, source_word(name)) for name in choices),
            )
        )
    return tuple(rows)


def _newest(location_id: int) -> dict[tuple[str, str], date]:
    """Newest day that each source told of each group of variables."""
    told = SourceDay.objects.filter(location_id=location_id).order_by()
    found: dict[tuple[str, str], date] = {}
    for group, names in GROUPS.items():
        knows = Q()
        for name in names:
            knows |= Q(**{f"{name}__isnull": False})
        rows = told.filter(knows).exclude(kind=FORECAST).values_list("source").annotate(newest=Max("day"))
        found |= {(source, group): day for source, day in rows}
    foretold = told.filter(kind=FORECAST).values_list("source").annotate(newest=Max("day"))
    return found | {(source, FORECAST): day for source, day in foretold}
