"""Writes the difference between two drawings of a site, row by row, each with its entry in the history."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import shapely
from django.db.models import Model, QuerySet

from sites.importing.book.tables import Fields
from sites.importing.drawing.drawing import TABLE_OF, Drawing, DrawnThing, fingerprint_of, plain
from sites.models import Fixture
from sites.models.geometry import bounding_box
from sites.services.history import ChangeNote

_ADD_ORDER: Final = tuple(TABLE_OF)
# Where a unique column waits while its row changes places with another.
_WAITING_STATION: Final = 20_000
_UNIQUE: Final[dict[str, tuple[str, ...]]] = {"zone": ("controller", "station"), "valve_box": ("name",)}


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: entries for the history, and the row of each thing that is new."""

    notes: tuple[ChangeNote, ...]
    ids: dict[str, int]
    kinds: frozenset[str]


def write_difference(*, before: Drawing, after: Drawing, reason: str) -> Written:
    """Write what differs: what goes first, then what changes, then what comes; parents before children."""
    gone = [thing for thing in before.things.values() if thing.id not in after.things]
    kept = [(before.things[thing.id], thing) for thing in after.things.values() if thing.id in before.things]
    changed = [(old, new) for old, new in kept if _differs(old, new)]
    come = [thing for thing in after.things.values() if thing.id not in before.things]
    notes = [_removed(before, thing, reason) for thing in gone]
    notes += [_changed(before, old, new, reason) for old, new in changed]
    for thing in sorted(gone, key=lambda one: -_ADD_ORDER.index(one.kind)):
        _rows(thing.kind).filter(pk=thing.pk).delete()
    writer = _Writer(before, after)
    writer.set_aside(changed)
    for thing in sorted(come, key=lambda one: _ADD_ORDER.index(one.kind)):
        if thing.kind == "controller":
            writer.add(thing)
    for old, new in sorted(changed, key=lambda pair: _ADD_ORDER.index(pair[1].kind)):
        writer.change(old, new)
    for thing in sorted(come, key=lambda one: _ADD_ORDER.index(one.kind)):
        if thing.kind != "controller":
            writer.add(thing)
    notes += [_added(after, thing, writer.ids[thing.id], reason) for thing in come]
    kinds = frozenset(thing.kind for thing in [*gone, *come, *(new for _, new in changed)])
    return Written(tuple(notes), writer.ids, kinds)


class _Writer:
    """Turns things into rows; knows the rows that things refer to."""

    def __init__(self, before: Drawing, after: Drawing) -> None:
        self.site_id = after.site_id
        self.ids: dict[str, int] = {}
        self.controllers = {
            thing.text("controller"): thing.pk for thing in before.of("controller") if thing.pk is not None
        }

    def set_aside(self, changed: Iterable[tuple[DrawnThing, DrawnThing]]) -> None:
        """Free stations and names that change hands."""
        for old, new in changed:
            if any(old.fields[name] != new.fields[name] for name in _UNIQUE.get(new.kind, ())):
                wait = {"station": _WAITING_STATION + (new.pk or 0) % 10_000} if new.kind == "zone" else {
                    "name": f"\t{new.pk}"
                }  # fmt: skip
                _rows(new.kind).filter(pk=new.pk).update(**wait)

    def change(self, old: DrawnThing, new: DrawnThing) -> None:
        """Write what differs of one thing."""
        fields = {name: value for name, value in new.fields.items() if old.fields[name] != value}
        row = self._columns(new, fields)
        if not _same_shape(old, new):
            row |= _place(new)
        _rows(new.kind).filter(pk=new.pk).update(**row)

    def add(self, thing: DrawnThing) -> None:
        """Write a new row; a thing that comes back takes its old one."""
        row = self._columns(thing, dict(thing.fields)) | _place(thing)
        if "site" in [field.name for field in TABLE_OF[thing.kind].model._meta.get_fields()]:
            row["site_id"] = self.site_id
        if TABLE_OF[thing.kind].model is Fixture:
            row["kind"] = thing.kind
        if thing.pk is not None:
            row["id"] = thing.pk
        kept = _rows(thing.kind).create(**row)
        self.ids[thing.id] = int(kept.pk)
        if thing.kind == "controller":
            self.controllers[thing.text("controller")] = int(kept.pk)

    def _columns(self, thing: DrawnThing, fields: Fields) -> Fields:
        """Columns of fields: references as ids."""
        row = dict(fields)
        if "controller" in row and thing.kind == "controller":
            row["code"] = row.pop("controller")
        elif "controller" in row:
            row["controller_id"] = self.controllers[str(row.pop("controller"))]
        if "zone" in row:
            zone = str(row.pop("zone"))
            row["zone_id"] = self.ids[zone] if zone in self.ids else int(zone.rpartition("-")[2])
        return row


def _rows(kind: str) -> QuerySet[Model]:
    """All rows of a kind's table."""
    return QuerySet(TABLE_OF[kind].model)


def _place(thing: DrawnThing) -> Fields:
    """Columns that follow from a shape."""
    shape = thing.shape
    row: Fields = {"geometry": None if shape is None else shapely.to_wkb(shape), **bounding_box(shape)}
    if TABLE_OF[thing.kind].own_key == "fingerprint":
        row["fingerprint"] = fingerprint_of(shape)
    if thing.kind == "site":
        inside = None if shape is None else shapely.point_on_surface(shape)
        row |= {"longitude": inside and float(inside.x), "latitude": inside and float(inside.y)}
    return row


def _same_shape(old: DrawnThing, new: DrawnThing) -> bool:
    """Whether two states have one shape."""
    if old.shape is None or new.shape is None:
        return old.shape is new.shape
    return bool(shapely.equals_exact(old.shape, new.shape))


def _differs(old: DrawnThing, new: DrawnThing) -> bool:
    """Whether anything of a thing differs."""
    return dict(old.fields) != dict(new.fields) or not _same_shape(old, new)


def _all_of(thing: DrawnThing) -> dict[str, object]:
    """All that is known of a thing, as the history keeps it."""
    told = {name: plain(value) for name, value in thing.fields.items() if value not in (None, "")}
    return told | ({"geometry": plain(thing.shape)} if thing.shape is not None else {})


def _added(after: Drawing, thing: DrawnThing, pk: int, reason: str) -> ChangeNote:
    """A new thing for the history."""
    return ChangeNote(thing.kind, after.key_of(thing), after.code, None, _all_of(thing), reason, pk)


def _removed(before: Drawing, thing: DrawnThing, reason: str) -> ChangeNote:
    """A thing that went, with all that it takes to bring it back."""
    return ChangeNote(thing.kind, before.key_of(thing), before.code, _all_of(thing), None, reason, thing.pk)


def _changed(before: Drawing, old: DrawnThing, new: DrawnThing, reason: str) -> ChangeNote:
    """A thing's differing values, before and after."""
    names = [name for name, value in new.fields.items() if old.fields[name] != value]
    was = {name: plain(old.fields[name]) for name in names}
    now = {name: plain(new.fields[name]) for name in names}
    if not _same_shape(old, new):
        was["geometry"], now["geometry"] = plain(old.shape), plain(new.shape)
    return ChangeNote(new.kind, before.key_of(old), before.code, was, now, reason, new.pk)
