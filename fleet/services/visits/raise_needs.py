"""Visit needs of the day: raised where data gives a reason, refreshed or withdrawn with it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import Q

from fleet.calc.visits.settings import visit_settings
from fleet.calc.visits.value import CERTIFIED
from fleet.models import Company, PartForKind, Quote, VisitNeed
from fleet.selectors.visits.prerequisites import DIG_KINDS, lacking
from fleet.selectors.visits.service_times import service_times
from fleet.services.visits.all_wants import all_wants
from fleet.services.visits.need_wants import service_min
from fleet.services.visits.season import renew_seasons
from fleet.services.visits.wanted import Cause, Wanted, cause_of

COMPUTED = (
    VisitNeed.Origin.WATCH,
    VisitNeed.Origin.ROUND,
    VisitNeed.Origin.CALENDAR,
    VisitNeed.Origin.CONTRACT,
    VisitNeed.Origin.LOGS,
    VisitNeed.Origin.METER,
)


@dataclass(frozen=True, slots=True)
class NeedsRaised:
    """What a run of `raise_needs` changed."""

    raised: int
    refreshed: int
    withdrawn: int
    open: int

    def summary(self) -> str:
        """One line for the end of a command."""
        return (
            f"{self.open} open needs from data: {self.raised} raised, {self.refreshed} refreshed, "
            f"{self.withdrawn} withdrawn"
        )


@transaction.atomic
def raise_needs(*, day: date) -> NeedsRaised:
    """Bring the open needs in line with what flags, programs, logs, calendar and contracts say on a day.

    Running it twice changes nothing. A need keeps its key and day while its reason holds; one that a visit
    has met is not raised again for the same cause, and one that a person withdrew rests until its day.
    """
    company = Company.objects.first()
    settings = visit_settings(company.settings if company else {})
    renew_seasons(day=day)
    wants = all_wants(day=day, settings=settings)
    learned = service_times(day=day, settings=settings)
    held = list(VisitNeed.objects.select_for_update().filter(origin__in=COMPUTED, state=VisitNeed.State.OPEN))
    by_cause = _by_cause(held)
    resting = _resting(day)
    closed = {n.key: n for n in VisitNeed.objects.filter(key__in=[w.key for w in wants]) if n.state != "open"}
    fresh: list[VisitNeed] = []
    touched: list[VisitNeed] = []
    kept: set[int] = set()
    for want in wants:
        need = by_cause.get(want.cause)
        if need is None and want.cause in resting:
            continue
        if need is None and (again := closed.get(want.key)) is not None:
            if again.state == VisitNeed.State.DONE or _rests(again, day):
                continue
            need = again
        if need is None:
            fresh.append(_new_need(want, day, service_min(want.kind, settings, learned)))
            continue
        kept.add(need.pk)
        if _refresh(need, want, service_min(want.kind, settings, learned)):
            touched.append(need)
    gone = [need for need in held if need.pk not in kept]
    for need in gone:
        need.state, need.closed_on = VisitNeed.State.WITHDRAWN, day
    VisitNeed.objects.bulk_create(fresh, batch_size=2_000)
    VisitNeed.objects.bulk_update(
        [*touched, *gone],
        ["reason", "value_per_day", "value_parts", "parts", "state", "closed_on", "service_min", "origin"],
        batch_size=500,
    )
    refresh_prerequisites(day=day)
    return NeedsRaised(len(fresh), len(touched), len(gone), len(fresh) + len(kept))


@transaction.atomic
def refresh_prerequisites(*, day: date) -> int:
    """Write down which open needs lack something that must be there first; how many changed.

    Quotes whose last day is over have expired.
    """
    Quote.objects.filter(state=Quote.State.SENT, valid_until__lt=day).update(state=Quote.State.EXPIRED)
    needs = list(
        VisitNeed.objects.filter(state=VisitNeed.State.OPEN).filter(_may_lack()).select_related("quote")
    )
    lacks = lacking(needs, day=day)
    changed = []
    for need in needs:
        words = " ".join(lacks[need.pk])[:400]
        if need.blocked_by != words:
            need.blocked_by = words
            changed.append(need)
    VisitNeed.objects.bulk_update(changed, ["blocked_by"], batch_size=500)
    return len(changed)


def _may_lack() -> Q:
    """Needs that have a prerequisite at all, or lacked one."""
    kinds = set(PartForKind.objects.values_list("kind", flat=True)) | set(DIG_KINDS)
    asked = Q(kind__in=kinds) | Q(needs_approval=True) | Q(quote__isnull=False) | ~Q(blocked_by="")
    for skill in CERTIFIED:
        asked |= Q(skill__contains=skill)
    return asked


def _new_need(want: Wanted, day: date, minutes: float) -> VisitNeed:
    """A need as it is first written."""
    return VisitNeed(
        site_id=want.site_id,
        controller_id=want.controller_id,
        kind=want.kind,
        origin=want.origin,
        key=want.key[:160],
        reason=want.reason[:400],
        raised_on=day,
        value_per_day=want.value_per_day,
        value_parts=want.value_parts,
        service_min=minutes,
        skill=want.skill,
        parts=want.parts,
    )


def _refresh(need: VisitNeed, want: Wanted, minutes: float) -> bool:
    """Bring a need up to date; tell whether anything changed. Minutes that a person set stay."""
    was = need.service_min
    if not need.minutes_by_hand:
        need.service_min = minutes
    new = (want.reason[:400], want.value_per_day, want.value_parts, want.parts, VisitNeed.State.OPEN, None)
    old = (need.reason, need.value_per_day, need.value_parts, need.parts, need.state, need.closed_on)
    need.reason, need.value_per_day, need.value_parts, need.parts, need.state, need.closed_on = new
    is_taken_over = need.origin != want.origin
    need.origin = want.origin
    return old != new or was != need.service_min or is_taken_over


def _by_cause(held: list[VisitNeed]) -> dict[Cause, VisitNeed]:
    """Open needs by what makes them one with a want."""
    return {cause_of(n.origin, n.kind, n.site_id, n.controller_id): n for n in held}


def _resting(day: date) -> set[Cause]:
    """Seasonal and included visits that a person withdrew until a later day, by whichever name they came."""
    rows = VisitNeed.objects.filter(
        origin__in=(VisitNeed.Origin.CALENDAR, VisitNeed.Origin.CONTRACT),
        state=VisitNeed.State.WITHDRAWN,
        rests_until__gt=day,
    )
    return {cause_of(*row) for row in rows.values_list("origin", "kind", "site_id", "controller_id")}


def _rests(need: VisitNeed, day: date) -> bool:
    """Whether a person withdrew the need until a later day."""
    return need.rests_until is not None and day < need.rests_until
