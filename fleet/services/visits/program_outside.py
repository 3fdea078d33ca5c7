"""A timer was set to a program that was not to be keyed in: the fact stands, and the office has to act."""

from __future__ import annotations

from datetime import date

from fleet.calc.visits.settings import planned_min, visit_settings
from fleet.models import Company, VisitKind, VisitNeed
from sites.services.found_on_site import ProgramKeyedIn

_END = " Write the reason and accept it, or send somebody to set the timer back."


def raise_need_of_program(*, program: ProgramKeyedIn, site_id: int, key: str, day: date) -> VisitNeed:
    """The need that a barred program raises when a technician keyed it in all the same.

    Parameters
    ----------
    program
        The program, and why it was not to be keyed in.
    site_id
        Its garden.
    key
        Key of the finding.
    day
        Day of the visit.
    """
    company = Company.objects.only("settings").first()
    settings = visit_settings(company.settings if company else {})
    reason = f"A program was keyed in that was not to be. {program.barred}"[: 400 - len(_END)] + _END
    need, _ = VisitNeed.objects.update_or_create(
        key=f"finding/{key}/program/{program.recommendation_id}",
        defaults={
            "site_id": site_id,
            "controller_id": program.controller_id,
            "kind": VisitKind.PROGRAM_CHANGE,
            "origin": VisitNeed.Origin.FINDING,
            "reason": reason,
            "state": VisitNeed.State.OPEN,
            "closed_on": None,
            "withdrawn_why": "",
            "raised_on": day,
            "value_per_day": settings.follow_up_per_day,
            "value_parts": {"priority": settings.follow_up_per_day},
            "service_min": planned_min(settings, "program_change"),
        },
    )
    return need
