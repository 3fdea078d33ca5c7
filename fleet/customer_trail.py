"""Which pages show, change or hand out customers' data, and the layer that writes it into the audit log."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from fleet.access import THINGS
from fleet.models import AuditEntry, Stop
from fleet.request_log import request_id
from fleet.selectors.site.thing_access import WAY_TO_SITE
from fleet.services.company.audit import WORDS_BEGIN, record_audit

# view name -> what stands there, in words; names, addresses, contacts, ways in, gate codes, photos.
SHOWS: Final[dict[str, str]] = {
    "fleet:site": "garden with contact and way in",
    "fleet:site-list": "list of gardens",
    "fleet:site-draw": "garden's facts in the drawing",
    "fleet:search": "search of gardens",
    "fleet:search-suggest": "search of gardens",
    "fleet:stop": "stop with contact and way in",
    "fleet:stop-map": "map of a stop",
    "fleet:stop-move": "stop to be moved",
    "fleet:round": "programs of the week",
    "fleet:rule-set": "gardens that a rule set binds",
    "fleet:station-label": "label for the lid of a timer",
    "fleet:day": "stops of a day",
    "fleet:route-sheet": "route sheets of a day",
    "fleet:phone-pack": "list of the day's pages for a phone",
    "fleet:visits": "list of visits",
    "fleet:need": "visit",
    "fleet:findings": "findings",
    "fleet:visit-report": "visit report",
    "fleet:customer-report": "visit report by link",
    "fleet:survey": "survey with way in",
    "fleet:sheet": "program sheet",
    "fleet:sheets": "program sheets of a day",
    "fleet:installation-sheet": "installation sheet",
    "fleet:photo": "photo",
    "fleet:week": "board of the week",
    "fleet:calls": "customers to call",
    "fleet:appointment": "hours for a customer",
    "fleet:water-customer": "customer's water page",
    "fleet:quotes": "list of quotes",
    "fleet:quote": "quote",
    "fleet:quote-paper": "quote on paper",
    "fleet:contracts": "list of contracts",
    "fleet:contract": "contract",
    "fleet:rebate-dossier": "dossier for a rebate",
    "fleet:customer": "all data of a customer",
}
TAKES: Final[dict[str, str]] = {
    "fleet:site-zones-csv": "zones as CSV",
    "fleet:site-water-csv": "water as CSV",
    "fleet:water-csv": "water of all gardens as CSV",
    "fleet:routes-csv": "routes as CSV",
    "fleet:routes-geojson": "routes as GeoJSON",
    "fleet:routes-ics": "routes as a calendar",
    "fleet:water-gpkg": "water of all gardens as GeoPackage",
    "fleet:rebate-csv": "gardens of a rebate as CSV",
    "fleet:customer-data": "all data of a customer as a file",
}
CHANGES: Final[dict[str, str]] = {
    "fleet:site-draw-save": "garden's drawing and facts",
    "fleet:site-restore": "earlier state of a garden",
    "fleet:survey-answer": "answer of the survey",
    "fleet:bring-save": "imported file",
    "fleet:report-link": "link to a visit report",
    "fleet:customer": "erasure of a customer's data",
}


class CustomerTrailMiddleware:
    """Keeps one row for each answer that showed, changed or handed out customers' data."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The response of the next layer."""
        response = self.get_response(request)
        match = request.resolver_match
        found = _kind_of(request.method or "", match.view_name, response) if match is not None else None
        if found is None or match is None:
            return response
        kind, what = found
        words = request.GET.get("q", "").strip()[:60]
        record_audit(
            by=request.user.get_username() if request.user.is_authenticated else "customer",
            what=f"{what}{WORDS_BEGIN}{words}”" if words else what,
            at=timezone.now(),
            kind=kind,
            site_code=_site_code(match.view_name, match.kwargs),
            request_id=request_id(),
        )
        return response


def _kind_of(method: str, name: str, response: HttpResponse) -> tuple[str, str] | None:
    """Seen, taken or changed, and what; None where nothing of it went out or in."""
    if method == "POST":
        done = response.status_code < 400 and name in CHANGES
        return (AuditEntry.Kind.CHANGED, CHANGES[name]) if done else None
    if response.status_code != 200 or method != "GET":
        return None
    if name in TAKES:
        return AuditEntry.Kind.TAKEN, TAKES[name]
    return (AuditEntry.Kind.SEEN, SHOWS[name]) if name in SHOWS else None


def _site_code(name: str, words: dict[str, object]) -> str:
    """The code of the garden that an address is of; empty for lists."""
    if "code" in words:
        return str(words["code"])
    kind = THINGS.get(name)
    way = "visit__site" if kind is Stop else WAY_TO_SITE.get(kind) if kind is not None else None
    if kind is None or way is None or "pk" not in words:
        return ""
    rows = kind._base_manager.filter(pk=words["pk"]).values_list(f"{way}__code", flat=True)
    return str(rows.first() or "")
