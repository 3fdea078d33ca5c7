"""The sensor watch: its list, and the evidence of one controller."""

from __future__ import annotations

from typing import cast

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.charts.watch_plots import cause_plot, rate_bar
from fleet.models import User
from fleet.selectors.site_access import SiteNotOpen, site_for
from fleet.selectors.watch_page import evidence
from fleet.selectors.watch_page import watch_list as list_of_states


@require_safe
def watch_list(request: HttpRequest) -> HttpResponse:
    """Show states: `?show=` one of the statuses, `?page=`."""
    show = request.GET.get("show", "flag")
    page = request.GET.get("page", "1")
    found = list_of_states(
        user=cast("User", request.user),
        show=show,
        page=int(page) if page.isdigit() and len(page) < 6 else 1,
    )
    rows = [
        (state, rate_bar(observed=state.observed_rate, expected=state.expected_rate)) for state in found.page
    ]
    return render(request, "fleet/watch_list.html", {"found": found, "rows": rows, "show": show})


@require_safe
def watch(request: HttpRequest, code: str, controller: str) -> HttpResponse:
    """Show why one sensor is suspected, or is not."""
    user = cast("User", request.user)
    try:
        site = site_for(user=user, code=code)
    except SiteNotOpen as error:
        raise Http404 from error
    found = evidence(site_id=site.pk, controller=controller, is_us=user.units == "us")
    if found is None:
        raise Http404
    return render(
        request,
        "fleet/watch.html",
        {"site": site, "found": found, "plot": cause_plot(days=found.days, shares=found.shares)},
    )
