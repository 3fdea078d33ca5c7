"""Moves of a visit by hand: by the form or by drag, each with its cost shown before; and the lock."""

from __future__ import annotations

from datetime import timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from fleet.calc.plan.workdays import monday_of
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.on_site.day import StopSheet
from fleet.selectors.on_site.stop_sheet import stop_sheet
from fleet.selectors.plan.board_people import people_with_lanes
from fleet.selectors.plan.stop_rows import company_zone
from fleet.services.plan.routes_by_hand import CannotMove, StopMoved, lock_stop, move_stop
from fleet.templatetags.rootround import clock_text, day_long
from fleet.views.asked import asked_number
from fleet.views.week import day_of

NAMED_STOPS = 5


@require_POST
def lock(request: HttpRequest, pk: int) -> HttpResponse:
    """Lock a visit to its technician's day, or free it."""
    is_locked = request.POST.get("lock") == "yes"
    lock_stop(visit_id=pk, is_locked=is_locked)
    messages.success(request, "The visit is locked to its day." if is_locked else "The visit may move again.")
    monday = monday_of(day_of(request.POST.get("week"), company_day(now=timezone.now())))
    return redirect(f"{reverse('fleet:week')}?week={monday.isoformat()}")


@require_http_methods(["GET", "HEAD", "POST"])
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a stop's move: choose person and day, see what it costs, then do it."""
    sheet = stop_sheet(stop_id=pk)
    if sheet is None or sheet.stop.visit_id is None:
        messages.error(request, "This stop is not in the plan any more.")
        return redirect("fleet:week")
    monday = monday_of(sheet.date)
    tried = ""
    if request.method == "POST":
        try:
            done = _moved(request, sheet)
            if done.written:
                messages.success(request, f"{sheet.stop.site} is moved. Undo takes it back.")
                return redirect(_board_of(request, sheet))
            tried = cost_words(request, done)
        except CannotMove as error:
            messages.error(request, str(error))
    return render(
        request,
        "fleet/stop_move.html",
        {
            "sheet": sheet,
            "people": people_with_lanes(week=monday),
            "days": [monday + timedelta(days=number) for number in range(7)],
            "chosen": {
                "technician": asked_number(request.POST.get("technician")),
                "day": day_of(request.POST.get("day"), sheet.date),
            },
            "tried": tried,
            "monday": monday,
        },
    )


@require_POST
def drop(request: HttpRequest, pk: int) -> JsonResponse:
    """Answer the board's drag: what the move would cost, or that it is done."""
    sheet = stop_sheet(stop_id=pk)
    if sheet is None or sheet.stop.visit_id is None:
        return JsonResponse({"error": "This stop is not in the plan any more."})
    try:
        done = _moved(request, sheet)
    except CannotMove as error:
        return JsonResponse({"error": str(error)})
    if done.written:
        messages.success(request, f"{sheet.stop.site} is moved. Undo takes it back.")
        return JsonResponse({"url": _board_of(request, sheet)})
    return JsonResponse({"words": cost_words(request, done)})


def cost_words(request: HttpRequest, moved: StopMoved) -> str:
    """What a move would do, in a sentence."""
    is_12_hour = not getattr(request.user, "clock_24h", True)
    arrive = moved.arrive.astimezone(company_zone())
    at = clock_text(arrive, is_12_hour=is_12_hour)
    company = the_company()
    unit = f" {company.currency}" if company else ""
    cost = abs(moved.extra_cost)
    money = f"costs {cost:.2f}{unit} more" if moved.extra_cost > 0 else f"costs {cost:.2f}{unit} less"
    drive = round(moved.extra_drive_min)
    way = f"{abs(drive)} min {'more' if drive > 0 else 'less'} driving" if drive else "as much driving"
    others = ", ".join(moved.late[:NAMED_STOPS])
    more = f" and {len(moved.late) - NAMED_STOPS} more" if len(moved.late) > NAMED_STOPS else ""
    rest = (
        f"other stops change their time by more than a quarter of an hour: {others}{more}"
        if moved.late
        else "no other stop moves by more than a quarter of an hour"
    )
    return f"Served on {day_long(arrive.date())} at {at}: {money}, {way}; {rest}."


def _moved(request: HttpRequest, sheet: StopSheet) -> StopMoved:
    """Try or do what the form asks."""
    return move_stop(
        visit_id=sheet.stop.visit_id or 0,
        technician_id=asked_number(request.POST.get("technician")),
        day=day_of(request.POST.get("day"), sheet.date),
        position=asked_number(request.POST.get("position")) or None,
        now=timezone.now(),
        by=request.user.get_username(),
        try_only=request.POST.get("do") != "move",
    )


def _board_of(request: HttpRequest, sheet: StopSheet) -> str:
    """The board with the day and the lane that the visit moved to."""
    day = day_of(request.POST.get("day"), sheet.date)
    lane = f"&person={asked_number(request.POST.get('technician'))}"
    return f"{reverse('fleet:week')}?week={monday_of(sheet.date).isoformat()}&day={day.isoformat()}{lane}"
