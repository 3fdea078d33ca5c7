"""The manager's water pages: the book by month, one garden, and the same as CSV."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, cast

import numpy as np
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.calc.ledger.house import NORMAL_90
from fleet.calc.ledger.need import NEED_ERROR
from fleet.charts.water import IntervalRow, MonthPoint, bar, interval_plot, month_plot
from fleet.charts.water_map import FULL_RATIO, Spikes, spike_map
from fleet.exports import ledger
from fleet.exports.kinds import as_csv
from fleet.quantities import shown, unit_of
from fleet.selectors.company.company import company_day
from fleet.selectors.ledger.audit import USUAL_SLOPE, site_audit
from fleet.selectors.ledger.pages import newest_month, water_page
from fleet.selectors.ledger.ranking import SHOWS, ranked
from fleet.selectors.ledger.site import water_site as garden_water
from fleet.selectors.ledger.water_budget import site_budget
from fleet.templatetags.rootround import grouped
from fleet.views.asked import asked_number
from fleet.views.asked_day import asked_day
from sites.exports.geopackage import write_geopackage
from sites.models import Site

if TYPE_CHECKING:
    from django.core.paginator import Page

    from fleet.models import LedgerMonth, User
    from fleet.selectors.ledger.pages import BookMonth
    from fleet.selectors.ledger.ranking import Ranking, RankRow

_BAND = NORMAL_90 * NEED_ERROR
_KIND = "volume"


@require_safe
def water(request: HttpRequest) -> HttpResponse:
    """Show the book's water: `?month=`, `?show=over|under|unknown`, `?map=ratio|volume`, `?page=`."""
    is_us = _is_us(request)
    page = water_page(month=_day(request.GET.get("month")))
    show = request.GET.get("show", SHOWS[0])
    show = show if show in SHOWS else SHOWS[0]
    by = request.GET.get("map", "ratio")
    by = by if by in _MAP_WORDS else "ratio"
    ranking, month = page.ranking, page.month
    listed: Page[int] | None = None
    rows: list[RankRow] = []
    if ranking is not None and month is not None:
        number = asked_number(request.GET.get("page"), 1)
        listed, rows = ranked(ranking=ranking, month=month, show=show, number=number)
    facts = {
        "found": page,
        "show": show,
        "shows": [(key, _SHOW_WORDS[key], ranking.of(key).size) for key in SHOWS] if ranking else [],
        "ratio_over": abs(page.now.ratio - 1) if page.now and page.now.ratio is not None else None,
        "is_over": bool(page.now and page.now.ratio is not None and page.now.ratio > 1),
        "plot": month_plot([_point(row, is_us=is_us) for row in _plotted(page.months)], unit=_unit(is_us)),
        "parts": interval_plot(
            [
                IntervalRow(
                    row.word, row.judged, *(_volume(v, is_us) for v in (row.saved_l, row.low_l, row.high_l))
                )
                for row in page.parts
            ],
            unit=_unit(is_us),
        ),
        "map": _map(ranking, is_ratio=by == "ratio") if ranking else "",
        "by": by,
        "maps": _MAP_WORDS.items(),
        "full_ratio": FULL_RATIO,
        "listed": listed,
        "rows": [(row, _bar(row.over_l, ranking.most_l, is_us=is_us)) for row in rows] if ranking else [],
        "unjudged": page.unjudged,
        "query": f"show={show}&map={by}&" + (f"month={page.month.isoformat()}&" if page.month else ""),
        "unit": _unit(is_us),
        "band": round(100 * NEED_ERROR),
    }
    return render(request, "fleet/water.html", facts)


@require_safe
def water_site(request: HttpRequest, code: str) -> HttpResponse:
    """Show one garden's water: months, baseline, reads."""
    is_us = _is_us(request)
    try:
        found = garden_water(code=code)
    except Site.DoesNotExist as error:
        raise Http404 from error
    points = [_month_point(row, is_us=is_us) for row in found.months]
    return render(
        request,
        "fleet/water_site.html",
        {
            "found": found,
            "ratio": found.used_l / found.need_l if found.used_l is not None and found.need_l else None,
            "plot": month_plot(points, unit=_unit(is_us)),
            "unit": _unit(is_us),
            "rows": list(reversed(found.months)),
            "band": round(100 * NEED_ERROR),
            "audit": site_audit(site=found.site, summary=found.summary),
            "usual_slope": USUAL_SLOPE,
            "budget": site_budget(site=found.site, day=company_day(now=timezone.now())),
        },
    )


@require_safe
def water_csv(request: HttpRequest) -> HttpResponse:
    """The ledger as CSV: `?month=` one month, else the last twelve; to the page where there is none yet."""
    asked = _asked_months(request)
    if asked is None:
        return redirect("fleet:water")
    start, end = asked
    text = as_csv(ledger.COLUMNS, ledger.stored_rows(start=start, end=end))
    return _file(text, f"ledger_{start}_{end}.csv", "text/csv; charset=utf-8")


@require_safe
def water_gpkg(request: HttpRequest) -> HttpResponse:
    """The same months as points of a GeoPackage; to the page where there are none yet."""
    asked = _asked_months(request)
    if asked is None:
        return redirect("fleet:water")
    start, end = asked
    with TemporaryDirectory() as folder:
        path = Path(folder) / "ledger.gpkg"
        if not write_geopackage(path=path, features=ledger.stored_features(start=start, end=end)):
            return redirect("fleet:water")
        content = path.read_bytes()
    return _file(content, f"ledger_{start}_{end}.gpkg", "application/geopackage+sqlite3")


def _asked_months(request: HttpRequest) -> tuple[date, date] | None:
    """First day of the months asked for, and the day after their last; None where the ledger holds none."""
    month = newest_month(month=_day(request.GET.get("month")))
    if month is None:
        return None
    start = month if request.GET.get("month") else (month - timedelta(days=334)).replace(day=1)
    return start, (month + timedelta(days=32)).replace(day=1)


def _file(content: str | bytes, name: str, kind: str) -> HttpResponse:
    """A file to keep."""
    response = HttpResponse(content, content_type=kind)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


_MAP_WORDS = {"ratio": "Used / need", "volume": "Volume over need"}
_SHOW_WORDS = {"over": "Over need", "under": "Under need", "unknown": "Not told"}


def _is_us(request: HttpRequest) -> bool:
    """Whether the reader wants US customary units."""
    return cast("User", request.user).units == "us"


def _day(text: str | None) -> date | None:
    """The day of a text, None where it is none."""
    try:
        return asked_day(text) if text else None
    except ValueError:
        return None


def _unit(is_us: bool) -> str:
    """Unit of volumes."""
    return unit_of(_KIND, is_us=is_us)


def _volume(litres: float, is_us: bool) -> float:
    """Litres as the reader's volume."""
    return shown(litres / 1000.0, _KIND, is_us=is_us)


def _told(litres: float | None, is_us: bool) -> float | None:
    """Litres as the reader's volume, None where not told."""
    return None if litres is None else _volume(litres, is_us)


def _plotted(months: list[BookMonth]) -> list[BookMonth]:
    """The months that the plot can hold with readable names, without the newest ones hardly read."""
    most = max((row.gardens for row in months), default=0)
    return [row for row in months if row.gardens >= 0.8 * most][-24:]


def _point(row: BookMonth, *, is_us: bool) -> MonthPoint:
    """A month of the book for the plot."""
    high = row.saved_high_l
    low = row.saved_low_l
    return MonthPoint(
        month=row.month,
        used=_volume(row.used_l, is_us),
        need=_volume(row.need_l, is_us),
        need_low=_volume(row.need_l * (1 - _BAND), is_us),
        need_high=_volume(row.need_l * (1 + _BAND), is_us),
        expected=_told(row.expected_l, is_us),
        expected_low=None if low is None else _volume(row.used_l + low, is_us),
        expected_high=None if high is None else _volume(row.used_l + high, is_us),
    )


def _month_point(row: LedgerMonth, *, is_us: bool) -> MonthPoint:
    """A month of one garden for the plot."""
    used, need = row.used_l, row.need_l
    bounds = (row.saved_low_l, row.saved_high_l)
    low, high = (
        None if used is None or bound is None else _volume(max(used + bound, 0.0), is_us) for bound in bounds
    )
    return MonthPoint(
        month=row.month,
        used=_told(used, is_us),
        need=_told(need, is_us),
        need_low=None if need is None else _volume(need * (1 - _BAND), is_us),
        need_high=None if need is None else _volume(need * (1 + _BAND), is_us),
        expected=_told(row.baseline_l, is_us),
        expected_low=low,
        expected_high=high,
    )


def _map(ranking: Ranking, *, is_ratio: bool) -> str:
    """Gardens where they lie, by used over need or by the litres between them."""
    placed = np.isfinite(ranking.longitude) & np.isfinite(ranking.latitude)
    spikes = Spikes(
        ranking.longitude[placed],
        ranking.latitude[placed],
        ranking.used_l[placed],
        ranking.need_l[placed],
        ranking.codes[placed],
    )
    return spike_map(spikes, is_ratio=is_ratio)


def _bar(over_l: float | None, most: float, *, is_us: bool) -> str:
    """A garden's litres over need as a bar; nothing where not told."""
    if over_l is None:
        return ""
    return bar(over_l, most=most, text=grouped(_volume(over_l, is_us)))
