"""Findings for the office to check: what was said, by which clock, and what each changed in the book."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q

from fleet.calc.on_site.phone_clock import skew_words
from fleet.calc.on_site.sensor_reading import reading_words
from fleet.models import Cause, Finding, Photo, Submission
from fleet.selectors.choice import Choice
from fleet.selectors.on_site.photo_files import photos_of_findings
from fleet.selectors.plan.stop_rows import KIND_WORDS, company_zone, zone_of

PAGE_SIZE: Final = 25
SHOWS: Final[dict[str, tuple[str, Q]]] = {
    "to_check": ("To check", Q(check_state__in=(Finding.Check.TO_CHECK, Finding.Check.BESIDE))),
    "beside": ("Kept beside", Q(check_state=Finding.Check.BESIDE)),
    "decided": ("Accepted", Q(check_state__in=(Finding.Check.ACCEPTED, Finding.Check.CORRECTED))),
    "undone": ("Taken back", Q(check_state=Finding.Check.UNDONE)),
}


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One finding. `said` are its values in words, `changed` what it changed."""

    finding: Finding
    at: datetime
    title: str
    said: tuple[str, ...]
    changed: tuple[str, ...]
    clock: str
    photos: tuple[Photo, ...]
    program: bool


@dataclass(frozen=True, slots=True)
class AsideState:
    """A state of a stop that came when the plan had changed."""

    submission: Submission
    at: datetime
    words: str
    site: str


@dataclass(frozen=True, slots=True)
class FindingChecks:
    """A page of the list, the counts of each filter, and the states kept beside."""

    rows: tuple[CheckRow, ...]
    page: Page[Finding]
    shows: tuple[Choice, ...]
    states: tuple[AsideState, ...]
    refused: tuple[AsideState, ...]


def finding_checks(*, show: str, words: str, page: int) -> FindingChecks:
    """Findings under a filter, the newest first."""
    found = Finding.objects.all()
    for word in words.split():
        found = found.filter(
            Q(visit__site__code__icontains=word)
            | Q(visit__site__name__icontains=word)
            | Q(visit__site__address__icontains=word)
            | Q(technician__name__icontains=word)
            | Q(note__icontains=word)
        )
    counts = found.aggregate(**{key: Count("pk", filter=query) for key, (_, query) in SHOWS.items()})
    query = SHOWS.get(show, SHOWS["to_check"])[1]
    rows = found.filter(query).select_related("visit__site", "technician", "need__controller", "stop__route")
    shown = Paginator(rows.order_by("-recorded_at", "-pk"), PAGE_SIZE).get_page(page)
    findings = list(shown.object_list)
    photos = photos_of_findings(finding_ids=[one.pk for one in findings])
    skews = dict(
        Submission.objects.filter(client_key__in=[one.client_key for one in findings]).values_list(
            "client_key", "skew_s"
        )
    )
    ours = company_zone()
    return FindingChecks(
        rows=tuple(
            _row(one, tuple(photos.get(one.pk, ())), skews.get(one.client_key, 0.0), ours) for one in findings
        ),
        page=shown,
        shows=tuple(Choice(key, word, counts[key]) for key, (word, _) in SHOWS.items()),
        states=_states(Submission.Outcome.ASIDE, Submission.Outcome.ASKS),
        refused=_states(Submission.Outcome.REFUSED),
    )


def said_of(finding: Finding) -> tuple[str, ...]:
    """The values of a finding in words."""
    cause = f": {Cause(finding.cause).label}" if finding.cause else ""
    ohm, warm = finding.resistance_kohm, finding.soil_temperature_c
    parts = (
        (
            finding.verdict != Finding.Verdict.NOT_CHECKED,
            f"Suspicion {finding.get_verdict_display()}{cause}",
        ),
        (ohm is not None, "" if ohm is None else reading_words(ohm, warm)),
        (finding.threshold_kpa is not None, f"threshold left at {finding.threshold_kpa or 0:g} kPa"),
        (finding.program_keyed_in, "program keyed in"),
        (bool(finding.turf), f"turf {finding.turf.replace('_', ' ')}"),
        (bool(finding.answers.get("dry_stations")), f"dry: {_stations(finding, 'dry_stations')}"),
        (bool(finding.answers.get("soggy_stations")), f"soggy: {_stations(finding, 'soggy_stations')}"),
        (bool(finding.parts or finding.parts_used), _parts(finding)),
        (finding.service_min is not None, f"{finding.service_min or 0:g} min on site"),
        (not finding.need_is_met, "not done yet"),
        (bool(finding.follow_up), f"next time: {finding.follow_up}"),
    )
    return tuple(words for is_said, words in parts if is_said)


def _parts(finding: Finding) -> str:
    """Parts of a finding as words: the catalogue's by what the finding took off the truck."""
    counted = [f"{count} {code.replace('-', ' ')}" for code, count in sorted(finding.parts.items())]
    return "parts: " + ", ".join([*counted, *([finding.parts_used] if finding.parts_used else [])])


def _stations(finding: Finding, name: str) -> str:
    """Stations of a finding as words."""
    return f"station {', '.join(map(str, finding.answers.get(name, ())))}"


def _row(finding: Finding, photos: tuple[Photo, ...], skew_s: float, ours: ZoneInfo) -> CheckRow:
    """A finding as a row."""
    zone = zone_of(finding.visit.site.timezone, ours)
    return CheckRow(
        finding=finding,
        at=finding.recorded_at.astimezone(zone),
        title=KIND_WORDS.get(finding.kind, "something else").capitalize(),
        said=said_of(finding),
        changed=tuple(str(one) for one in finding.words),
        clock=skew_words(skew_s),
        photos=photos,
        program=any(effect.get("what") == "program" for effect in finding.effects),
    )


def _states(*outcomes: str) -> tuple[AsideState, ...]:
    """Things of phones that wait for a decision, the newest first."""
    rows = Submission.objects.filter(outcome__in=outcomes).select_related("visit__site", "user")
    if Submission.Outcome.REFUSED not in outcomes:
        rows = rows.filter(kind=Submission.Kind.STATE)
    here = company_zone()
    found = []
    for row in rows[:PAGE_SIZE]:
        fields = row.payload.get("fields", {})
        what = fields.get("state", "").replace("_", " ") or fields.get("note", "")[:80] or row.kind
        code = row.visit.site.code if row.visit is not None else "a visit that is gone"
        words = f"{row.user or 'Somebody'} says: {what}. {' '.join(map(str, row.words))}"
        found.append(AsideState(row, row.happened_at.astimezone(here), words, code))
    return tuple(found)
