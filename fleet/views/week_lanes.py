"""Lanes of the board: which are asked for, where the boxes of the wide day stand, what stands on the map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Final
from urllib.parse import urlencode

from django.http import HttpRequest

from fleet.selectors.plan.board_people import BoardAsked, BoardPeople
from fleet.selectors.plan.routes import BoardDay, BoardRow, StopRow
from fleet.views.asked import asked_number

FIRST_HOUR: Final = 7.5
HOURS: Final = 9.5
# Where a person's last choice of lanes is kept.
KEPT: Final = "board"


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


def lane(row: BoardRow, focus: date) -> dict[str, object]:
    """A technician's row: the wide day with its boxes placed, and the other days."""
    wide = next(day for day in row.days if day.date == focus)
    return {
        "row": row,
        "wide": wide,
        "placed": _placed(wide),
        "others": [day for day in row.days if day.date != focus],
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


def share_of_day(moment: datetime) -> float:
    """Where a time of day stands on the lane [%]."""
    hour = moment.hour + moment.minute / 60
    return min(max((hour - FIRST_HOUR) / HOURS * 100, 0.0), 100.0)


def _placed(day: BoardDay) -> list[Placed]:
    """The day's stops with their places on the lane."""
    placed = []
    for stop in day.stops:
        if stop.what == "back":
            continue
        left, right = share_of_day(stop.arrive), share_of_day(stop.depart)
        way = min(stop.drive_min / 60 / HOURS * 100, left)
        told_left, told_right = (
            (share_of_day(stop.window_from), share_of_day(stop.window_to))
            if stop.window_from and stop.window_to
            else (0.0, 0.0)
        )
        width = max(right - left, 0.8)
        placed.append(
            Placed(stop, left, width, left - way, way, width < 8, told_left, told_right - told_left)
        )
    return placed
