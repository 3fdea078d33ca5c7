"""What if: change a threshold, a head, a rule or the hours, and see program, water and stress change."""

from __future__ import annotations

from typing import cast

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.models import User
from fleet.selectors.company.company import company_day
from fleet.selectors.programs.what_if import what_if as answer_of
from fleet.selectors.site.access import SiteNotOpen, site_for


@require_safe
def what_if(request: HttpRequest, code: str, controller: str) -> HttpResponse:
    """Show the comparison; `?part=answer` gives only what changes with the form."""
    try:
        garden = site_for(user=cast("User", request.user), code=code)
    except SiteNotOpen as error:
        raise Http404 from error
    timer = get_object_or_404(garden.controllers, code=controller)
    is_part = request.GET.get("part") == "answer"
    found = answer_of(
        controller=timer,
        today=company_day(now=timezone.now()),
        asked={key: str(value) for key, value in request.GET.items() if key != "part"},
        with_ways=not is_part,
    )
    name = "fleet/what_if_answer.html" if is_part else "fleet/what_if.html"
    return render(request, name, {"site": garden, "timer": timer, "found": found})
