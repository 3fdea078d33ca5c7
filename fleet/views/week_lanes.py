"""Lanes of the board: which are asked for, where the boxes of the wide day stand, what stands on the map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from math import ceil, floor
from typing import Final
from urllib.parse import urlencode

from django.http import HttpRequest

from fleet.selectors.plan.board_people import BoardAsked, BoardPeople
from fleet.selectors.plan.routes import BoardDay, BoardRow, StopRow
from fleet.views.asked import asked_number

# Hours of the day that every lane holds [h]; earlier and later work makes it longer, by whole half hours.
USUAL: Final = (7.5, 17.0)
# Hours beyond which only every second one is written over the lane.
MOST_LABELS: Final = 12
# Where a person's last choice of lanes is kept.
KEPT: Final = "board"


@dataclass(frozen=True, slots=True)
class LaneHours:
    """Hours that the lanes of a day hold [h from its midnight], on whole half hours."""

    day: date
    first: float
    last: float

    @property
    def hour_width(self) -> float:
        """Width of an hour [% of the lane]."""
        return 100 / (self.last - self.first)

    @property
    def grid_at(self) -> float:
        """Where the first whole hour's line stands [%, as a background's position counts]."""
        whole = self.hour_width * (ceil(self.first) - self.first)
        return whole / (1 - self.hour_width / 100)

    @property
    def labels(self) -> list[tuple[int, float]]:
        """Hours written over the lane, with their places [%]."""
        step = 2 if self.last - self.first > MOST_LABELS else 1
        hours = range(floor(self.first) + 1, ceil(self.last))
        return [(hour, (hour - self.first) * self.hour_width) for hour in hours if hour % step == 0]

    def share(self, moment: datetime) -> float:
        """Where a moment stands on the lane [%]; what lies outside stands at its edge."""
        return min(max((_hour_of(moment, self.day) - self.first) * self.hour_width, 0.0), 100.0)


@dataclass(frozen=True, slots=True)
class Placed:
    """A stop on the wide day: where its box and its way stand, in percent of the lane."""

    stop: StopRow
    left: float
    width: float
    way_left: float
    way_width: float
    is_short: bool
    told_left: float
    told_width: float  # 0: the customer was told no window


def asked_lanes(request: HttpRequest) -> BoardAsked:
    """Lanes that an address asks for: `order`, `skill`, `page`; without them those that one looked at last.

    `person` opens the page of a technician.
    """
    asked = request.GET
    if not {"order", "skill", "page"} & set(asked):
        kept = request.session.get(KEPT, {})
        return BoardAsked(**kept | {"person": asked_number(asked.get("person"))})
    return BoardAsked(
        order=asked.get("order", "number"),
        skill=asked.get("skill", "")[:60],
        page=asked_number(asked.get("page"), 1),
        person=asked_number(asked.get("person")),
    )


def keep_lanes(request: HttpRequest, people: BoardPeople) -> None:
    """Remember which lanes one looks at, so that every way back to the board leads there."""
    shown = {"order": people.asked.order, "skill": people.asked.skill, "page": people.asked.page}
    if people.is_paged and request.session.get(KEPT) != shown:
        request.session[KEPT] = shown


def lanes_query(people: BoardPeople) -> str:
    """What stands in an address for the same people in the same order, without their page."""
    if not people.is_paged:
        return ""
    return urlencode({key: asdict(people.asked)[key] for key in ("order", "skill")})


def lane_hours(rows: Sequence[BoardRow], focus: date) -> LaneHours:
    """Hours from the earliest shift, way or stop of the wide day to the latest, at least the usual ones."""
    first, last = USUAL
    for day in (day for row in rows for day in row.days if day.date == focus):
        spans = [(day.shift_from, day.shift_to)] if day.shift_from and day.shift_to else []
        spans += [
            (stop.arrive - timedelta(minutes=stop.drive_min), stop.depart)
            for stop in day.stops
            if stop.what != "back"
        ]
        for start, end in spans:
            first, last = min(first, _hour_of(start, focus)), max(last, _hour_of(end, focus))
    return LaneHours(focus, max(floor(first * 2) / 2, 0.0), min(ceil(last * 2) / 2, 24.0))


def lane(row: BoardRow, columns: Sequence[date], hours: LaneHours) -> dict[str, object]:
    """A technician's row: the wide day with its boxes placed, and the other days that have a column."""
    wide = next(day for day in row.days if day.date == hours.day)
    return {
        "row": row,
        "wide": wide,
        "placed": _placed(wide, hours),
        "others": [day for day in row.days if day.date != hours.day and day.date in columns],
    }


def tags_of(rows: Sequence[BoardRow], focus: date) -> list[dict[str, object]]:
    """Stops of the wide day as the map wants them."""
    return [
        {
            "site": stop.site,
            "lon": stop.longitude,
            "lat": stop.latitude,
            "route": row.number,
            "order": stop.order,
        }
        for row in rows
        for day in row.days
        if day.date == focus
        for stop in day.stops
        if stop.what == "visit" and stop.longitude is not None
    ]


def places_of(rows: Sequence[BoardRow], focus: date) -> list[tuple[float, float]]:
    """Where the wide day's routes begin and stop, as (longitude, latitude) [deg]."""
    places = [(row.start_longitude, row.start_latitude) for row in rows]
    stops = (stop for row in rows for day in row.days if day.date == focus for stop in day.stops)
    return places + [
        (stop.longitude, stop.latitude)
        for stop in stops
        if stop.longitude is not None and stop.latitude is not None
    ]


def _hour_of(moment: datetime, day: date) -> float:
    """Hours from a day's midnight, by the clock that the moment is told in [h]."""
    return (moment.date() - day).days * 24 + moment.hour + moment.minute / 60


def _placed(day: BoardDay, hours: LaneHours) -> list[Placed]:
    """The day's stops with their places on the lane."""
    placed = []
    for stop in day.stops:
        if stop.what == "back":
            continue
        left, right = hours.share(stop.arrive), hours.share(stop.depart)
        way = min(stop.drive_min / 60 * hours.hour_width, left)
        told_left, told_right = (
            (hours.share(stop.window_from), hours.share(stop.window_to))
            if stop.window_from and stop.window_to
            else (0.0, 0.0)
        )
        width = max(right - left, 0.8)
        placed.append(
            Placed(stop, left, width, left - way, way, width < 8, told_left, told_right - told_left)
        )
    return placed
