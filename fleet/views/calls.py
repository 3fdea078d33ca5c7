"""The call list: whom to ring because their hours have changed, what to say, and what came of it."""

from __future__ import annotations

from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.models import CustomerCall
from fleet.selectors.plan.call_list import SHOWS, Words, call_list
from fleet.services.plan.customer_calls import CannotNote, note_call
from fleet.templatetags.rootround import clock_text, day_long
from fleet.views.asked import asked_number, asking_user


def hours_words(*, is_12_hour: bool) -> Words:
    """How hours are said, by the reader's clock."""

    def words(start: datetime, end: datetime) -> str:
        first, last = clock_text(start, is_12_hour=is_12_hour), clock_text(end, is_12_hour=is_12_hour)
        return f"{day_long(start.date())} between {first} and {last}"

    return words


@require_safe
def calls(request: HttpRequest) -> HttpResponse:
    """List the calls: `?show=` open, other_time or all, `?page=`."""
    show = request.GET.get("show", "open")
    show = show if any(show == key for key, _ in SHOWS) else "open"
    found = call_list(
        show=show,
        page=asked_number(request.GET.get("page"), 1),
        words=hours_words(is_12_hour=not asking_user(request).clock_24h),
    )
    return render(
        request,
        "fleet/week/calls.html",
        {
            "found": found,
            "show": show,
            "shows": SHOWS,
            "outcomes": CustomerCall.Outcome.choices[1:],
            "query": f"show={show}&",
        },
    )


@require_POST
def note(request: HttpRequest, pk: int) -> HttpResponse:
    """Note what came of a call; who wants another time is led to the free hours."""
    outcome = request.POST.get("outcome", "")
    try:
        done = note_call(
            call_id=pk,
            outcome=outcome,
            note=request.POST.get("note", ""),
            by=asking_user(request).get_username(),
            now=timezone.now(),
        )
    except CannotNote as error:
        messages.error(request, str(error))
        return redirect("fleet:calls")
    messages.success(request, "The outcome is noted.")
    if outcome == CustomerCall.Outcome.OTHER_TIME:
        return redirect(f"{reverse('fleet:appointment')}?visit={done.visit_id}")
    return redirect(f"{reverse('fleet:calls')}?show={request.POST.get('show', 'open')[:12]}")
