"""Patches inside a zone speak of its coverage: somebody should look at heads and pressure.

Common practice, no source. Even dryness is a question of the setting, and the weekly round's to answer.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

from fleet.calc.visits.value import SERVICE_MIN
from fleet.models import VisitKind, VisitNeed

TURF_WORDS = {
    "good": "good",
    "evenly_dry": "evenly dry",
    "patchy": "patchy inside a zone",
    "soggy": "soggy",
}
WAITING_VALUE = 5.0  # money a day of waiting: a planning assumption, as small as a program change
_REASON = "Patches inside a zone: check its coverage (heads, pressure), not the sensor."


def raise_need_of_turf(*, turf: str, site_id: int, controller_id: int | None, key: str, day: date) -> str:
    """A sentence on the need that the turf's colour raised, empty where it raised none.

    Parameters
    ----------
    turf
        One of `TURF_WORDS`, or empty.
    site_id
        The garden.
    controller_id
        The controller that waters it; None: not known.
    key
        Key of the finding.
    day
        Day of the visit.
    """
    if turf != "patchy":
        return ""
    waits = VisitNeed.objects.filter(site_id=site_id, kind=VisitKind.AUDIT, state=VisitNeed.State.OPEN)
    if controller_id is not None:
        waits = waits.filter(controller_id=controller_id)
    if waits.exists():
        return ""
    VisitNeed.objects.update_or_create(
        key=f"finding/{key}/turf",
        defaults={
            "site_id": site_id,
            "controller_id": controller_id,
            "kind": VisitKind.AUDIT,
            "origin": VisitNeed.Origin.FINDING,
            "reason": _REASON,
            "state": VisitNeed.State.OPEN,
            "closed_on": None,
            "withdrawn_why": "",
            "raised_on": day,
            "value_per_day": WAITING_VALUE,
            "value_parts": {"priority": WAITING_VALUE},
            "service_min": SERVICE_MIN["audit"],
        },
    )
    return f"A need was raised. {_REASON}"


def turf_words(turf: str, dry: Collection[int], soggy: Collection[int]) -> str:
    """What was seen of the turf, in words.

    Parameters
    ----------
    turf
        One of `TURF_WORDS`, or empty.
    dry, soggy
        Stations that looked dry, and soggy.
    """
    parts = [TURF_WORDS[turf]] if turf else []
    for word, stations in (("dry", dry), ("soggy", soggy)):
        if stations:
            parts.append(f"station {', '.join(str(one) for one in sorted(stations))} {word}")
    return "; ".join(parts)
