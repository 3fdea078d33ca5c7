"""Who saw, changed or took out customers' data, for the administrator."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from fleet.models import AuditEntry
from fleet.selectors.company.audit_page import AuditAsked, audit_entries
from fleet.views.asked import asked_number
from fleet.views.asked_day import asked_day


@never_cache
@require_safe
def audit_log(request: HttpRequest) -> HttpResponse:
    """Show the entries that answer the filters."""
    given = {
        name: request.GET.get(name, "")[:150].strip() for name in ("by", "site", "kind", "since", "until")
    }
    until = _start(given["until"])
    asked = AuditAsked(
        by=given["by"],
        site=given["site"],
        kind=given["kind"] if given["kind"] in AuditEntry.Kind.values else "",
        since=_start(given["since"]),
        until=until + timedelta(days=1) if until else None,
    )
    facts = {
        "found": audit_entries(asked=asked, page=asked_number(request.GET.get("page"), 1)),
        "asked": given,
        "kinds": AuditEntry.Kind.choices,
        "kept_days": settings.AUDIT_DAYS,
        "pager_query": f"{urlencode({name: value for name, value in given.items() if value})}&",
        "is_filtered": any(given.values()),
    }
    return render(request, "fleet/account/audit.html", facts)


def _start(text: str) -> datetime | None:
    """The start of a day, UTC; None where the text is none."""
    try:
        return datetime.combine(asked_day(text), time(), tzinfo=UTC) if text else None
    except ValueError:
        return None
