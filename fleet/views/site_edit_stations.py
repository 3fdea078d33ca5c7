"""Exchange of two station wires, and the label for the lid of a timer."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.site.station_label import StationLabel, station_label
from fleet.views.asked import asked_number
from fleet.views.site_edit import garden_of
from sites.services.exchange_stations import CannotExchange, exchange_stations


@require_http_methods(["GET", "HEAD", "POST"])
def exchange(request: HttpRequest, code: str, controller: str) -> HttpResponse:
    """Show which stations may change places, and note the exchange."""
    garden = garden_of(request, code)
    today = company_day(now=timezone.now())
    label = _label(garden.pk, controller)
    first, second = asked_number(request.POST.get("first")), asked_number(request.POST.get("second"))
    if request.method == "POST":
        try:
            done = exchange_stations(
                controller_id=label.controller.pk,
                first=first,
                second=second,
                minutes_keyed=request.POST.get("keyed") == "yes",
                by=request.user.get_username(),
                at=timezone.now(),
                today=today,
            )
        except CannotExchange as error:
            messages.error(request, str(error))
        else:
            words = f"Stations {done.first} and {done.second} of controller {done.controller_code}"
            messages.success(
                request,
                f"{words} have changed places in book, map, sheet and programs. Print the label below.",
            )
            return redirect("fleet:station-label", code=garden.code, controller=controller)
    chosen = {"first": first or label.governing, "second": second or label.last_used}
    return render(
        request, "fleet/site_edit/exchange.html", {"site": garden, "label": label, "chosen": chosen}
    )


@require_safe
def lid_label(request: HttpRequest, code: str, controller: str) -> HttpResponse:
    """Show the label of a timer's lid, to print."""
    garden = garden_of(request, code)
    return render(
        request,
        "fleet/site_edit/label.html",
        {
            "site": garden,
            "label": _label(garden.pk, controller),
            "company": the_company(),
            "today": company_day(now=timezone.now()),
            "back": reverse("fleet:site", args=[garden.code]),
        },
    )


def _label(site_id: int, controller: str) -> StationLabel:
    """The stations of a controller, or the page that says it is not there."""
    label = station_label(site_id=site_id, controller_code=controller)
    if label is None:
        raise Http404
    return label
