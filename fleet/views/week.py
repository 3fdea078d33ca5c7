"""The dispatcher's week: needs, board, map; planning, publishing, moving, locking, undo."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.calc.plan.workdays import monday_of
from fleet.maps import MapLine, base_map, box_of, dash_of
from fleet.selectors.company.company import company_day, has_fixed_day, the_company
from fleet.selectors.plan.board import route_lines, week_board
from fleet.selectors.plan.board_people import ORDERS, board_people
from fleet.selectors.plan.call_list import open_calls
from fleet.selectors.plan.carried import carried_stop
from fleet.selectors.plan.day_breaks import open_breaks
from fleet.selectors.plan.holds import live_holds
from fleet.selectors.plan.live_day import LiveStop, live_stops
from fleet.selectors.plan.progress import planning_of
from fleet.selectors.plan.routes import WeekBoard
from fleet.selectors.plan.stop_rows import company_zone
from fleet.selectors.site.map import site_shapes, yards
from fleet.selectors.visits.need_rows import needs_week
from fleet.selectors.visits.needs import NeedsWeek
from fleet.services.plan.plan_routes import undo_plan
from fleet.services.plan.routes_by_hand import publish_routes, withdraw_routes
from fleet.services.plan.snapshot import CannotUndo
from fleet.templatetags.rootround import clock_text
from fleet.views.asked import asked_number, asking_user
from fleet.views.asked_day import asked_day
from fleet.views.day_breaks import KINDS
from fleet.views.planning import CHOICES
from fleet.views.week_lanes import (
    asked_lanes,
    keep_lanes,
    lane,
    lane_hours,
    lanes_query,
    places_of,
    tags_of,
)

# Rows of the waiting and of the planned needs that stand beside the board, and beside a page of it; the rest
# is under Visits.
LISTED: Final = 150
LISTED_OF_PAGE: Final = 50


@require_safe
def week(request: HttpRequest) -> HttpResponse:
    """Show a week: `?week=` any of its days, `?day=` the wide one."""
    now = timezone.now()
    today = company_day(now=now)
    monday = monday_of(day_of(request.GET.get("week"), today))
    days = [monday + timedelta(days=number) for number in range(7)]
    focus = day_of(request.GET.get("day"), today if today in days else monday)
    focus = focus if focus in days else monday
    people = board_people(week=monday, focus=focus, today=today, asked=asked_lanes(request))
    keep_lanes(request, people)
    shown = [one.technician_id for one in people.shown]
    board = week_board(week=monday, people=shown, wide=focus)
    needs = (
        needs_week(week=monday, most=LISTED_OF_PAGE, people=shown)
        if people.is_paged
        else needs_week(week=monday, most=LISTED)
    )
    hours = lane_hours(board.rows, focus)
    lines = {line.technician: line for line in route_lines(day=focus, people=shown)}
    routes = [
        {"number": row.number, "name": row.name, "dash": dash_of(row.number)}
        for row in board.rows
        if row.technician in lines
    ]
    if people.is_paged:
        points = places_of(board.rows, focus)
    else:
        points = [(yard.longitude, yard.latitude) for yard in yards()]
        points += [(need.longitude, need.latitude) for need in needs.rows if need.longitude and need.latitude]
    chart = base_map(
        box=box_of(points),
        lines=tuple(MapLine(number=line.number, coordinates=line.coordinates) for line in lines.values()),
        is_metric=getattr(request.user, "units", "metric") == "metric",
    )
    return render(
        request,
        "fleet/week.html",
        {
            "needs": needs,
            "board": board,
            "people": people,
            "orders": ORDERS,
            "lanes_query": lanes_query(people),
            "carried": carried_stop(stop_id=asked_number(request.GET.get("carry")), week=monday),
            "rows": [lane(row, people.columns, hours) for row in board.rows],
            "days": [day for day in people.columns if day != focus],
            "focus": focus,
            "today": today,
            "monday": monday,
            "before": monday - timedelta(days=7),
            "after": monday + timedelta(days=7),
            "now_at": None
            if has_fixed_day()
            else hours.share(now.astimezone(company_zone()))
            if focus == today
            else None,
            "hours": hours,
            "shapes": site_shapes(site_ids=_gardens(board, needs)),
            "map": chart,
            "routes": routes,
            "tags": tags_of(board.rows, focus),
            "break_kinds": KINDS,
            "open_calls": open_calls(),
            "holds": live_holds(now=now),
            "open_breaks": open_breaks(day=today, now=now) if today in board.days else (),
            "planning": planning_of(week=monday, now=now),
            "search_times": CHOICES,
            "currency": company.currency if (company := the_company()) else "",
        },
    )


def _gardens(board: WeekBoard, needs: NeedsWeek) -> list[int]:
    """Gardens whose state the page shows beside the map."""
    planned = {garden for row in board.rows for day in row.days for garden in day.gardens}
    return sorted(planned | {need.site_id for need in needs.rows})


@require_POST
def publish(request: HttpRequest) -> HttpResponse:
    """Show the week's routes to their technicians, or (`do=withdraw`) take them back to drafts."""
    today = company_day(now=timezone.now())
    monday = monday_of(day_of(request.POST.get("week"), today))
    days = [monday + timedelta(days=number) for number in range(7)]
    if request.POST.get("do") == "withdraw":
        done = withdraw_routes(days=[day for day in days if day >= today])
        messages.success(request, f"{done.changed} routes are drafts again; days under way stay published.")
    else:
        done = publish_routes(days=days)
        messages.success(request, f"{done.changed} routes are published. “Back to draft” takes that back.")
    return redirect(f"{reverse('fleet:week')}?week={monday.isoformat()}")


@require_POST
def undo(request: HttpRequest) -> HttpResponse:
    """Take back the last planning or move."""
    monday = monday_of(day_of(request.POST.get("week"), company_day(now=timezone.now())))
    try:
        undo_plan(week=monday, now=timezone.now())
        messages.success(request, "The last change of the plan is undone.")
    except CannotUndo as error:
        messages.error(request, str(error))
    return redirect(f"{reverse('fleet:week')}?week={monday.isoformat()}")


def day_of(text: str | None, other: date) -> date:
    """The day of a text, or the other one."""
    try:
        return asked_day(text) if text else other
    except ValueError:
        return other


@require_safe
def live(request: HttpRequest) -> JsonResponse:
    """Where the stops of a day stand now: `?day=`."""
    day = day_of(request.GET.get("day"), company_day(now=timezone.now()))
    is_12_hour = not asking_user(request).clock_24h
    stops = [
        {"id": one.stop_id, "state": one.state, "words": _live_words(one, is_12_hour=is_12_hour)}
        for one in live_stops(day=day)
    ]
    return JsonResponse({"stops": stops})


def _live_words(one: LiveStop, *, is_12_hour: bool) -> str:
    """Where a stop stands, in words."""
    at = clock_text(one.since, is_12_hour=is_12_hour)
    return {
        "on_way": "on the way",
        "here": f"there since {at}",
        "done": f"done {at}",
        "not_done": f"not possible: {one.why or 'no reason given'}",
    }[one.state]
