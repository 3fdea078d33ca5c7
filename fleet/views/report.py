"""The report of a visit: for the office, and for the customer by a link that ends and shows nothing else."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from fleet.access import may_see
from fleet.models import Photo, ReportLink
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.on_site.phone_facts import company_phone
from fleet.selectors.on_site.photo_files import photo_folder, photo_path
from fleet.selectors.on_site.visit_report import VisitReport, visit_report
from fleet.services.on_site.report_links import (
    LinkIsOver,
    make_report_link,
    open_report_link,
    revoke_report_link,
    token_of,
)
from fleet.views.asked import asking_user
from sites.lot_map import lot_map_svg

PAPER_PX = (330, 250)


@require_safe
def report(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a visit's report as the customer gets it, with the links that were made of it."""
    found = visit_report(visit_id=pk)
    if found is None:
        raise Http404
    now = timezone.now()
    links = [
        {
            "link": link,
            "url": request.build_absolute_uri(reverse("fleet:customer-report", args=[token_of(link)])),
            "is_open": link.revoked_at is None and link.expires_at > now,
        }
        for link in ReportLink.objects.filter(visit_id=pk)
    ]
    return render(
        request,
        "fleet/report/page.html",
        {
            **_facts(found),
            "photo_urls": [(reverse("fleet:photo", args=[one.pk]), _shows(one)) for one in found.photos],
            "links": links,
            "may_write": may_see(asking_user(request).role, "fleet:report-link"),
            "days": company_phone().report_days,
        },
    )


@require_POST
def make_link(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a link for the customer."""
    try:
        made = make_report_link(
            visit_id=pk, days=company_phone().report_days, by=request.user.get_username(), now=timezone.now()
        )
    except LinkIsOver as error:
        raise Http404 from error
    messages.success(request, f"The link opens this report until {made.expires_at:%d %b %Y}. Copy it below.")
    return redirect("fleet:visit-report", pk=pk)


@require_POST
def revoke_link(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a link back."""
    link = ReportLink.objects.filter(pk=pk).first()
    if link is None:
        raise Http404
    revoke_report_link(link_id=pk, now=timezone.now())
    messages.success(request, "The link opens nothing any more.")
    return redirect("fleet:visit-report", pk=link.visit_id)


@login_not_required
@never_cache
@require_safe
def customer_report(request: HttpRequest, token: str) -> HttpResponse:
    """Show the report to whoever has the link."""
    try:
        visit_id = open_report_link(token=token, now=timezone.now())
    except LinkIsOver:
        return _quiet(render(request, "fleet/report/over.html", {"company": the_company()}, status=404))
    found = visit_report(visit_id=visit_id)
    if found is None:
        raise Http404
    urls = [(reverse("fleet:customer-photo", args=[token, one.pk]), _shows(one)) for one in found.photos]
    return _quiet(render(request, "fleet/report/customer.html", {**_facts(found), "photo_urls": urls}))


@login_not_required
@never_cache
@require_safe
def customer_photo(request: HttpRequest, token: str, pk: int) -> FileResponse:
    """Return a photo that stands in the report, and no other."""
    del request
    try:
        visit_id = open_report_link(token=token, now=timezone.now(), counts=False)
    except LinkIsOver as error:
        raise Http404 from error
    found = visit_report(visit_id=visit_id)
    photo = next((one for one in found.photos if one.pk == pk), None) if found is not None else None
    path = photo_path(folder=photo_folder(data_dir=settings.DATA_DIR), sha256=photo.sha256) if photo else None
    if path is None or not path.is_file():
        raise Http404
    return FileResponse(path.open("rb"), content_type="image/jpeg")


def _shows(photo: Photo) -> str:
    """What a photo shows."""
    return photo.caption or "Photo of the visit"


def _facts(found: VisitReport) -> dict[str, Any]:
    """What both forms of the report show."""
    wide, high = PAPER_PX
    return {
        "report": found,
        "company": the_company(),
        "today": company_day(now=timezone.now()),
        "lot_map": lot_map_svg(
            site_id=found.site.pk, width_px=wide, height_px=high, with_labels=False, is_us=None
        ),
    }


def _quiet(answer: HttpResponse) -> HttpResponse:
    """No search engine, and no other place, hears of the address."""
    answer["X-Robots-Tag"] = "noindex, nofollow"
    answer["Referrer-Policy"] = "no-referrer"
    return answer
