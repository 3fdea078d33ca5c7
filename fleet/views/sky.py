"""Pages around the weather that need the sites: a day in doubt, and what people decide about sources."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.quantities import digits_of, shown
from fleet.selectors.company.company import company_day
from fleet.selectors.ledger.prices import water_price_per_m3
from fleet.services.weather_settings import decide_reference, decide_source_order
from fleet.tasks import queue_stage
from fleet.views.asked_day import asked_day
from sites.services.doubt_programs import moved_programs
from sites.services.weather_doubt import FARTHEST_BACK_D, doubt_day
from weather.calc.units import inches_to_mm
from weather.day_status import rows_of
from weather.location_status import location_list
from weather.models import DailyWeather, Location
from weather.services.reference_questions import NoSuchQuestion
from weather.services.source_order import BadOrder

MOST_MM = {"rain": 500.0, "eto": 30.0}
SITES_A_PAGE = 25


@dataclass(frozen=True, slots=True)
class Guess:
    """What the form asks: the figures as typed, in mm, and what is wrong with them."""

    typed: dict[str, str]
    depths_mm: dict[str, float | None]
    errors: dict[str, str]


@require_safe
def day_wrong(request: HttpRequest, pk: int, day: str) -> HttpResponse:
    """What would change if a day's rain or ET were another: `?rain=` and `?eto=` in the reader's units."""
    location = Location.objects.filter(pk=pk).first()
    when = _day(day)
    stored = DailyWeather.objects.filter(location_id=pk, day=when, kind=DailyWeather.Kind.OBSERVED).first()
    if location is None or stored is None:
        raise Http404("no such day")
    is_us = str(getattr(request.user, "units", "")) == "us"
    guess = _guess(request, stored, is_us=is_us)
    doubt = None
    if not guess.errors:
        doubt = doubt_day(
            location_id=pk,
            day=when,
            rain_mm=guess.depths_mm["rain"],
            reference_et_mm=guess.depths_mm["eto"],
        )
    page = Paginator(doubt.moved if doubt else (), SITES_A_PAGE).get_page(request.GET.get("page"))
    programs = {}
    if doubt is not None and doubt.last_day is not None:
        price = water_price_per_m3(day=doubt.last_day)
        programs = moved_programs(sites=list(page), last_day=doubt.last_day, price_per_m3=price)
    (row,) = rows_of([stored], location=location)
    parts = dict(row.spread_parts)
    context = {
        "row": row,
        "values": [(value, parts.pop(value.word, None)) for value in row.values.values()],
        "other_parts": list(parts.items()),
        "rows": [(row, programs.get(row.site_id)) for row in page],
        "programs": len(programs),
        "programs_changed": sum(1 for move in programs.values() if move.changed),
        "location": location,
        "day": when,
        "stored": stored,
        "typed": guess.typed,
        "errors": guess.errors,
        "doubt": doubt,
        "page": page,
        "query": urlencode({"rain": guess.typed["rain"], "eto": guess.typed["eto"]}) + "&",
        "governed": sum(1 for row in doubt.moved if row.is_governed) if doubt else 0,
        "crossing": sum(1 for row in doubt.moved if row.crosses) if doubt else 0,
        "farthest": FARTHEST_BACK_D,
        "presets": _presets(stored, is_us=is_us),
    }
    return render(request, "fleet/day_wrong.html", context)


@require_POST
def set_order(request: HttpRequest) -> HttpResponse:
    """Set the sources of a variable, of one location (`location`) or of all."""
    pk = request.POST.get("location", "")
    location_id = int(pk) if pk.isascii() and pk.isdigit() and len(pk) < 12 else None
    whose = location_id if request.POST.get("for") == "this" else None
    names = [name for name in request.POST.getlist("source") if name]
    sources = None if request.POST.get("default") else list(dict.fromkeys(names))
    try:
        change = decide_source_order(
            location_id=whose,
            variable=request.POST.get("variable", ""),
            sources=sources,
            by=request.user.get_username(),
            at=timezone.now(),
        )
    except BadOrder as error:
        messages.error(request, f"Nothing was changed: {error}.")
    else:
        messages.success(
            request,
            f"The order is kept. {change.days} days at {change.locations} locations were put together anew; "
            "what rests on them is computed again with the next balance.",
        )
    return redirect(_back(location_id))


@require_POST
def pull_now(request: HttpRequest) -> HttpResponse:
    """Ask the worker to pull the weather now instead of at night."""
    now = timezone.now()
    queue_stage(stage="pull_weather", scope="all", day=company_day(now=now))
    messages.success(request, "The pull is asked for; this page says how it went, under “The last pull”.")
    return redirect("weather:page")


@require_POST
def answer_reference(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep an answer about published ET."""
    try:
        decide_reference(
            location_id=pk,
            answer=request.POST.get("answer", ""),
            by=request.user.get_username(),
            at=timezone.now(),
        )
    except NoSuchQuestion as error:
        raise Http404(str(error)) from error
    messages.success(request, "The answer is kept.")
    return redirect(_back(pk))


@require_safe
def location_marks(request: HttpRequest) -> JsonResponse:
    """Every location for the map as [name, longitude, latitude, shape, words]."""
    del request
    marks = [
        [row.name, round(row.longitude_deg, 5), round(row.latitude_deg, 5), row.shape, row.state_words]
        for row in location_list().rows
    ]
    return JsonResponse({"sites": marks, "depots": []})


def _back(location_id: int | None) -> str:
    """Address of the weather page with a location chosen."""
    page = reverse("weather:page")
    return f"{page}?location={location_id}" if location_id else page


def _day(text: str) -> date:
    """The day of an address."""
    try:
        return asked_day(text)
    except ValueError:
        raise Http404("no such day") from None


def _guess(request: HttpRequest, stored: DailyWeather, *, is_us: bool) -> Guess:
    """What the form asks; without a query the day as it is stored."""
    typed: dict[str, str] = {}
    depths: dict[str, float | None] = {}
    errors: dict[str, str] = {}
    for name, kind, value in (
        ("rain", "depth", stored.rain_used_mm),
        ("eto", "daily", stored.eto_mm),
    ):
        asked = request.GET.get(name)
        text = _plain(value, kind, is_us=is_us) if asked is None else asked.strip()
        typed[name] = text
        depths[name] = None
        # As it is stored, to the last digit shown: not changed.
        if text in ("", _plain(value, kind, is_us=is_us)):
            continue
        try:
            figure = float(text.replace(",", "."))
        except ValueError:
            figure = math.nan
        depth = inches_to_mm(figure) if is_us else figure
        if not 0.0 <= depth <= MOST_MM[name]:
            errors[name] = f"A depth between 0 and {_plain(MOST_MM[name], kind, is_us=is_us)}"
        else:
            depths[name] = depth
    return Guess(typed, depths, errors)


def _presets(stored: DailyWeather, *, is_us: bool) -> list[tuple[str, str, str]]:
    """Questions that are often asked: words, rain and ET as they would be typed."""
    rain, et = stored.rain_used_mm, stored.eto_mm
    as_is = (_plain(rain, "depth", is_us=is_us), _plain(et, "daily", is_us=is_us))
    presets = []
    if rain:
        presets.append(("It did not rain", _plain(0.0, "depth", is_us=is_us), as_is[1]))
        presets.append(("Half of the rain", _plain(rain / 2, "depth", is_us=is_us), as_is[1]))
    presets.append(("A shower was missed", _plain((rain or 0.0) + 12.7, "depth", is_us=is_us), as_is[1]))
    if et is not None and stored.eto_sd_mm is not None:
        low, high = max(0.0, et - 2 * stored.eto_sd_mm), et + 2 * stored.eto_sd_mm
        presets.append(("ETo at its low end", as_is[0], _plain(low, "daily", is_us=is_us)))
        presets.append(("ETo at its high end", as_is[0], _plain(high, "daily", is_us=is_us)))
    return presets


def _plain(value: float | None, kind: str, *, is_us: bool) -> str:
    """A depth as it is typed."""
    return "" if value is None else f"{shown(value, kind, is_us=is_us):.{digits_of(kind, is_us=is_us)}f}"
