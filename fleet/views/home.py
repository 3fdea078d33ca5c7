"""Where each role starts, and the first steps of a company."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.access import may_see
from fleet.models import User
from fleet.selectors.company.first_day import first_steps, has_sites
from fleet.views.asked import asking_user

START: dict[str, str] = {
    User.Role.DISPATCHER: "fleet:week",
    User.Role.MANAGER: "fleet:water",
    User.Role.TECHNICIAN: "fleet:day",
    User.Role.ADMINISTRATOR: "fleet:week",
}


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Send each role to its own first page; with an empty book the office begins with the first steps."""
    role = asking_user(request).role
    if has_sites() or not may_see(role, "fleet:first-steps"):
        return redirect(START[role])
    return redirect("fleet:first-steps")


@require_safe
def steps(request: HttpRequest) -> HttpResponse:
    """Show what is there and what comes next."""
    role = asking_user(request).role
    found = first_steps()
    rows = [
        (step, [(words, reverse(name)) for words, name in step.deeds if may_see(role, name)])
        for step in found
    ]
    facts = {
        "rows": rows,
        "done": sum(step.is_done for step in found),
        "next": next((step for step in found if not step.is_done), None),
        "on_server": [(step.head, step.command) for step in found if role == User.Role.ADMINISTRATOR],
        "has_book": has_sites(),
        "start": reverse(START[role]),
    }
    return render(request, "fleet/first_steps.html", facts)
