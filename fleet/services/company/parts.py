"""Writes the catalogue of parts, what kinds of visit ask for, and minima; each change goes to the history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from fleet.calc.visits.usual_parts import USUAL_PARTS
from fleet.models import Part, PartForKind, StockMinimum, StockPlace, VisitKind
from fleet.services.company.stock import MOST, BadStock, add_places
from sites.services.history import ChangeNote, record_changes


@dataclass(frozen=True, slots=True)
class PartInput:
    """What a person says of a part; `kinds`: how many each kind of visit cannot do without."""

    code: str
    name: str
    unit: str
    price: float | None
    is_active: bool
    kinds: Mapping[str, int]

    def __post_init__(self) -> None:
        if not self.code or not all(
            sign.isascii() and (sign.isalnum() or sign in "-_") for sign in self.code
        ):
            raise BadStock("code: expected letters, digits and hyphens, such as box-lid")
        if not self.name.strip() or not self.unit.strip():
            raise BadStock("name and unit: expected words, such as valve box lid, piece")
        if self.price is not None and not 0 <= self.price <= 1e6:
            raise BadStock("price: expected a number from 0 to 1,000,000")
        for kind, count in self.kinds.items():
            if kind not in VisitKind.values or not 1 <= count <= MOST:
                raise BadStock(f"needed for {kind}: expected a whole number from 1 to {MOST}")


@dataclass(frozen=True, slots=True)
class PartSaved:
    """What was written."""

    part_id: int
    is_new: bool
    changed: bool


@transaction.atomic
def save_part(*, part_id: int | None, part: PartInput, by: str, now: datetime) -> PartSaved:
    """Keep a part of the catalogue; raises `BadStock` where code or name is taken."""
    row = Part() if part_id is None else Part.objects.select_for_update().get(pk=part_id)
    before = None if part_id is None else _facts(row)
    others = Part.objects.exclude(pk=row.pk)
    name = part.name.strip()
    if others.filter(code=part.code).exists() or others.filter(name__iexact=name).exists():
        raise BadStock(f"code or name: another part is called {part.code} or {name} already")
    row.code, row.name, row.unit = part.code[:40], name[:80], part.unit.strip()[:20]
    row.price, row.is_active = part.price, part.is_active
    row.save()
    PartForKind.objects.filter(part=row).exclude(kind__in=part.kinds).delete()
    for kind, count in part.kinds.items():
        PartForKind.objects.update_or_create(part=row, kind=kind, defaults={"count": count})
    after = _facts(row)
    if before != after:
        note = ChangeNote("part", row.code, "", before, after, thing_id=row.pk)
        record_changes(notes=[note], by=by, at=now)
    return PartSaved(row.pk, before is None, before != after)


@transaction.atomic
def set_minima(*, place_id: int, least: Mapping[str, int | None], by: str, now: datetime) -> int:
    """Set how many of each part a place should hold, None: no minimum; how many changed."""
    place = StockPlace.objects.filter(pk=place_id).first()
    if place is None:
        raise BadStock("place: expected a depot or a truck of this list")
    parts = {part.code: part for part in Part.objects.filter(code__in=least)}
    old = dict(StockMinimum.objects.filter(place=place).values_list("part__code", "least"))
    before: dict[str, object] = {}
    after: dict[str, object] = {}
    for code, count in least.items():
        if code not in parts:
            raise BadStock(f"{code[:40]}: no such part in the catalogue")
        if count is not None and not 0 <= count <= MOST:
            raise BadStock(f"{parts[code].name}: {count}, expected a whole number from 0 to {MOST}")
        if old.get(code) == count:
            continue
        before[code], after[code] = old.get(code), count
        if count is None:
            StockMinimum.objects.filter(place=place, part=parts[code]).delete()
        else:
            StockMinimum.objects.update_or_create(place=place, part=parts[code], defaults={"least": count})
    if after:
        note = ChangeNote("stock_minimum", place.code, "", before, after, thing_id=place.pk)
        record_changes(notes=[note], by=by, at=now)
    return len(after)


@transaction.atomic
def add_depot(*, code: str, name: str, by: str, now: datetime) -> StockPlace:
    """A further depot; raises `BadStock`."""
    code, name = code.strip()[:40], name.strip()[:120]
    if not code or not name:
        raise BadStock("depot: expected a short code and a name")
    if StockPlace.objects.filter(code=code).exists():
        raise BadStock(f"code: {code} is a depot or truck already")
    place = StockPlace.objects.create(code=code, name=name)
    note = ChangeNote("stock_place", code, "", None, {"name": name}, thing_id=place.pk)
    record_changes(notes=[note], by=by, at=now)
    return place


@transaction.atomic
def add_usual_parts(*, by: str, now: datetime) -> int:
    """Start the catalogue with what such companies usually carry, and give every truck its minima.

    Parts that are there already, by code or name, stay as they are; how many are new.
    """
    add_places()
    taken = set(Part.objects.values_list("code", flat=True)) | set(
        Part.objects.values_list("name", flat=True)
    )
    trucks = list(StockPlace.objects.filter(technician__isnull=False))
    new = 0
    for one in USUAL_PARTS:
        if one.code in taken or one.name in taken:
            continue
        kinds = dict(one.kinds)
        saved = save_part(
            part_id=None,
            part=PartInput(one.code, one.name, one.unit, None, is_active=True, kinds=kinds),
            by=by,
            now=now,
        )
        StockMinimum.objects.bulk_create(
            StockMinimum(place=truck, part_id=saved.part_id, least=one.least) for truck in trucks
        )
        new += 1
    return new


def _facts(row: Part) -> dict[str, object]:
    """What the history keeps of a part."""
    kinds = dict(PartForKind.objects.filter(part=row).order_by("kind").values_list("kind", "count"))
    return {
        "name": row.name, "unit": row.unit, "price": row.price, "is_active": row.is_active, "kinds": kinds,
    }  # fmt: skip
