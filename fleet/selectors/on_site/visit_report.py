"""The report of a visit for the customer: why somebody came, what was found and done, what to expect."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from fleet.models import Cause, Finding, Photo, Stop, Visit, VisitKind, VisitNeed
from fleet.selectors.company.stock import parts_words
from fleet.selectors.on_site.day import KeyInLine
from fleet.selectors.plan.stop_rows import company_zone, needs_of_visits, zone_of
from fleet.selectors.programs.key_in import key_in_lines
from sites.models import ProgramLine, ProgramSet, Site, Zone

MOST_PHOTOS: Final = 4
LONG_LINES: Final = 14
# Kinds of visit and causes as a customer says them; nothing here is a diagnosis beyond what was found.
CAME_FOR: Final[dict[str, str]] = {
    VisitKind.START_UP: "to start the irrigation up for the season",
    VisitKind.AUDIT: "to check how evenly the sprinklers water",
    VisitKind.SENSOR_CHECK: "to check the soil moisture sensor",
    VisitKind.SENSOR_INSTALL: "to put in a soil moisture sensor",
    VisitKind.PROGRAM_CHANGE: "to set the timer anew",
    VisitKind.REPAIR: "to repair something",
    VisitKind.MOVE_STATION_WIRE: "to change the order in which the timer waters",
    VisitKind.DIG: "to work on buried parts",
    VisitKind.BACKFLOW_TEST: "for the test of the backflow assembly",
    VisitKind.WINTERIZE: "to make the irrigation ready for winter",
    VisitKind.COMPLAINT: "because you told us of a problem",
    VisitKind.SURVEY: "to get to know the garden",
    VisitKind.LOG_MISSING: "to read what the sensor has recorded",
}
CAUSES: Final[dict[str, str]] = {
    Cause.STUCK_WET: "The sensor told the timer that the soil is wet, whatever it was.",
    Cause.STUCK_DRY: "The sensor told the timer that the soil is dry, whatever it was.",
    Cause.READS_WET: "The sensor stood too wet to speak for the garden.",
    Cause.READS_DRY: "The sensor stood too dry to speak for the garden.",
    Cause.ERRATIC: "A loose connection let the sensor speak at random.",
    Cause.PROGRAM_DIFFERS: "The timer was set otherwise than we had left it.",
    Cause.OVERRIDDEN: "The sensor was switched off at the timer.",
    Cause.NO_POWER: "The timer had no power.",
}
TURF: Final = {
    "good": "The lawn is even and green.",
    "evenly_dry": "The lawn is evenly dry; we plan with more water.",
    "patchy": "The lawn has patches: we will look at the sprinklers there.",
    "soggy": "The lawn is too wet; we look for the reason.",
}
CAUTIONS: Final = (
    "Keep the timer as it is; a change undoes the plan. Switch the sensor off only after a word with us.",
    "Before anybody digs, have buried lines located; private lines are not marked by the locating service.",
    "Wiring, mains and backflow assemblies are for people authorised where you are. Local codes come first.",
)


@dataclass(frozen=True, slots=True)
class ProgramChange:
    """What a timer was set to before the visit and is set to since."""

    controller: str
    lines: tuple[KeyInLine, ...]


@dataclass(frozen=True, slots=True)
class VisitReport:
    """One page for the customer. `is_done` False: the visit has not been made, or was not possible."""

    visit: Visit
    site: Site
    day: date | None
    came_from: datetime | None
    technician: str
    is_done: bool
    came_for: tuple[str, ...]
    found: tuple[str, ...]
    did: tuple[str, ...]
    next_time: tuple[str, ...]
    programs: tuple[ProgramChange, ...]
    photos: tuple[Photo, ...]
    cautions: tuple[str, ...]
    unchecked: int

    @property
    def is_long(self) -> bool:
        """Whether it needs small rows to stay on one page."""
        return sum(len(change.lines) for change in self.programs) > LONG_LINES


def visit_report(*, visit_id: int) -> VisitReport | None:
    """The report of a visit; None where there is no such visit."""
    visit = Visit.objects.filter(pk=visit_id).select_related("site").first()
    if visit is None:
        return None
    stop = Stop.objects.filter(visit=visit).select_related("route__technician").first()
    counted = Finding.objects.that_count().filter(visit=visit)
    findings = list(counted.select_related("technician", "need").order_by("recorded_at"))
    zone = zone_of(visit.site.timezone, company_zone())
    needs = needs_of_visits([visit.pk]).get(visit.pk, [])
    last = findings[-1] if findings else None
    who = last.technician if last is not None and last.technician is not None else None
    return VisitReport(
        visit=visit,
        site=visit.site,
        day=stop.route.day if stop is not None else (last.recorded_at.date() if last is not None else None),
        came_from=stop.arrive.astimezone(zone) if stop is not None else None,
        technician=who.name if who is not None else (stop.route.technician.name if stop is not None else ""),
        is_done=bool(findings) or visit.state == Visit.State.DONE,
        came_for=tuple(dict.fromkeys(CAME_FOR[need.kind] for need in needs if need.kind in CAME_FOR)),
        found=tuple(dict.fromkeys(word for one in findings for word in _found(one))),
        did=tuple(dict.fromkeys(word for one in findings for word in _did(one))),
        next_time=_next_time(findings),
        programs=_programs(findings),
        photos=tuple(
            Photo.objects.filter(visit=visit)
            .exclude(finding__check_state__in=(Finding.Check.UNDONE, Finding.Check.BESIDE))
            .order_by("taken_at")[:MOST_PHOTOS]
        ),
        cautions=CAUTIONS,
        unchecked=sum(one.check_state == Finding.Check.TO_CHECK for one in findings),
    )


def _found(finding: Finding) -> list[str]:
    """What a finding found, in a customer's words."""
    found = []
    if finding.verdict == Finding.Verdict.NOT_CONFIRMED:
        found.append("What we had suspected was not so; the sensor works as it should.")
    elif finding.cause in CAUSES:
        found.append(CAUSES[finding.cause])
    if finding.turf in TURF:
        found.append(TURF[finding.turf])
    return found


def _did(finding: Finding) -> list[str]:
    """What was done."""
    did = []
    for effect in finding.effects:
        if effect.get("what") == "program":
            did.append("We set the timer to the new program below.")
        elif effect.get("what") == "threshold":
            wetter = (effect.get("after") or 0) < (effect.get("before") or 0)
            did.append(f"We set the sensor to a {'wetter' if wetter else 'drier'} setting.")
        elif effect.get("what") == "installed":
            did.append("We put in a new sensor. It is on trial until it has seen two dry spells.")
    if finding.parts or finding.parts_used:
        did.append(f"Parts used: {parts_words()(finding.parts, finding.parts_used)}.")
    return did


def _next_time(findings: list[Finding]) -> tuple[str, ...]:
    """What is still to be done."""
    raised = [effect["need"] for one in findings for effect in one.effects if effect.get("what") == "raised"]
    open_needs = VisitNeed.objects.filter(pk__in=raised, state=VisitNeed.State.OPEN)
    words = [f"We come again {CAME_FOR.get(need.kind, 'for more work')}." for need in open_needs]
    words += ["We come again to finish." for one in findings if not one.need_is_met and not one.follow_up]
    return tuple(dict.fromkeys(words))


def _programs(findings: list[Finding]) -> tuple[ProgramChange, ...]:
    """Programs that the visit changed, before and after."""
    changes = []
    for effect in (one for finding in findings for one in finding.effects if one.get("what") == "program"):
        kept = ProgramSet.objects.filter(pk=effect["set"]).select_related("controller").first()
        if kept is None:
            continue
        if effect.get("lines") is not None:
            old = [ProgramLine(**line) for line in effect["lines"]]
        else:
            before = ProgramSet.objects.filter(controller=kept.controller, as_of__lt=kept.as_of)
            was = before.order_by("-as_of").first()
            old = list(was.lines.all()) if was is not None else []
        names = dict(Zone.objects.filter(controller=kept.controller).values_list("station", "name"))
        lines = key_in_lines(old, list(kept.lines.all()), names)
        changes.append(ProgramChange(kept.controller.code, tuple(line for line in lines if line.is_change)))
    return tuple(changes)
