"""Whose rain a garden takes: chosen on its page."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from fleet.selectors.company.company import company_day
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.views.asked import asked_number, asking_user
from sites.services.rain_source import BadRainSource, choose_rain


@require_POST
def set_rain(request: HttpRequest, code: str) -> HttpResponse:
    """Choose whose rain counts: `rain` is empty, `location`, `own` or `station:NUMBER`."""
    user, now = asking_user(request), timezone.now()
    try:
        garden = site_for(user=user, code=code, today=company_day(now=now))
    except SiteNotOpen as error:
        raise Http404 from error
    rain_from, _, station = request.POST.get("rain", "").partition(":")
    try:
        chosen = choose_rain(
            site_id=garden.pk,
            rain_from=rain_from,
            station_id=asked_number(station, 0) or None,
            by=user.get_username(),
            at=now,
        )
    except BadRainSource as error:
        messages.error(request, f"Nothing was changed: {error}.")
    else:
        told = f"now {chosen.gauge}" if chosen.gauge else "now the location itself"
        if chosen.before == chosen.after:
            messages.info(request, f"Rain comes from {chosen.after} as before ({told}).")
        else:
            messages.success(
                request,
                f"Rain comes from {chosen.after} ({told}). The balance is computed again with the next run; "
                f"before, it came from {chosen.before}.",
            )
    return redirect(f"{reverse('fleet:site', args=[garden.code])}#hrain")
