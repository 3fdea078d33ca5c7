"""Decisions on recommended programs: accept, hold, take back; freeze a site."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from sites.models import Recommendation, Site
from sites.models.choices import ProgramStatus
from sites.services.history import ChangeNote, record_changes


class NotToDecide(RuntimeError):
    """The program is keyed in already; the decision would change nothing in the garden."""


@transaction.atomic
def decide_program(
    *, recommendation_id: int, status: str, by: str, at: datetime, note: str = ""
) -> Recommendation:
    """The recommendation with a new status, kept in the history.

    Parameters
    ----------
    recommendation_id
        Which.
    status
        `accepted`, `held`, or `recommended` to take a decision back.
    by, at
        Who decided, and when.
    note
        Reason in the person's words.
    """
    allowed = {ProgramStatus.ACCEPTED, ProgramStatus.HELD, ProgramStatus.RECOMMENDED}
    if status not in {one.value for one in allowed}:
        raise ValueError(f"status {status!r}: expected accepted, held or recommended")
    row = Recommendation.objects.select_related("controller__site").get(pk=recommendation_id)
    if row.status == status:
        return row
    changed = (
        Recommendation.objects.filter(pk=recommendation_id)
        .exclude(status=ProgramStatus.KEYED_IN)
        .update(status=status, decided_by=by, decided_at=at, note=note[:300])
    )
    if changed != 1:
        raise NotToDecide("This program stands in the timer already.")
    site = row.controller.site
    record_changes(
        notes=[
            ChangeNote(
                kind="recommendation",
                key=f"{site.code}/{row.controller.code}/{row.week.isoformat()}",
                site_code=site.code,
                before={"status": row.status},
                after={"status": status},
                reason=note,
            )
        ],
        by=by,
        at=at,
    )
    row.refresh_from_db()
    return row


@transaction.atomic
def freeze_programs(*, site_id: int, is_frozen: bool, by: str, at: datetime) -> None:
    """Keep a site's programs as they are, whatever the round finds; or let it change them again."""
    site = Site.objects.get(pk=site_id)
    if site.program_frozen == is_frozen:
        return
    Site.objects.filter(pk=site_id).update(program_frozen=is_frozen)
    note = ChangeNote(
        "site", site.code, site.code, {"program_frozen": not is_frozen}, {"program_frozen": is_frozen}
    )
    record_changes(notes=[note], by=by, at=at)
