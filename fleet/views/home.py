"""Where each role starts, and the first day of a company."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from fleet.models import User
from fleet.selectors.first_day import first_day, has_sites

START: dict[str, str] = {
    User.Role.DISPATCHER: "fleet:week",
    User.Role.MANAGER: "fleet:water",
    User.Role.TECHNICIAN: "fleet:day",
    User.Role.ADMINISTRATOR: "fleet:week",
}


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Send each role to its own first page; an empty book gets the first-day page."""
    if has_sites():
        return redirect(START[request.user.role])  # type: ignore[union-attr]
    return render(request, "fleet/first_day.html", {"day": first_day()})
