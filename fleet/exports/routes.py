"""Routes as rows: every technician's day with breaks and the way back, then what was left out and why."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Final

from fleet.models import Route, Visit
from fleet.selectors.plan.board import route_lines, unserved_rows
from fleet.selectors.plan.routes import StopRow, UnservedRow
from fleet.selectors.plan.stop_rows import stop_rows

COLUMNS: Final = (
    "date",
    "technician",
    "order",
    "site",
    "visit_kinds",
    "arrive",
    "depart",
    "window_from",
    "window_to",
    "drive_min",
    "drive_km",
    "service_min",
    "value",
    "reason",
)
BREAK: Final = "break"


def rows(
    *, start: date, end: date, private: bool = False, technician_id: int | None = None
) -> Iterator[dict[str, object]]:
    """Routes by day and technician, then unserved visits of the weeks touched.

    `arrive` is when service starts and `depart` when it ends, both local to the site with their offset;
    `value` is money per day of waiting.

    Parameters
    ----------
    start, end
        First day, and the day after the last.
    private
        Not looked at: routes name no contact and no code.
    technician_id
        One person's routes only, without what was left out.
    """
    del private
    routes = _routes(start, end, technician_id)
    stops = stop_rows(routes)
    for route in routes:
        for stop in stops[route.pk]:
            yield _row(route, stop)
    if technician_id is not None:
        return
    weeks = (
        Visit.objects.filter(week__gt=start - timedelta(days=7), week__lt=end)
        .order_by("week")
        .values_list("week", flat=True)
        .distinct()
    )
    for week in weeks:
        for left in unserved_rows(week=week):
            yield _unserved(week, left)


def features(
    *, start: date, end: date, private: bool = False, technician_id: int | None = None
) -> Iterator[dict[str, object]]:
    """Routes as GeoJSON features: one line a technician's day, one point a stop; parameters as in `rows`."""
    del private
    routes = _routes(start, end, technician_id)
    shown = {(route.technician.code, route.day) for route in routes}
    day = start
    while day < end:
        for line in route_lines(day=day):
            if (line.technician, day) not in shown:
                continue
            yield {
                "type": "Feature",
                "geometry": {
                    "type": "LineString",
                    "coordinates": [list(point) for point in line.coordinates],
                },
                "properties": {
                    "kind": "route",
                    "date": day.isoformat(),
                    "technician": line.technician,
                    "is_estimated": line.is_estimated,
                },
            }
        day += timedelta(days=1)
    for key, stops in stop_rows(routes).items():
        route = next(route for route in routes if route.pk == key)
        for stop in stops:
            if stop.what == "visit" and stop.longitude is not None and stop.latitude is not None:
                yield {
                    "type": "Feature",
                    "geometry": {"type": "Point", "coordinates": [stop.longitude, stop.latitude]},
                    "properties": {"kind": "stop", **_row(route, stop)},
                }


def _routes(start: date, end: date, technician_id: int | None) -> list[Route]:
    """Routes of a span, of everybody or of one person."""
    found = Route.objects.filter(day__gte=start, day__lt=end).select_related("technician")
    if technician_id is not None:
        found = found.filter(technician_id=technician_id)
    return list(found.order_by("day", "technician__code"))


def _row(route: Route, stop: StopRow) -> dict[str, object]:
    """One stop, break or way back."""
    is_visit = stop.what == "visit"
    return {
        "date": route.day.isoformat(),
        "technician": route.technician.code,
        "order": stop.order,
        "site": stop.site,
        "visit_kinds": ";".join(stop.kinds) if is_visit else BREAK if stop.what == "break" else "",
        "arrive": stop.arrive.isoformat(timespec="minutes"),
        "depart": stop.depart.isoformat(timespec="minutes"),
        "window_from": _moment(stop.window_from),
        "window_to": _moment(stop.window_to),
        "drive_min": stop.drive_min,
        "drive_km": stop.drive_km,
        "service_min": stop.service_min if is_visit else "",
        "value": round(stop.value_per_day, 2) if is_visit else "",
        "reason": "",
    }


def _unserved(week: date, left: UnservedRow) -> dict[str, object]:
    """A visit that no route serves."""
    empty = dict.fromkeys(COLUMNS, "")
    return {
        **empty,
        "date": week.isoformat(),
        "site": left.site,
        "visit_kinds": ";".join(left.kinds),
        "value": round(left.value_per_day, 2),
        "reason": left.reason,
    }


def _moment(moment: datetime | None) -> str:
    """A moment with its offset, empty where there is none."""
    return moment.isoformat(timespec="minutes") if moment is not None else ""
