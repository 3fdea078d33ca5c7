"""Brings back what an entry of the history tells of; itself an entry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import cast

import shapely
from django.db import transaction

from sites.importing.drawing.drawing import EXCHANGE, FIELDS, Drawing, site_drawing, thing_id
from sites.importing.drawing.edits import Edit, EditProblem, parse_fields
from sites.importing.forms.geojson import Json
from sites.models import Change, Site
from sites.models.history import can_restore
from sites.services.exchange_stations import undo_exchange
from sites.services.site_edit import EditRefused, save_site_edits


class NothingToRestore(ValueError):
    """The entries tell of nothing that can be brought back; says why."""


@dataclass(frozen=True, slots=True)
class Restored:
    """Which site, and how many things changed."""

    site_code: str
    changes: int


@transaction.atomic
def restore_changes(
    *, change_ids: Sequence[int], by: str, at: datetime, today: date, site_id: int | None = None
) -> Restored:
    """Put things back as they were before some entries of one site's history.

    Parameters
    ----------
    change_ids
        The entries; those of one save belong together.
    by, at
        Who and when, for the entry that this makes.
    today
        The balance is out of date from this day on.
    site_id
        Entries of another site are refused.

    Raises
    ------
    NothingToRestore
        No such entries, of several sites, or all is as it was.
    EditRefused
        What was before cannot stand in the book of today; says why.
    """
    entries = list(Change.objects.filter(pk__in=list(change_ids)).order_by("-pk"))
    if not entries or len({entry.site_code for entry in entries}) > 1:
        raise NothingToRestore("These entries are not in the history of one site.")
    site = Site.objects.filter(code=entries[0].site_code).first()
    if site is None or site_id not in (None, site.pk) or not all(can_restore(entry) for entry in entries):
        raise NothingToRestore("This entry tells of nothing that can be put back here.")
    since = f"{entries[-1].at:%Y-%m-%d %H:%M}"
    for entry in entries:
        if entry.kind == EXCHANGE:
            undo_exchange(change_id=entry.pk, by=by, at=at, today=today)
    told = [entry for entry in entries if entry.kind != EXCHANGE]
    if not told:
        return Restored(site.code, 1)
    drawing = site_drawing(site=site)
    edits = [edit for edit in (_inverse(entry, drawing) for entry in told) if edit is not None]
    done = save_site_edits(
        site_id=site.pk,
        edits=_merged(edits),
        version=drawing.version,
        by=by,
        at=at,
        today=today,
        reason=f"restored as before the change of {since} UTC by {entries[-1].by}"[:300],
    )
    if not done.changes:
        raise NothingToRestore("All is as it was before this change already.")
    return Restored(site.code, done.changes)


def _inverse(entry: Change, drawing: Drawing) -> Edit | None:
    """The edit that takes an entry back."""
    known = _thing_of(entry, drawing)
    if entry.action == Change.Action.ADDED:
        return Edit(known, entry.kind, "remove") if known else None
    if entry.action == Change.Action.CHANGED and not known:
        raise EditRefused(
            [EditProblem(entry.key, "", "it is not in the book any more: restore its removal first")]
        )
    if entry.action == Change.Action.REMOVED and known:
        return None
    before = dict(entry.before or {})
    hexed = before.pop("geometry", None)
    has_shape = "geometry" in (entry.before or {})
    shape = shapely.from_wkb(bytes.fromhex(str(hexed))) if hexed else None
    assumed = before.pop("assumed", None)
    cells = {name: value for name, value in before.items() if name in FIELDS[entry.kind]}
    identity = known or (thing_id(entry.kind, entry.thing_id) if entry.thing_id else f"new-{entry.pk}")
    fields, problems = parse_fields(identity, entry.kind, cast("dict[str, Json]", cells))
    if problems:
        raise EditRefused(problems)
    if assumed is not None or (entry.kind == "controller" and entry.action == Change.Action.REMOVED):
        fields["assumed"] = str(assumed or "")
    deed = "add" if entry.action == Change.Action.REMOVED else "change"
    return Edit(identity, entry.kind, deed, fields, shape, has_shape or deed == "add")


def _thing_of(entry: Change, drawing: Drawing) -> str:
    """The thing of which an entry tells, empty where it is gone: by its row, else by its key."""
    if entry.thing_id is not None:
        name = thing_id(entry.kind, entry.thing_id)
        return name if name in drawing.things else ""
    return next(
        (thing.id for thing in drawing.of(entry.kind) if drawing.key_of(thing)[:160] == entry.key), ""
    )


def _merged(edits: Sequence[Edit]) -> list[Edit]:
    """One edit a thing: later ones (of older entries) lay over the ones before."""
    by_id: dict[str, Edit] = {}
    for edit in edits:
        first = by_id.get(edit.id)
        if first is None or edit.deed != "change" or first.deed != "change":
            by_id[edit.id] = edit
        else:
            shape = edit if edit.has_shape else first
            fields = dict(first.fields) | dict(edit.fields)
            by_id[edit.id] = Edit(
                edit.id, edit.kind, "change", fields, shape.shape, first.has_shape or edit.has_shape
            )
    return list(by_id.values())
