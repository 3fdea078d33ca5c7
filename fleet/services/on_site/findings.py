"""What a technician found: kept as truth, and carried into flags, needs and the site book."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction

from fleet.calc.on_site.sensor_reading import reading_words
from fleet.models import Finding, Photo, Stop, Technician, Visit, VisitNeed
from fleet.services.on_site.finding_effects import carry_into_book
from fleet.services.on_site.finding_input import BadFinding, FindingInput

__all__ = ["BadFinding", "FindingInput", "FindingRecorded", "record_finding"]


@dataclass(frozen=True, slots=True)
class FindingRecorded:
    """What a finding changed. `changes` are sentences for the screen."""

    finding_id: int
    is_new: bool
    need_closed: bool
    flag_closed: bool
    changes: tuple[str, ...]


@transaction.atomic
def record_finding(*, finding: FindingInput, by: str) -> FindingRecorded:
    """Keep a finding and carry it into flag, need, sensor and program; raises `BadFinding`."""
    known = Finding.objects.filter(client_key=finding.client_key).first()
    if known is not None:
        return FindingRecorded(known.pk, is_new=False, need_closed=False, flag_closed=False, changes=())
    stop = (
        Stop.objects.filter(pk=finding.stop_id, visit__isnull=False)
        .select_related("visit__site", "route__technician")
        .first()
    )
    if stop is None or stop.visit is None:
        raise BadFinding(f"stop_id: {finding.stop_id} is no stop at a site any more")
    visit = stop.visit
    need = need_of(visit, finding.need_id)
    kept = _keep(finding, stop, visit, stop.route.technician, need)
    done = carry_into_book(
        finding=finding,
        visit=visit,
        need=need,
        day=stop.route.day,
        by=by,
        at=finding.recorded_at,
        technician_id=stop.route.technician_id,
    )
    words = []
    if finding.resistance_kohm is not None:
        words.append(f"The sensor: {reading_words(finding.resistance_kohm, finding.soil_temperature_c)}.")
    words += done.words
    Finding.objects.filter(pk=kept.pk).update(effects=done.effects, words=words)
    return FindingRecorded(kept.pk, True, done.has("need"), done.has("flag"), tuple(words))


@transaction.atomic
def keep_beside(*, finding: FindingInput, visit_id: int, technician_id: int | None) -> FindingRecorded:
    """Keep a finding whose plan has changed meanwhile; it changes nothing before the office says so."""
    known = Finding.objects.filter(client_key=finding.client_key).first()
    if known is not None:
        return FindingRecorded(known.pk, is_new=False, need_closed=False, flag_closed=False, changes=())
    visit = Visit.objects.filter(pk=visit_id).select_related("site").first()
    if visit is None:
        raise BadFinding("this visit is not in the book any more")
    person = Technician.objects.filter(pk=technician_id or 0).first()
    need = visit.needs.filter(pk=finding.need_id).first() if finding.need_id else None
    stop = Stop.objects.filter(visit=visit).first()
    kept = _keep(finding, stop, visit, person, need)
    Finding.objects.filter(pk=kept.pk).update(check_state=Finding.Check.BESIDE)
    words = ("It is kept beside; the office decides what it changes.",)
    return FindingRecorded(kept.pk, True, need_closed=False, flag_closed=False, changes=words)


def need_of(visit: Visit, need_id: int | None) -> VisitNeed | None:
    """The need that is answered; raises `BadFinding` where the visit has no such need."""
    if need_id is None:
        return None
    need = visit.needs.filter(pk=need_id).select_related("controller").first()
    if need is None:
        raise BadFinding(f"need_id: {need_id} is no need of this visit")
    return need


def _keep(
    finding: FindingInput,
    stop: Stop | None,
    visit: Visit,
    person: Technician | None,
    need: VisitNeed | None,
) -> Finding:
    """Write the finding itself, and give it the photos that came before it."""
    kept = Finding.objects.create(
        client_key=finding.client_key,
        visit=visit,
        stop=stop,
        technician=person,
        recorded_at=finding.recorded_at,
        kind=need.kind if need is not None else "",
        verdict=finding.verdict,
        cause=finding.cause,
        resistance_kohm=finding.resistance_kohm,
        soil_temperature_c=finding.soil_temperature_c,
        threshold_kpa=finding.threshold_kpa,
        program_keyed_in=finding.program_keyed_in,
        turf=finding.turf,
        parts=dict(finding.parts),
        parts_used=finding.parts_used[:200],
        service_min=finding.service_min,
        follow_up=finding.follow_up[:300],
        note=finding.note,
        answers=finding.all_answers(),
        need=need,
        need_is_met=finding.need_is_met,
    )
    Photo.objects.filter(finding_key=finding.client_key, finding__isnull=True, visit=visit).update(
        finding=kept
    )
    return kept
