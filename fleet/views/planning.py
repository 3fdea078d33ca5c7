"""Planning a week: ask for it, watch it, stop it."""

from __future__ import annotations

from datetime import date
from typing import Final

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.calc.plan.workdays import monday_of
from fleet.selectors.company.company import company_day
from fleet.selectors.plan.progress import planning_of
from fleet.services.plan.watched import STAGE, AlreadyPlanning, ask_planning, stop_planning
from fleet.tasks import queue_stage
from fleet.templatetags.rootround import number
from fleet.views.asked import asked_number, asking_user
from fleet.views.asked_day import asked_day

# Times to search that the page offers [s], with their words.
CHOICES: Final = ((10, "10 seconds"), (30, "30 seconds"), (120, "2 minutes"), (600, "10 minutes"))


@require_POST
def plan(request: HttpRequest) -> HttpResponse:
    """Ask the worker for a new plan of the week, in so much time and from such a seed."""
    monday = _monday(request.POST.get("week"))
    offered = [seconds for seconds, _ in CHOICES]
    seconds = asked_number(request.POST.get("seconds"), offered[0])
    try:
        ask_planning(
            week=monday,
            now=timezone.now(),
            seconds=min(max(seconds, offered[0]), offered[-1]),
            seed=asked_number(request.POST.get("seed")),
            by=asking_user(request).get_username(),
        )
    except AlreadyPlanning as error:
        messages.error(request, str(error))
        return _back(monday)
    queue_stage(stage=STAGE, scope=monday.isoformat(), day=company_day(now=timezone.now()))
    messages.info(request, "The week is being planned. This page tells how far it is.")
    return _back(monday)


@require_safe
def progress(request: HttpRequest) -> JsonResponse:
    """Tell how far the planning of a week is."""
    found = planning_of(week=_monday(request.GET.get("week")), now=timezone.now())
    if found is None:
        return JsonResponse({"state": "none"})
    return JsonResponse(
        {
            "id": found.planning_id,
            "state": found.state,
            "alive": found.is_alive,
            "sentence": found.sentence,
            "elapsed": round(found.elapsed_s),
            "seconds": round(found.seconds),
            "value": number(found.value) if found.value is not None else "",
            "served": found.served,
            "unserved": found.unserved,
            "curve": found.curve,
        }
    )


@require_POST
def stop(request: HttpRequest) -> HttpResponse:
    """End a planning: `keep` writes the best plan so far, anything else leaves the plan as it was."""
    done = stop_planning(
        planning_id=asked_number(request.POST.get("planning")),
        keep=request.POST.get("how") == "keep",
        now=timezone.now(),
    )
    messages.info(request, done.words)
    return _back(_monday(request.POST.get("week")))


def _back(monday: date) -> HttpResponse:
    """The page of that week."""
    return redirect(f"{reverse('fleet:week')}?week={monday.isoformat()}")


def _monday(text: str | None) -> date:
    """The Monday of a day's text, else of this week."""
    today = company_day(now=timezone.now())
    try:
        return monday_of(asked_day(text) if text else today)
    except ValueError:
        return monday_of(today)
