"""Visit needs as rows, with what a day of waiting costs and how that came about."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Final

from django.db.models import Q

from fleet.calc.visits.value import value_sentence
from fleet.models import Company, VisitNeed

COLUMNS: Final = (
    "key",
    "site",
    "controller",
    "kind",
    "origin",
    "state",
    "raised_on",
    "closed_on",
    "value_per_day",
    "value_reason",
    "service_min",
    "skill",
    "parts",
    "earliest",
    "latest",
    "promised",
    "blocked_by",
    "locate_ticket",
    "locate_valid_until",
    "reason",
)


def rows(
    *, start: date | None = None, end: date | None = None, private: bool = False
) -> Iterator[dict[str, object]]:
    """Needs by value. Without days: those that are open; with days: those that were open then.

    Parameters
    ----------
    start, end
        First day, and the day after the last.
    private
        Not looked at: needs name no contact and no code.
    """
    del private
    company = Company.objects.only("currency").first()
    currency = company.currency if company else ""
    needs = VisitNeed.objects.select_related("site", "controller").order_by(
        "-value_per_day", "site__code", "id"
    )
    if start is None and end is None:
        needs = needs.filter(state=VisitNeed.State.OPEN)
    if start is not None:
        needs = needs.filter(Q(closed_on__isnull=True) | Q(closed_on__gte=start))
    if end is not None:
        needs = needs.filter(raised_on__lt=end)
    for need in needs.iterator(chunk_size=2_000):
        yield _row(need, currency)


def features(
    *, start: date | None = None, end: date | None = None, private: bool = False
) -> Iterator[dict[str, object]]:
    """Needs as GeoJSON points; parameters as in `rows`."""
    places = {
        code: (longitude, latitude)
        for code, longitude, latitude in VisitNeed.objects.values_list(
            "site__code", "site__longitude", "site__latitude"
        ).distinct()
    }
    for row in rows(start=start, end=end, private=private):
        longitude, latitude = places.get(str(row["site"]), (None, None))
        if longitude is not None and latitude is not None:
            yield {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [longitude, latitude]},
                "properties": {**row, "need": row["kind"], "kind": "need"},
            }


def _row(need: VisitNeed, currency: str) -> dict[str, object]:
    """One need."""
    return {
        "key": need.key,
        "site": need.site.code,
        "controller": need.controller.code if need.controller is not None else "",
        "kind": need.kind,
        "origin": need.origin,
        "state": need.state,
        "raised_on": need.raised_on.isoformat(),
        "closed_on": need.closed_on.isoformat() if need.closed_on else "",
        "value_per_day": round(need.value_per_day, 2),
        "value_reason": value_sentence(need.value_parts, currency),
        "service_min": need.service_min,
        "skill": need.skill,
        "parts": need.parts,
        "earliest": need.earliest.isoformat() if need.earliest else "",
        "latest": need.latest.isoformat() if need.latest else "",
        "promised": need.promised,
        "blocked_by": need.blocked_by,
        "locate_ticket": need.locate_ticket,
        "locate_valid_until": need.locate_valid_until.isoformat() if need.locate_valid_until else "",
        "reason": need.reason,
    }
