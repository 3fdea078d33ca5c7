"""The map of a stop's garden on one page of paper: large, north up, with what its stations are."""

from __future__ import annotations

from typing import Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from fleet.models import User
from fleet.selectors.on_site.stop_form import boxes_of
from fleet.selectors.on_site.stop_sheet import stop_sheet
from fleet.views.asked import asking_user
from fleet.views.day import own_stop
from sites.lot_map import lot_map_svg
from sites.models import Zone

PAPER_MAP_PX: Final = (700, 640)


@gzip_page
@require_safe
def stop_map(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the lot of a stop as it is printed."""
    own = own_stop(request, pk)
    is_us = asking_user(request).units == User.Units.US
    sheet = stop_sheet(stop_id=own.pk, is_us=is_us)
    if sheet is None or sheet.stop.site_id is None:
        raise Http404
    zones = Zone.objects.filter(controller__site_id=sheet.stop.site_id).select_related("controller")
    drawn = lot_map_svg(
        site_id=sheet.stop.site_id,
        width_px=PAPER_MAP_PX[0],
        height_px=PAPER_MAP_PX[1],
        is_us=is_us,
        is_large=True,
    )
    facts = {
        "sheet": sheet,
        "lot_map": drawn,
        "zones": zones.order_by("controller__code", "station"),
        "has_many_controllers": len({zone.controller_id for zone in zones}) > 1,
        "boxes": boxes_of(sheet=sheet),
        "back": reverse("fleet:stop", args=[own.pk]),
    }
    return render(request, "fleet/stop_map.html", facts)
