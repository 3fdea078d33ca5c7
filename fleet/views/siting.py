"""Where a sensor should stand: zones ranked, places on the map, the wire's way, and the sheet to print."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, cast

import shapely
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.maps import base_map, box_of
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.site.access import SiteNotOpen, site_for
from sites.calc.siting.points import BEARINGS
from sites.lot_map import garden_svg
from sites.models import Controller
from sites.selectors.garden import (
    SETBACK_M,
    Thing,
    as_geojson,
    box_points,
    garden_things,
    in_degrees,
    in_metres,
)
from sites.selectors.misplaced import sensor_places
from sites.selectors.siting import AdvisedPoint, SitingAdvice, siting_advice

if TYPE_CHECKING:
    from fleet.models import User

LOT_PX: Final = (260, 350)
CLOSE_UP_PX: Final = (430, 350)
CLOSE_UP_MARGIN_M: Final = 2.5
SHORTEST_LEG_M: Final = 0.1
PLACES_A_PAGE: Final = 50
WINDS: Final[dict[str, str]] = {
    "N": "north", "NE": "northeast", "E": "east", "SE": "southeast",
    "S": "south", "SW": "southwest", "W": "west", "NW": "northwest",
}  # fmt: skip


@require_safe
def siting(request: HttpRequest, code: str, controller: str) -> HttpResponse:
    """Show the advice: `?zone=` a station, `?downhill=` a side, `?point=` a number."""
    advice = _advice(request, code, controller)
    chosen = _chosen(request, advice)
    is_us = cast("User", request.user).units == "us"
    things = garden_things(site=advice.site)
    query = f"zone={advice.picked.zone.station}" if advice.picked else ""
    query += f"&downhill={advice.downhill}" if advice.downhill else ""
    return render(
        request,
        "fleet/siting.html",
        {
            "site": advice.site,
            "advice": advice,
            "chosen": chosen,
            "query": query,
            "winds": WINDS,
            "legs": _legs(chosen),
            "setback_m": SETBACK_M,
            "best": advice.choices[0] if advice.choices else None,
            "map": base_map(box=box_of(box_points(things)), is_metric=not is_us) if things else None,
            "paper_map": garden_svg(
                _with_advice(things, advice, chosen), advice.site.code, 620, 432, is_us=is_us
            ),
            "controllers": Controller.objects.filter(site=advice.site).order_by("code"),
        },
    )


@require_safe
def siting_shapes(request: HttpRequest, code: str, controller: str) -> JsonResponse:
    """Return the garden with places, way and setback, as GeoJSON."""
    advice = _advice(request, code, controller)
    things = garden_things(site=advice.site)
    return JsonResponse(as_geojson(_with_advice(things, advice, _chosen(request, advice))))


@require_safe
def installation_sheet(request: HttpRequest, code: str, controller: str) -> HttpResponse:
    """Show the sheet to print for one place: `?point=` its number."""
    advice = _advice(request, code, controller)
    chosen = _chosen(request, advice)
    if chosen is None or advice.picked is None:
        raise Http404
    things = _with_advice(garden_things(site=advice.site), advice, chosen, only_chosen=True)
    is_us = cast("User", request.user).units == "us"
    return render(
        request,
        "fleet/installation.html",
        {
            "site": advice.site,
            "advice": advice,
            "chosen": chosen,
            "legs": _legs(chosen),
            "lot_map": garden_svg(things, advice.site.code, *LOT_PX, with_labels=False, is_us=is_us),
            "close_up": garden_svg(
                _close_up(things, advice, chosen), advice.site.code, *CLOSE_UP_PX, is_us=is_us
            ),
            "today": company_day(now=timezone.now()),
            "company": the_company(),
            "setback_m": SETBACK_M,
            "back": request.GET.urlencode(),
        },
    )


@require_safe
def sensor_places_page(request: HttpRequest) -> HttpResponse:
    """Show the sensors of the book that stand out of place, `?page=`."""
    places = sensor_places()
    page = Paginator(places.misplaced, PLACES_A_PAGE).get_page(request.GET.get("page", "1")[:6])
    facts = {"places": places, "page": page, "setback_m": SETBACK_M}
    return render(request, "fleet/sensor_places.html", facts)


def _advice(request: HttpRequest, code: str, controller: str) -> SitingAdvice:
    """The advice for a controller of a site that this person may open."""
    try:
        garden = site_for(user=cast("User", request.user), code=code, today=company_day(now=timezone.now()))
    except SiteNotOpen as problem:
        raise Http404 from problem
    timer = Controller.objects.filter(site=garden, code=controller).first()
    if timer is None:
        raise Http404
    station = request.GET.get("zone", "")
    return siting_advice(
        site=garden,
        controller=timer,
        station=int(station) if station.isascii() and station.isdigit() and len(station) < 4 else None,
        downhill=request.GET.get("downhill", "")[:2],
    )


def _chosen(request: HttpRequest, advice: SitingAdvice) -> AdvisedPoint | None:
    """The place of the address, else the first."""
    wanted = request.GET.get("point", "1")
    first = advice.points[0] if advice.points else None
    return next((one for one in advice.points if str(one.number) == wanted), first)


def _legs(chosen: AdvisedPoint | None) -> list[tuple[str, float, str, float]]:
    """Pieces of the way that can be dug or felt: what to do, length [m], side, bearing [degrees]."""
    if chosen is None or chosen.way is None:
        return []
    sides = list(BEARINGS)
    return [
        (
            "along the known wire, on a spare conductor" if leg.is_on_wire else "trench",
            leg.length_m,
            WINDS[sides[round(leg.bearing_deg / 45) % 8]],
            leg.bearing_deg,
        )
        for leg in chosen.way.legs
        if leg.length_m >= SHORTEST_LEG_M
    ]


def _with_advice(
    things: list[Thing], advice: SitingAdvice, chosen: AdvisedPoint | None, *, only_chosen: bool = False
) -> list[Thing]:
    """The garden's things with the advice over them; the setback is that of the zone looked into."""
    kept = [thing for thing in things if thing.kind != "setback"]
    added = advice.things
    if only_chosen and chosen is not None:
        added = [
            thing
            for thing in added
            if thing.kind != "advice" or thing.facts.get("label") == str(chosen.number)
        ]
    return kept + added + (advice.way_things(chosen.number) if chosen is not None else [])


def _close_up(things: list[Thing], advice: SitingAdvice, chosen: AdvisedPoint) -> list[Thing]:
    """What lies about the place and its wire, cut to a frame a few steps wider."""
    way = [thing.shape for thing in advice.way_things(chosen.number)]
    spots = [shapely.Point(chosen.longitude, chosen.latitude), *way]
    around = in_metres(shapely.union_all(spots), advice.origin).buffer(CLOSE_UP_MARGIN_M)
    frame = in_degrees(shapely.box(*around.bounds), advice.origin)
    cut = (Thing(thing.kind, thing.shape.intersection(frame), thing.facts) for thing in things)
    return [thing for thing in cut if not thing.shape.is_empty and thing.kind != "lot"]
