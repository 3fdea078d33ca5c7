"""A day's routes on paper and as files: print sheet, CSV, GeoJSON, iCalendar."""

from __future__ import annotations

from datetime import date, timedelta

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from fleet.charts.route_map import route_map_svg
from fleet.exports import routes
from fleet.exports.calendar import routes_calendar
from fleet.exports.kinds import as_csv, as_geojson
from fleet.models import Technician, User
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.on_site.phone_facts import company_phone
from fleet.selectors.plan.route_sheet import RouteSheet, route_sheets
from fleet.views.asked import asking_user
from fleet.views.asked_day import asked_day

# With more stops than these the map is lower, so that all of them fit on one page.
MANY_STOPS, VERY_MANY_STOPS = 8, 12
MAP_WIDTH_PX = 700
MAP_PX, LOW_MAP_PX, LOWEST_MAP_PX = 420, 300, 230


@gzip_page
@require_safe
def route_sheet(request: HttpRequest) -> HttpResponse:
    """A day's routes to print, one page a person: `?date=`, `?technician=`."""
    day, person = _asked(request)
    company = the_company()
    layers = company.map_layers if company else {}
    sheets = route_sheets(day=day, technician_id=person.pk if person else None)
    is_us = str(getattr(request.user, "units", "")) == "us"
    pages = [{"sheet": one, "map": _map(one, layers, is_us=is_us)} for one in sheets]
    return render(
        request,
        "fleet/route_sheet.html",
        {
            "pages": pages,
            "day": day,
            "today": company_day(now=timezone.now()),
            "company": company,
            "many": MANY_STOPS,
            "technician": person.code if person else "",
            "people": Technician.objects.filter(is_active=True).order_by("code"),
            "is_office": asking_user(request).role != User.Role.TECHNICIAN,
        },
    )


@require_safe
def routes_csv(request: HttpRequest) -> HttpResponse:
    """Routes of a day or a week as CSV: `?date=` or `?week=`, `?technician=`."""
    start, end, person = _span(request)
    rows = list(routes.rows(start=start, end=end, technician_id=person.pk if person else None))
    text = as_csv(routes.COLUMNS, rows)
    return _file(text, "text/csv; charset=utf-8", f"routes-{start}.csv")


@require_safe
def routes_geojson(request: HttpRequest) -> HttpResponse:
    """Routes of a day or a week as GeoJSON."""
    start, end, person = _span(request)
    features = list(routes.features(start=start, end=end, technician_id=person.pk if person else None))
    return _file(as_geojson(features), "application/geo+json", f"routes-{start}.geojson")


@require_safe
def routes_ics(request: HttpRequest) -> HttpResponse:
    """Routes of a day or a week as a calendar."""
    start, end, person = _span(request)
    text, _ = routes_calendar(start=start, end=end, technician_id=person.pk if person else None)
    return _file(text, "text/calendar; charset=utf-8; method=PUBLISH", f"routes-{start}.ics")


def _file(text: str, kind: str, name: str) -> HttpResponse:
    """A file to be saved."""
    answer = HttpResponse(text, content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["Cache-Control"] = "private, no-store"
    return answer


def _span(request: HttpRequest) -> tuple[date, date, Technician | None]:
    """First day, the day after the last, and the one person or everybody."""
    day, person = _asked(request)
    if request.GET.get("week") and asking_user(request).role != User.Role.TECHNICIAN:
        monday = _day(request.GET.get("week"), day)
        return monday, monday + timedelta(days=7), person
    return day, day + timedelta(days=1), person


def _asked(request: HttpRequest) -> tuple[date, Technician | None]:
    """The day, and whose: technicians get their own of the days that their phone may show."""
    today = company_day(now=timezone.now())
    day, user = _day(request.GET.get("date"), today), asking_user(request)
    if user.role != User.Role.TECHNICIAN:
        code = request.GET.get("technician", "")[:40]
        return day, Technician.objects.filter(code=code).first() if code else None
    own = Technician.objects.filter(user=user).first()
    span = company_phone()
    if own is None or not -span.days_back <= (day - today).days <= span.days_ahead:
        raise Http404
    return day, own


def _day(text: str | None, other: date) -> date:
    """The day of a text, or the other one."""
    try:
        return asked_day(text) if text else other
    except ValueError:
        return other


def _map(sheet: RouteSheet, layers: dict[str, object], *, is_us: bool) -> str:
    """The sheet's map as markup; it holds numbers only."""
    height_px = MAP_PX
    if sheet.day.visits > MANY_STOPS:
        height_px = LOW_MAP_PX if sheet.day.visits <= VERY_MANY_STOPS else LOWEST_MAP_PX
    return mark_safe(  # noqa: S308
        route_map_svg(
            line=sheet.line,
            stops=sheet.stops,
            start=sheet.start,
            layers=layers,
            width_px=MAP_WIDTH_PX,
            height_px=height_px,
            is_estimated=sheet.day.is_estimated,
            is_us=is_us,
        )
    )
