"""One garden: its page, its shapes for the map, its numbers as files; and the list of all gardens."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.access import may_see, role_of
from fleet.maps import base_map, box_of
from fleet.selectors.company.company import company_day
from fleet.selectors.programs.one_supply import supply_conflicts
from fleet.selectors.programs.site_program import site_programs
from fleet.selectors.site.access import SiteNotOpen, may_read_gate_code, site_for
from fleet.selectors.site.history import site_history
from fleet.selectors.site.list import site_list as list_of_sites
from fleet.selectors.site.page import site_page
from fleet.selectors.site.water import MOST_DAYS, SPANS, WaterSpan, water_span, zone_water
from fleet.selectors.visits.contracts import contract_standing
from fleet.views.asked import asked_number, asking_user
from fleet.views.asked_day import asked_day_or_none
from fleet.views.csv_file import csv_file
from fleet.views.rules import rules_panel
from sites.lot_map import garden_svg
from sites.selectors.garden import as_geojson, box_points, garden_things
from sites.selectors.rain_source import rain_standing

if TYPE_CHECKING:
    from datetime import date

    from sites.models import Site

HISTORY_ENTRIES = 12
LONGEST_WORDS = 100
PRINT_PX = (620, 432)


@require_safe
def site_list(request: HttpRequest) -> HttpResponse:
    """Show the sites that answer the words and the filter."""
    words = request.GET.get("q", "")[:LONGEST_WORDS].strip()
    show = request.GET.get("show", "")
    found = list_of_sites(
        user=asking_user(request), words=words, show=show, page=asked_number(request.GET.get("page"), 1)
    )
    facts = {
        "found": found,
        "q": words,
        "show": show,
        "may_bring": may_see(asking_user(request).role, "fleet:bring"),
        "pager_query": f"{urlencode({'q': words, 'show': show})}&",
    }
    return render(request, "fleet/site_list.html", facts)


@require_safe
def site(request: HttpRequest, code: str) -> HttpResponse:
    """Show one garden: map, zones, water of the chosen zone, program, history."""
    garden, user = _site(request, code), asking_user(request)
    today = company_day(now=timezone.now())
    page = site_page(site=garden, today=today)
    zone = page.zone_of(request.GET.get("zone", ""))
    is_us = user.units == "us"
    things = garden_things(site=garden)
    programs = site_programs(site=garden, today=today)
    span = water = None
    if zone is not None and page.until is not None:
        span = _span(request, zone.zone_id, page.until, MOST_DAYS)
        water = zone_water(zone_id=zone.zone_id, first=span.first, until=span.last, is_us=is_us)
    return render(
        request,
        "fleet/site.html",
        {
            "site": garden,
            "page": page,
            "zone": zone,
            "water": water,
            "span": span,
            "spans": SPANS,
            "rain": rain_standing(site=garden),
            "may_set_rain": may_see(role_of(user), "fleet:site-rain"),
            "programs": programs,
            "supply_conflicts": supply_conflicts(site=garden, programs=programs, today=today),
            **rules_panel(request, site=garden, today=today),
            "may_read_gate_code": may_read_gate_code(user=user, site_id=garden.pk, today=today),
            "may_erase": may_see(role_of(user), "fleet:customer"),
            "may_draw": may_see(role_of(user), "fleet:site-draw"),
            "may_contract": may_see(role_of(user), "fleet:contract"),
            "may_quote": may_see(role_of(user), "fleet:quote-new"),
            "may_enter_contract": may_see(role_of(user), "fleet:contract-new"),
            "contract": contract_standing(site=garden, today=today),
            "history": site_history(site=garden, most=1000 if "all" in request.GET else HISTORY_ENTRIES),
            "map": base_map(box=box_of(box_points(things)), is_metric=not is_us) if things else None,
            "paper_map": garden_svg(things, garden.code, *PRINT_PX, is_us=is_us),
        },
    )


@require_safe
def site_shapes(request: HttpRequest, code: str) -> JsonResponse:
    """Return everything in the garden that has a shape, as GeoJSON."""
    return JsonResponse(as_geojson(garden_things(site=_site(request, code))))


@require_safe
def site_zones_csv(request: HttpRequest, code: str) -> HttpResponse:
    """Return the zones' table as CSV, in SI units."""
    page = site_page(site=_site(request, code), today=company_day(now=timezone.now()))
    columns = (
        "controller",
        "station",
        "name",
        "plant",
        "head",
        "area_m2",
        "precipitation_rate_mm_h",
        "precipitation_rate_assumed",
        "distribution_uniformity",
        "distribution_uniformity_assumed",
        "landscape_coefficient",
        "landscape_coefficient_assumed",
        "depletion_mm",
        "depletion_sd_mm",
        "allowed_mm",
    )
    rows = ([getattr(zone, column) for column in columns] for zone in page.zones)
    return csv_file(f"zones-{code}", columns, rows)


@require_safe
def site_water_csv(request: HttpRequest, code: str) -> HttpResponse:
    """Return a zone's days as CSV, in SI units."""
    page = site_page(site=_site(request, code), today=company_day(now=timezone.now()))
    zone = page.zone_of(request.GET.get("zone", ""))
    if zone is None or page.until is None:
        raise Http404
    span = _span(request, zone.zone_id, page.until, None)
    water = zone_water(zone_id=zone.zone_id, first=span.first, until=span.last, is_us=False)
    columns = (
        "day",
        "rain_mm",
        "landscape_et_mm",
        "effective_rain_mm",
        "irrigation_mm",
        "source",
        "depletion_mm",
        "depletion_sd_mm",
        "is_filled",
    )
    rows = ([getattr(day, column) for column in columns] for day in reversed(water.days))
    return csv_file(f"water-{code}-{zone.key.replace('/', '-')}", columns, rows)


def _span(request: HttpRequest, zone_id: int, newest: date, most: int | None) -> WaterSpan:
    """The days asked for, by first and last day or by a usual span."""
    return water_span(
        zone_id=zone_id,
        newest=newest,
        first=asked_day_or_none(request.GET.get("from")),
        last=asked_day_or_none(request.GET.get("to")),
        usual=asked_number(request.GET.get("days"), SPANS[0][0]),
        most=most,
    )


def _site(request: HttpRequest, code: str) -> Site:
    """The site, or the page that says it is not there."""
    try:
        return site_for(user=asking_user(request), code=code, today=company_day(now=timezone.now()))
    except SiteNotOpen as problem:
        raise Http404 from problem
