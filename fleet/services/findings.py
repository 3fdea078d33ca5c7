"""What a technician found: kept as truth, and carried into flags, needs and the site book."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db import transaction

from fleet.calc.sensor_reading import reading_words
from fleet.calc.visit_value import SERVICE_MIN
from fleet.models import Cause, Finding, Flag, Stop, Technician, Visit, VisitNeed
from fleet.selectors.key_in import programs_to_key_in
from fleet.services.turf_found import TURF_WORDS, raise_need_of_turf
from sites.services.found_on_site import (
    ThresholdNotOffered,
    key_in_recommendation,
    note_turf,
    set_threshold,
)

SETTLES_A_FLAG = (Finding.Verdict.CONFIRMED, Finding.Verdict.NOT_CONFIRMED, Finding.Verdict.OTHER_CAUSE)
FOLLOW_UP_VALUE = 5.0  # money a day of waiting: a planning assumption, as small as a program change


class BadFinding(ValueError):
    """A finding that cannot be kept; the message says which field, and what was expected."""


@dataclass(frozen=True, slots=True)
class FindingInput:
    """What the phone or the office sends about one need at one stop.

    Parameters
    ----------
    client_key
        Made by the sender: sending twice does no harm.
    stop_id
        The stop.
    need_id
        The need it answers; None: something else was found.
    recorded_at
        When, by the sender's clock.
    verdict, cause
        Whether the suspicion was right, and what it was, in the watch's words.
    resistance_kohm, soil_temperature_c
        Reading of the sensor [kohm] and soil temperature [degC].
    threshold_kpa
        Threshold as left [kPa]; None: not touched.
    program_keyed_in
        The recommended program now stands in the controller.
    turf
        good, evenly_dry, patchy, soggy, or empty.
    need_is_met
        False: somebody must come again.
    """

    client_key: str
    stop_id: int
    recorded_at: datetime
    need_id: int | None = None
    verdict: str = Finding.Verdict.NOT_CHECKED
    cause: str = ""
    resistance_kohm: float | None = None
    soil_temperature_c: float | None = None
    threshold_kpa: float | None = None
    program_keyed_in: bool = False
    turf: str = ""
    parts_used: str = ""
    service_min: float | None = None
    follow_up: str = ""
    note: str = ""
    need_is_met: bool = True
    answers: Mapping[str, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not 0 < len(self.client_key) <= 64:
            raise BadFinding("client_key: expected 1 to 64 characters")
        if self.verdict not in Finding.Verdict.values:
            raise BadFinding(f"verdict: expected one of {', '.join(Finding.Verdict.values)}")
        if self.cause and self.cause not in Cause.values:
            raise BadFinding(f"cause: expected one of {', '.join(Cause.values)}")
        if self.turf and self.turf not in TURF_WORDS:
            raise BadFinding(f"turf: expected one of {', '.join(TURF_WORDS)}")
        for name, low, high in (
            ("resistance_kohm", 0.0, 1e6),
            ("soil_temperature_c", -30.0, 60.0),
            ("threshold_kpa", 0.0, 300.0),
            ("service_min", 0.0, 1440.0),
        ):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and low <= value <= high):
                raise BadFinding(f"{name}: expected a number from {low:g} to {high:g}")


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
    visit, person, day = stop.visit, stop.route.technician, stop.route.day
    need = _need(visit, finding.need_id)
    kept = _keep(finding, stop, visit, person, need)
    changes: list[str] = []
    if finding.resistance_kohm is not None:
        changes.append(f"The sensor: {reading_words(finding.resistance_kohm, finding.soil_temperature_c)}.")
    flag_closed = _settle_flag(finding, need, day, changes)
    _carry_threshold(finding, need, by, changes)
    if finding.turf:
        note_turf(
            site_id=visit.site_id,
            controller_id=need.controller_id if need is not None else None,
            turf=finding.turf,
            on=day,
            by=by,
            at=finding.recorded_at,
        )
    _carry_program(finding, visit, need, day, by, changes)
    need_closed = _settle_need(finding, need, day, changes)
    turf = raise_need_of_turf(
        turf=finding.turf,
        site_id=visit.site_id,
        controller_id=need.controller_id if need is not None else None,
        key=finding.client_key,
        day=day,
    )
    changes += [turf] if turf else []
    if finding.follow_up:
        _follow_up(finding, visit, need, day)
        changes.append("A follow-up need was raised.")
    return FindingRecorded(kept.pk, True, need_closed, flag_closed, tuple(changes))


def _need(visit: Visit, need_id: int | None) -> VisitNeed | None:
    """The need that is answered."""
    if need_id is None:
        return None
    need = visit.needs.filter(pk=need_id).select_related("controller").first()
    if need is None:
        raise BadFinding(f"need_id: {need_id} is no need of this visit")
    return need


def _keep(
    finding: FindingInput, stop: Stop, visit: Visit, person: Technician, need: VisitNeed | None
) -> Finding:
    """Write the finding itself."""
    return Finding.objects.create(
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
        parts_used=finding.parts_used[:200],
        service_min=finding.service_min,
        follow_up=finding.follow_up[:300],
        note=finding.note,
        answers=dict(finding.answers),
    )


def _settle_flag(finding: FindingInput, need: VisitNeed | None, day: date, changes: list[str]) -> bool:
    """Close the open flag of the controller with what was found; kept as truth for the watch."""
    if need is None or need.controller_id is None or finding.verdict not in SETTLES_A_FLAG:
        return False
    if need.origin != VisitNeed.Origin.WATCH:
        return False
    truth = "other" if finding.verdict == Finding.Verdict.OTHER_CAUSE else finding.verdict
    closed = Flag.objects.filter(controller_id=need.controller_id, closed_on__isnull=True).update(
        closed_on=day, closed_by=Flag.ClosedBy.FINDING, truth=truth
    )
    if closed:
        changes.append(f"The flag is closed: {Finding.Verdict(finding.verdict).label}.")
    return bool(closed)


def _carry_threshold(finding: FindingInput, need: VisitNeed | None, by: str, changes: list[str]) -> None:
    """Write a new threshold into the book."""
    if finding.threshold_kpa is None:
        return
    if need is None or need.controller_id is None:
        raise BadFinding("threshold_kpa: say at which controller, by its need")
    try:
        done = set_threshold(
            controller_id=need.controller_id,
            threshold_kpa=finding.threshold_kpa,
            by=by,
            at=finding.recorded_at,
        )
    except ThresholdNotOffered as error:
        raise BadFinding(f"threshold_kpa: {error}") from error
    if done.before_kpa != done.after_kpa:
        changes.append(f"The threshold is {done.after_kpa:g} kPa from now on.")


def _carry_program(
    finding: FindingInput,
    visit: Visit,
    need: VisitNeed | None,
    day: date,
    by: str,
    changes: list[str],
) -> None:
    """Make the recommended program the one that is set."""
    if not finding.program_keyed_in:
        return
    waiting = programs_to_key_in(site_id=visit.site_id, day=day)
    if need is not None and need.controller_id is not None:
        waiting = tuple(one for one in waiting if one.controller_id == need.controller_id)
    if not waiting:
        raise BadFinding("program_keyed_in: no recommended program waits here")
    for one in waiting:
        key_in_recommendation(recommendation_id=one.program_set_id, on=day, by=by, at=finding.recorded_at)
        changes.append(f"Controller {one.controller} runs the recommended program from {day.isoformat()}.")


def _settle_need(finding: FindingInput, need: VisitNeed | None, day: date, changes: list[str]) -> bool:
    """Close the need where it was met."""
    if need is None or not finding.need_is_met:
        return False
    closed = VisitNeed.objects.filter(pk=need.pk, state=VisitNeed.State.OPEN).update(
        state=VisitNeed.State.DONE, closed_on=day
    )
    if closed:
        changes.append("The need is met.")
    return bool(closed)


def _follow_up(finding: FindingInput, visit: Visit, need: VisitNeed | None, day: date) -> None:
    """Raise a need from a finding."""
    VisitNeed.objects.get_or_create(
        key=f"finding/{finding.client_key}",
        defaults={
            "site_id": visit.site_id,
            "controller_id": need.controller_id if need is not None else None,
            "kind": "repair",
            "origin": VisitNeed.Origin.FINDING,
            "reason": f"Follow-up: {finding.follow_up}"[:400],
            "raised_on": day,
            "value_per_day": FOLLOW_UP_VALUE,
            "value_parts": {"priority": FOLLOW_UP_VALUE},
            "service_min": SERVICE_MIN["repair"],
        },
    )
