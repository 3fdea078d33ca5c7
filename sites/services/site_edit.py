"""Saving a site's drawing: one request, held against the version that was loaded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from sites.importing.drawing.drawing import HISTORY_KINDS, Drawing, DrawnThing, site_drawing, thing_id
from sites.importing.drawing.edit_apply import apply_edits
from sites.importing.drawing.edit_check import edit_problems, edit_warnings
from sites.importing.drawing.edits import Edit, EditProblem
from sites.models import BypassLog, Change, ProgramSet, Recommendation, Site, ZoneAudit
from sites.services.history import record_changes
from sites.services.site_edit_write import write_difference
from sites.services.staleness import mark_sites_stale

# What the balance rests on.
_WATER_KINDS = frozenset({"site", "controller", "zone", "sensor"})


class EditConflict(RuntimeError):
    """Somebody saved this site since it was loaded: the drawing as it stands, and the changes since."""

    def __init__(self, drawing: Drawing, since: Sequence[Change]) -> None:
        super().__init__(f"{drawing.code} was changed since it was loaded")
        self.drawing = drawing
        self.since = tuple(since)


class EditRefused(ValueError):
    """The edits cannot stand; nothing was written."""

    def __init__(self, problems: Sequence[EditProblem]) -> None:
        super().__init__("; ".join(f"{one.id} {one.field}: {one.reason}" for one in problems))
        self.problems = tuple(problems)


@dataclass(frozen=True, slots=True)
class SiteEdited:
    """What a save did.

    Parameters
    ----------
    drawing
        The drawing as it stands now.
    ids
        What the page called a new thing, and its id now.
    changes
        Number of entries in the history.
    warnings
        What is odd and was kept all the same.
    """

    drawing: Drawing
    ids: Mapping[str, str]
    changes: int
    warnings: tuple[EditProblem, ...]


@transaction.atomic
def save_site_edits(
    *,
    site_id: int,
    edits: Sequence[Edit],
    version: str,
    by: str,
    at: datetime,
    today: date,
    reason: str = "drawn on the map",
) -> SiteEdited:
    """Write edits of a site; all or nothing, and only onto the version that they were made on.

    Parameters
    ----------
    site_id
        The site.
    edits
        Edits whose cells are sound.
    version
        Version of the drawing on which they were made.
    by, at
        Who and when, for the history.
    today
        The balance is out of date from this day on; days after it are refused.
    reason
        For the history.

    Raises
    ------
    EditConflict
        The book holds another version by now.
    EditRefused
        Some edit cannot stand.
    """
    site = Site.objects.select_for_update().get(pk=site_id)
    before = site_drawing(site=site)
    after, problems = apply_edits(before, edits)
    if version != before.version:
        raise EditConflict(before, changes_since(code=site.code, version=version))
    touched = {edit.id for edit in edits} | _moved_with(before, after)
    problems += [] if problems else edit_problems(after, touched, today=today)
    problems += _not_to_remove(before, after)
    if problems:
        raise EditRefused(problems)
    written = write_difference(before=before, after=after, reason=reason)
    record_changes(notes=written.notes, by=by, at=at)
    if written.kinds & _WATER_KINDS:
        mark_sites_stale(since={site.pk: today})
    ids = {name: thing_id(after.things[name].kind, pk) for name, pk in written.ids.items()}
    warnings = tuple(
        EditProblem(ids.get(one.id, one.id), one.field, one.reason) for one in edit_warnings(after, touched)
    )
    return SiteEdited(site_drawing(site=site), ids, len(written.notes), warnings)


def changes_since(*, code: str, version: str) -> list[Change]:
    """Changes of a site's drawing after a version, the oldest first."""
    number = version.partition(".")[0]
    if not number.isdigit() or len(number) > 18:
        return []
    return list(
        Change.objects.filter(site_code=code, kind__in=HISTORY_KINDS, pk__gt=int(number)).order_by("pk")[:500]
    )


def _moved_with(before: Drawing, after: Drawing) -> set[str]:
    """Sensors that stand on a station whose zone went or moved: they are checked again."""
    places = {(zone.text("controller"), zone.whole("station")) for zone in before.of("zone")} - {
        (zone.text("controller"), zone.whole("station")) for zone in after.of("zone")
    }
    return {
        sensor.id
        for sensor in after.of("sensor")
        if (sensor.text("controller"), sensor.whole("station")) in places
    } | {
        one.id
        for one in after.of("zone", "sensor")
        if one.text("controller") not in {home.text("controller") for home in after.of("controller")}
    }


def _not_to_remove(before: Drawing, after: Drawing) -> list[EditProblem]:
    """Things whose records would be lost with them."""
    gone = [thing for thing in before.things.values() if thing.id not in after.things]
    return [problem for thing in gone for problem in _records_of(thing)]


def _records_of(thing: DrawnThing) -> list[EditProblem]:
    """Records that hang on a thing, as a problem."""
    if thing.kind == "controller":
        held = {
            "programs": ProgramSet.objects.filter(controller_id=thing.pk or 0).count(),
            "bypass logs": BypassLog.objects.filter(controller_id=thing.pk or 0).count(),
            "recommended programs": Recommendation.objects.filter(controller_id=thing.pk or 0).count(),
        }
    elif thing.kind == "zone":
        held = {"audits": ZoneAudit.objects.filter(zone_id=thing.pk or 0).count()}
    else:
        return []
    told = ", ".join(f"{count} {word}" for word, count in held.items() if count)
    if not told:
        return []
    reason = f"it cannot be removed: {told} would be lost with it; change what it is instead"
    return [EditProblem(thing.id, "", reason)]
