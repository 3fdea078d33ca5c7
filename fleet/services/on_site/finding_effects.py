"""What a finding changes in flags, needs and the book; each change is kept so that it can be undone."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from fleet.calc.visits.settings import planned_min, visit_settings
from fleet.models import Company, Finding, Flag, Visit, VisitKind, VisitNeed
from fleet.selectors.programs.key_in import programs_to_key_in
from fleet.services.company.stock import BadStock, use_parts
from fleet.services.on_site.finding_input import BadFinding, FindingInput
from fleet.services.visits.program_outside import raise_need_of_program
from fleet.services.visits.turf_found import raise_need_of_turf, turf_words
from sites.models import Recommendation, Sensor
from sites.services.found_again import note_sensor_installed, turf_of
from sites.services.found_on_site import (
    NothingToKeyIn,
    ProgramKeyedIn,
    ThresholdNotOffered,
    key_in_recommendation,
    set_threshold,
)
from sites.services.note_turf import UnknownStation, note_turf

SETTLES_A_FLAG = (Finding.Verdict.CONFIRMED, Finding.Verdict.NOT_CONFIRMED, Finding.Verdict.OTHER_CAUSE)
Effect = dict[str, Any]


@dataclass(slots=True)
class Carried:
    """What was changed: effects for undo, sentences for the screen."""

    effects: list[Effect] = field(default_factory=list)
    words: list[str] = field(default_factory=list)

    def note(self, words: str, what: str, **facts: object) -> None:
        """One more change."""
        self.effects.append({"what": what, "words": words, **facts})
        self.words.append(words)

    def has(self, what: str) -> bool:
        """Whether a kind of thing was changed."""
        return any(effect["what"] == what for effect in self.effects)


@dataclass(frozen=True, slots=True)
class _Case:
    """A finding with all that it speaks of."""

    finding: FindingInput
    visit: Visit
    need: VisitNeed | None
    day: date
    by: str
    at: datetime
    technician_id: int | None

    @property
    def controller_id(self) -> int | None:
        """The controller of its need."""
        return self.need.controller_id if self.need is not None else None


def carry_into_book(
    *,
    finding: FindingInput,
    visit: Visit,
    need: VisitNeed | None,
    day: date,
    by: str,
    at: datetime,
    technician_id: int | None,
) -> Carried:
    """Change what the finding speaks of; raises `BadFinding`. The caller holds the transaction."""
    case, done = _Case(finding, visit, need, day, by, at, technician_id), Carried()
    for step in (_flag, _threshold, _turf, _program, _installed, _parts, _met, _patches, _follow_up):
        step(case, done)
    return done


def _flag(case: _Case, done: Carried) -> None:
    """Close the open flag of the controller with what was found; kept as truth for the watch."""
    finding, need = case.finding, case.need
    if need is None or need.controller_id is None or finding.verdict not in SETTLES_A_FLAG:
        return
    if need.origin != VisitNeed.Origin.WATCH:
        return
    truth = "other" if finding.verdict == Finding.Verdict.OTHER_CAUSE else finding.verdict
    for flag in Flag.objects.filter(controller_id=need.controller_id, closed_on__isnull=True):
        flag.closed_on, flag.closed_by, flag.truth = case.day, Flag.ClosedBy.FINDING, truth
        flag.save(update_fields=["closed_on", "closed_by", "truth"])
        words = f"The flag is closed: {Finding.Verdict(finding.verdict).label}."
        done.note(words, "flag", flag=flag.pk, truth=truth)


def _threshold(case: _Case, done: Carried) -> None:
    """Write a new threshold into the book."""
    threshold = case.finding.threshold_kpa
    if threshold is None:
        return
    if case.controller_id is None:
        raise BadFinding("threshold_kpa: say at which controller, by its need")
    try:
        moved = set_threshold(
            controller_id=case.controller_id, threshold_kpa=threshold, by=case.by, at=case.at
        )
    except ThresholdNotOffered as error:
        raise BadFinding(f"threshold_kpa: {error}") from error
    if moved.before_kpa != moved.after_kpa:
        words = f"The threshold is {moved.after_kpa:g} kPa from now on."
        facts = {"before": moved.before_kpa, "after": moved.after_kpa}
        done.note(words, "threshold", controller=case.controller_id, **facts)


def _turf(case: _Case, done: Carried) -> None:
    """Note what was seen of the turf."""
    found = case.finding
    if not (found.turf or found.dry_stations or found.soggy_stations):
        return
    site_id = case.visit.site_id
    was = turf_of(site_id=site_id)
    try:
        noted = note_turf(
            site_id=site_id,
            controller_id=case.controller_id,
            turf=found.turf,
            on=case.day,
            by=case.by,
            at=case.at,
            dry=found.dry_stations,
            soggy=found.soggy_stations,
        )
    except UnknownStation as error:
        raise BadFinding(f"dry_stations, soggy_stations: {error}") from error
    now = turf_of(site_id=site_id)
    sensors = {
        str(pk): [was.sensors[pk], seen] for pk, seen in now.sensors.items() if was.sensors[pk] != seen
    }
    zones = {str(pk): [was.zones[pk], factor] for pk, factor in now.zones.items() if was.zones[pk] != factor}
    if sensors or zones:
        seen = turf_words(found.turf, found.dry_stations, found.soggy_stations)
        done.note(f"The book notes the turf: {seen}.", "turf", sensors=sensors, zones=zones)
    if noted.held:
        listed = ", ".join(str(station) for station in noted.held)
        done.words.append(f"What station {listed} is planned with was moved within two weeks: it is held.")


def _program(case: _Case, done: Carried) -> None:
    """Make the program that was keyed in the one that is set."""
    if not case.finding.program_keyed_in:
        return
    names = _programs_of(case)
    if not names:
        raise BadFinding("program_keyed_in: no recommended program waits here")
    for pk, controller in names.items():
        try:
            kept = key_in_recommendation(recommendation_id=pk, on=case.day, by=case.by, at=case.at)
        except NothingToKeyIn as error:
            raise BadFinding(f"program_keyed_in: {error}") from error
        words = f"Controller {controller} runs the recommended program from {case.day.isoformat()}."
        if not kept.changed:
            done.words.append(words)
            continue
        done.note(
            words,
            "program",
            recommendation=pk,
            set=kept.program_set_id,
            status=kept.status_before,
            lines=list(kept.lines_before) if kept.lines_before is not None else None,
        )
        _tell_office(case, kept, done)


def _tell_office(case: _Case, kept: ProgramKeyedIn, done: Carried) -> None:
    """Raise a need where the program was not to be keyed in; that it stands in the timer is a fact."""
    if not kept.barred:
        return
    key, site_id = case.finding.client_key, case.visit.site_id
    need = raise_need_of_program(program=kept, site_id=site_id, key=key, day=case.day)
    done.note(f"{kept.barred} It stands in the timer now: the office is told.", "raised", need=need.pk)


def _programs_of(case: _Case) -> dict[int, str]:
    """Programs that were keyed in, with their controllers: those on the sheet, else those that wait."""
    ids = case.finding.program_ids
    if ids:
        rows = Recommendation.objects.filter(pk__in=ids, controller__site_id=case.visit.site_id)
        rows = rows.select_related("controller")
        if case.controller_id is not None and rows.filter(controller_id=case.controller_id).exists():
            rows = rows.filter(controller_id=case.controller_id)
        return {row.pk: row.controller.code for row in rows.order_by("controller__code")}
    waiting = programs_to_key_in(site_id=case.visit.site_id, day=case.day)
    if case.controller_id is not None:
        waiting = tuple(one for one in waiting if one.controller_id == case.controller_id)
    free = [one for one in waiting if not one.barred]
    return {one.program_set_id: one.controller for one in free or waiting}


def _installed(case: _Case, done: Carried) -> None:
    """A new sensor counts from this day: the watch tries it first, and the ledger parts before and after."""
    need = case.need
    if need is None or need.kind != VisitKind.SENSOR_INSTALL or not case.finding.need_is_met:
        return
    if need.controller_id is None or not Sensor.objects.filter(controller_id=need.controller_id).exists():
        done.words.append("Add the new sensor to the book: the survey or the drawing of the garden takes it.")
        return
    before = note_sensor_installed(controller_id=need.controller_id, on=case.day, by=case.by, at=case.at)
    if before != case.day:
        done.note(
            f"The sensor counts as new from {case.day.isoformat()}.",
            "installed",
            controller=need.controller_id,
            before=before.isoformat() if before else None,
            after=case.day.isoformat(),
        )


def _parts(case: _Case, done: Carried) -> None:
    """Take the parts that were used off the truck."""
    if not case.finding.parts:
        return
    kept = Finding.objects.only("pk").get(client_key=case.finding.client_key)
    try:
        used = use_parts(
            finding_id=kept.pk,
            technician_id=case.technician_id,
            counts=case.finding.parts,
            by=case.by,
            at=case.at,
        )
    except BadStock as error:
        raise BadFinding(f"parts: {error}") from error
    if not used.lines:
        done.words += [used.words] if used.words else []
        return
    done.note(f"Off the truck: {used.words}.", "parts", deed=used.deed)
    if used.short:
        done.words.append(f"The book had fewer on the truck: {', '.join(used.short)}. Count it.")


def _met(case: _Case, done: Carried) -> None:
    """Close the need where it was met."""
    if case.need is None or not case.finding.need_is_met:
        return
    closed = VisitNeed.objects.filter(pk=case.need.pk, state=VisitNeed.State.OPEN).update(
        state=VisitNeed.State.DONE, closed_on=case.day
    )
    if closed:
        done.note("The need is met.", "need", need=case.need.pk)


def _patches(case: _Case, done: Carried) -> None:
    """Patches ask for a look at the zone's coverage."""
    key = case.finding.client_key
    words = raise_need_of_turf(
        turf=case.finding.turf,
        site_id=case.visit.site_id,
        controller_id=case.controller_id,
        key=key,
        day=case.day,
    )
    if words:
        raised = VisitNeed.objects.get(key=f"finding/{key}/turf")
        done.note(words, "raised", need=raised.pk)


def _follow_up(case: _Case, done: Carried) -> None:
    """Raise a need from a finding."""
    if not case.finding.follow_up:
        return
    company = Company.objects.only("settings").first()
    settings = visit_settings(company.settings if company else {})
    raised, is_new = VisitNeed.objects.get_or_create(
        key=f"finding/{case.finding.client_key}",
        defaults={
            "site_id": case.visit.site_id,
            "controller_id": case.controller_id,
            "kind": "repair",
            "origin": VisitNeed.Origin.FINDING,
            "reason": f"Follow-up: {case.finding.follow_up}"[:400],
            "raised_on": case.day,
            "value_per_day": settings.follow_up_per_day,
            "value_parts": {"priority": settings.follow_up_per_day},
            "service_min": planned_min(settings, "repair"),
        },
    )
    if not is_new:
        VisitNeed.objects.filter(pk=raised.pk).update(
            state=VisitNeed.State.OPEN, closed_on=None, reason=f"Follow-up: {case.finding.follow_up}"[:400]
        )
    done.note("A follow-up need was raised.", "raised", need=raised.pk)
