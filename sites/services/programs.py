"""Decisions on recommended programs: accept, hold, take back; freeze a site."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db import transaction

from sites.models import Recommendation, Site
from sites.models.choices import ProgramStatus
from sites.selectors.issue_gate import outside_rules
from sites.services.history import ChangeNote, record_changes
from sites.services.program_by_hand import LEAST_REASON, ReasonNeeded

FROZEN_NOTE: Final = "the site keeps its programs"
_AT_ONCE: Final = 500


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
    outside = _outside_reason(row, note) if status == ProgramStatus.ACCEPTED else row.outside_reason
    changed = (
        Recommendation.objects.filter(pk=recommendation_id)
        .exclude(status=ProgramStatus.KEYED_IN)
        .update(status=status, decided_by=by, decided_at=at, note=note[:300], outside_reason=outside[:300])
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
                after={"status": status, **({"outside_hours": True} if outside else {})},
                reason=note or outside,
            )
        ],
        by=by,
        at=at,
    )
    row.refresh_from_db()
    return row


def _outside_reason(row: Recommendation, note: str) -> str:
    """The written reason of a program that breaks watering rules, empty where it breaks none."""
    breaks = outside_rules(recommendation_ids=[row.pk]).get(row.pk, ())
    if not breaks:
        return ""
    reason = note.strip() or row.outside_reason
    if len(reason) < LEAST_REASON:
        words = " ".join(one.sentence for one in breaks[:3])
        raise ReasonNeeded(f"{words} Accept it only with a written reason.")
    return reason


@dataclass(frozen=True, slots=True)
class Decided:
    """How many programs took a decision, how many could not, and how many of these break watering rules."""

    changed: int
    left: int
    outside: int = 0


@transaction.atomic
def decide_programs(
    *, recommendation_ids: Iterable[int], status: str, by: str, at: datetime, note: str = ""
) -> Decided:
    """Accept or hold many recommended programs at once, each kept in the history.

    Only those that wait for a decision change; others are counted as left. So are those that break watering
    rules: each takes a written reason of its own.

    Parameters
    ----------
    recommendation_ids
        Which.
    status
        `accepted` or `held`.
    by, at
        Who decided, and when.
    note
        Reason in the person's words.
    """
    if status not in {ProgramStatus.ACCEPTED.value, ProgramStatus.HELD.value}:
        raise ValueError(f"status {status!r}: expected accepted or held")
    wanted = sorted(set(recommendation_ids))
    waiting = Recommendation.objects.filter(status=ProgramStatus.RECOMMENDED)
    keys: list[tuple[int, str, str, date]] = []
    for left in range(0, len(wanted), _AT_ONCE):
        keys += waiting.filter(pk__in=wanted[left : left + _AT_ONCE]).values_list(
            "pk", "controller__site__code", "controller__code", "week"
        )
    ids = [key[0] for key in keys] if status == ProgramStatus.ACCEPTED else []
    barred = outside_rules(recommendation_ids=ids)
    keys = [key for key in keys if key[0] not in barred]
    for left in range(0, len(keys), _AT_ONCE):
        waiting.filter(pk__in=[key[0] for key in keys[left : left + _AT_ONCE]]).update(
            status=status, decided_by=by, decided_at=at, note=note[:300]
        )
    record_changes(
        notes=[
            ChangeNote(
                kind="recommendation",
                key=f"{site}/{controller}/{week.isoformat()}",
                site_code=site,
                before={"status": ProgramStatus.RECOMMENDED.value},
                after={"status": status},
                reason=note,
            )
            for _, site, controller, week in keys
        ],
        by=by,
        at=at,
    )
    return Decided(len(keys), len(wanted) - len(keys), len(barred))


@transaction.atomic
def take_back_programs(*, decided_at: datetime, by: str, at: datetime) -> Decided:
    """Give back to be decided all programs that were accepted or held together at one moment.

    What was decided anew since, or stands in the timer by now, stays and is not counted.

    Parameters
    ----------
    decided_at
        The moment of the decision.
    by, at
        Who takes it back, and when.
    """
    rows = Recommendation.objects.filter(
        decided_at=decided_at, status__in=(ProgramStatus.ACCEPTED, ProgramStatus.HELD)
    )
    keys = list(rows.values_list("controller__site__code", "controller__code", "week", "status"))
    rows.update(status=ProgramStatus.RECOMMENDED, decided_by=by, decided_at=at, note="")
    record_changes(
        notes=[
            ChangeNote(
                kind="recommendation",
                key=f"{site}/{controller}/{week.isoformat()}",
                site_code=site,
                before={"status": status},
                after={"status": ProgramStatus.RECOMMENDED.value},
                reason="",
            )
            for site, controller, week, status in keys
        ],
        by=by,
        at=at,
    )
    return Decided(len(keys), 0)


@transaction.atomic
def reopen_outside_programs(*, rule_set: str, by: str, at: datetime) -> int:
    """Take back accepted programs that break their site's rules as they are now, unless a reason is written.

    Parameters
    ----------
    rule_set
        The rule set that changed; programs of the newest week of its sites are looked at.
    by, at
        Who changed it, and when.
    """
    own = Recommendation.objects.filter(controller__site__rule_set=rule_set)
    week = own.order_by("-week").values_list("week", flat=True).first()
    if week is None:
        return 0
    accepted = own.filter(week=week, status=ProgramStatus.ACCEPTED, outside_reason="")
    ids = sorted(outside_rules(recommendation_ids=list(accepted.values_list("pk", flat=True))))
    rows = list(own.filter(pk__in=ids).select_related("controller__site"))
    own.filter(pk__in=ids).update(status=ProgramStatus.RECOMMENDED, decided_by="", decided_at=None, note="")
    record_changes(
        notes=[
            ChangeNote(
                kind="recommendation",
                key=f"{row.controller.site.code}/{row.controller.code}/{row.week.isoformat()}",
                site_code=row.controller.site.code,
                before={"status": ProgramStatus.ACCEPTED.value},
                after={"status": ProgramStatus.RECOMMENDED.value},
                reason=f"the watering rules {rule_set} changed",
            )
            for row in rows
        ],
        by=by,
        at=at,
    )
    return len(rows)


@transaction.atomic
def freeze_programs(*, site_id: int, is_frozen: bool, by: str, at: datetime, reason: str = "") -> Decided:
    """Keep a site's programs as they are, whatever the round finds; or let it change them again.

    Freezing holds the changes that wait for a decision; letting go gives them back to be decided.

    Parameters
    ----------
    site_id
        Which.
    is_frozen
        Whether its programs stay.
    by, at
        Who, and when.
    reason
        Why, in the person's words.
    """
    site = Site.objects.get(pk=site_id)
    if site.program_frozen == is_frozen:
        return Decided(0, 0)
    Site.objects.filter(pk=site_id).update(program_frozen=is_frozen)
    note = ChangeNote(
        "site", site.code, site.code, {"program_frozen": not is_frozen}, {"program_frozen": is_frozen}, reason
    )
    record_changes(notes=[note], by=by, at=at)
    rows = Recommendation.objects.filter(controller__site_id=site_id, is_change=True)
    if is_frozen:
        waiting = rows.filter(status=ProgramStatus.RECOMMENDED).values_list("pk", flat=True)
        return decide_programs(
            recommendation_ids=list(waiting), status=ProgramStatus.HELD.value, by=by, at=at, note=FROZEN_NOTE
        )
    let_go = rows.filter(status=ProgramStatus.HELD, note=FROZEN_NOTE).update(
        status=ProgramStatus.RECOMMENDED, note=""
    )
    return Decided(let_go, 0)
