"""A customer's own data: handed out as a file, or taken away for good."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterable

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from fleet.selectors.company.company import company_day
from fleet.selectors.company.personal_data import DataTable, customer_tables, erasure_lines, photos_of
from fleet.selectors.on_site.photo_files import photo_folder, photo_path
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.services.company.erase_customer import erase_customer
from fleet.views.asked import asking_user
from sites.models import Site
from weather.calc.csv_cells import csv_lines


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def customer(request: HttpRequest, code: str) -> HttpResponse:
    """Show what is kept of a customer and what an erasure takes; POST with the garden's code erases."""
    site = _site(request, code)
    if request.method == "POST":
        if request.POST.get("code", "").strip() != site.code:
            messages.error(
                request, f"Nothing was erased: write {site.code} to say that you mean this garden."
            )
            return redirect("fleet:customer", code=site.code)
        done = erase_customer(
            site_id=site.pk,
            by=request.user.get_username(),
            at=timezone.now(),
            folder=photo_folder(data_dir=settings.DATA_DIR),
        )
        messages.success(
            request,
            f"Erased: contact facts, {done.history} entries of the history, {done.photos} photos.",
        )
        return redirect("fleet:customer", code=site.code)
    facts = {
        "site": site,
        "tables": customer_tables(site=site),
        "lines": [line for line in erasure_lines(site=site) if line.count],
    }
    return render(request, "fleet/account/customer.html", facts)


@never_cache
@require_safe
def customer_data(request: HttpRequest, code: str) -> HttpResponse:
    """Return all that is kept of a customer: one JSON file, the same as CSV tables, and the photos."""
    site = _site(request, code)
    tables = customer_tables(site=site)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        said = {
            table.name: [dict(zip(table.columns, row, strict=True)) for row in table.rows] for table in tables
        }
        archive.writestr("customer.json", json.dumps(said, default=str, indent=1, ensure_ascii=False))
        for table in tables:
            archive.writestr(f"{table.name}.csv", _csv(table))
        for sha256 in _hashes(site):
            path = photo_path(folder=photo_folder(data_dir=settings.DATA_DIR), sha256=sha256)
            if path.is_file():
                archive.write(path, f"photos/{sha256[:16]}.jpg")
    answer = HttpResponse(buffer.getvalue(), content_type="application/zip")
    safe = "".join(sign for sign in site.code if sign.isalnum() or sign in "-_")
    answer["Content-Disposition"] = f'attachment; filename="customer-{safe}.zip"'
    return answer


def _hashes(site: Site) -> Iterable[str]:
    """Photos of a garden, each once."""
    return sorted(set(photos_of(site=site).values_list("sha256", flat=True)))


def _csv(table: DataTable) -> str:
    """A table as CSV, with no cell that a spreadsheet calculates."""
    rows = (
        [json.dumps(one, ensure_ascii=False) if isinstance(one, (dict, list)) else one for one in row]
        for row in table.rows
    )
    return "".join(csv_lines(table.columns, rows))


def _site(request: HttpRequest, code: str) -> Site:
    """The garden, or the page that says it is not there."""
    try:
        return site_for(user=asking_user(request), code=code, today=company_day(now=timezone.now()))
    except SiteNotOpen as problem:
        raise Http404 from problem
