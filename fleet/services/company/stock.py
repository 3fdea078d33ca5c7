"""Moves parts between depots, trucks and gardens; each deed is a set of lines in the ledger of parts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import uuid4

from django.db import transaction

from fleet.models import Finding, Part, StockMove, StockPlace, Technician
from fleet.selectors.company.stock import stock_of

MOST = 9_999


class BadStock(ValueError):
    """A movement that cannot be; the message says what was expected."""


class CannotUndoStock(ValueError):
    """The deed is not there, or was taken back already."""


@dataclass(frozen=True, slots=True)
class PartsMoved:
    """What a deed wrote: its name for undo, how many lines, and what is now below nothing."""

    deed: str
    lines: int
    words: str
    short: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Line:
    """One line to write."""

    place_id: int
    part: Part
    change: int


@transaction.atomic
def move_parts(
    *,
    source_id: int | None,
    target_id: int,
    counts: Mapping[str, int],
    by: str,
    now: datetime,
    note: str = "",
) -> PartsMoved:
    """Bring parts from one place to another, or in from outside; raises `BadStock`.

    Parameters
    ----------
    source_id
        Depot or truck that they leave; None: bought in.
    target_id
        Where they go.
    counts
        How many of each part, by code.
    by, now
        Who and when.
    note
        Such as a delivery note's number.
    """
    target = _place(target_id)
    source = None if source_id is None else _place(source_id)
    if source is not None and source.pk == target.pk:
        raise BadStock("from and to are the same place: choose another")
    parts = _parts(counts)
    there = stock_of(place_ids=[source.pk]) if source else {}
    lines = []
    for code, count in counts.items():
        part = parts[code]
        if source is not None:
            held = there.get((source.pk, part.pk), 0)
            if count > held:
                raise BadStock(f"{part.name}: {source.name} holds {held}, not {count}; count it first")
            lines.append(_Line(source.pk, part, -count))
        lines.append(_Line(target.pk, part, count))
    if source is None:
        kind = StockMove.Kind.BOUGHT
    else:
        kind = StockMove.Kind.LOAD if target.is_truck else StockMove.Kind.RETURN
    return _write(f"{kind}/{uuid4().hex}", kind, lines, by, now, note)


@transaction.atomic
def count_parts(
    *, place_id: int, counts: Mapping[str, int], by: str, now: datetime, note: str = ""
) -> PartsMoved:
    """Set the stock of a place to what was counted; the difference is the line. Raises `BadStock`."""
    place = _place(place_id)
    parts = _parts(counts, least=0)
    there = stock_of(place_ids=[place.pk])
    lines = [
        _Line(place.pk, parts[code], count - there.get((place.pk, parts[code].pk), 0))
        for code, count in counts.items()
    ]
    wrong = [line for line in lines if line.change]
    return _write(f"count/{uuid4().hex}", StockMove.Kind.COUNT, wrong, by, now, note)


@transaction.atomic
def use_parts(
    *, finding_id: int, technician_id: int | None, counts: Mapping[str, int], by: str, at: datetime
) -> PartsMoved:
    """Take the parts of a finding off the technician's truck, once for each time that the finding holds.

    What was used was used: a truck whose stock is too small goes below nothing, and `short` names it. The
    same finding again writes nothing, unless it was taken back between. Raises `BadStock`.

    Parameters
    ----------
    finding_id
        The finding, already kept.
    technician_id
        Whose truck; None: nobody's, then nothing is taken off.
    counts
        How many of each part, by code.
    by, at
        Who and when.
    """
    parts = _parts(counts)
    if not counts:
        return PartsMoved("", 0, "")
    if technician_id is None:
        return PartsMoved("", 0, "Nobody's truck is known for these parts: none was taken off.")
    Finding.objects.select_for_update().get(pk=finding_id)
    held = StockMove.objects.filter(finding_id=finding_id, kind=StockMove.Kind.USE)
    standing = held.filter(undone_by__isnull=True).values_list("deed", flat=True).first()
    if standing is not None:
        return PartsMoved(standing, 0, "")
    truck = truck_of(technician_id=technician_id)
    times = held.values("deed").distinct().count() + 1
    lines = [_Line(truck.pk, parts[code], -count) for code, count in counts.items()]
    return _write(f"use/{finding_id}/{times}", StockMove.Kind.USE, lines, by, at, "", finding_id=finding_id)


@transaction.atomic
def undo_stock(*, deed: str, by: str, now: datetime) -> PartsMoved:
    """Take a deed back by lines of the opposite sign; raises `CannotUndoStock`."""
    rows = list(StockMove.objects.select_for_update().filter(deed=deed).select_related("part"))
    if not rows:
        raise CannotUndoStock("This movement is not in the book.")
    if rows[0].kind == StockMove.Kind.UNDO or StockMove.objects.filter(undoes__in=rows).exists():
        raise CannotUndoStock("This movement was taken back already.")
    StockMove.objects.bulk_create(
        StockMove(
            deed=f"undo/{deed}"[:120],
            kind=StockMove.Kind.UNDO,
            place_id=row.place_id,
            part_id=row.part_id,
            change=-row.change,
            finding_id=row.finding_id,
            at=now,
            by=by[:150],
            undoes=row,
        )
        for row in rows
    )
    return PartsMoved(f"undo/{deed}", len(rows), f"Taken back: {_words(rows)}.")


@transaction.atomic
def truck_of(*, technician_id: int) -> StockPlace:
    """The truck of a technician, made where there is none yet."""
    known = StockPlace.objects.filter(technician_id=technician_id).first()
    if known is not None:
        return known
    person = Technician.objects.get(pk=technician_id)
    taken = StockPlace.objects.filter(code=person.code).exists()
    code = f"truck-{person.code}"[:40] if taken else person.code
    return StockPlace.objects.create(code=code, name=f"{person.name}, truck"[:120], technician=person)


@transaction.atomic
def add_places() -> int:
    """A truck for everybody at work who has none, and a first depot; how many were made."""
    made = 0
    if not StockPlace.objects.filter(technician__isnull=True).exists():
        StockPlace.objects.create(code="depot", name="Depot")
        made = 1
    without = Technician.objects.filter(is_active=True, truck__isnull=True).values_list("pk", flat=True)
    for pk in without:
        truck_of(technician_id=pk)
        made += 1
    return made


def _place(place_id: int) -> StockPlace:
    """The place, held until the end of the deed, so that nobody takes the same part twice."""
    place = StockPlace.objects.select_for_update().filter(pk=place_id).first()
    if place is None:
        raise BadStock("place: expected a depot or a truck of this list")
    return place


def _parts(counts: Mapping[str, int], *, least: int = 1) -> dict[str, Part]:
    """The parts of the codes; raises `BadStock`."""
    parts = {part.code: part for part in Part.objects.filter(code__in=counts)}
    for code, count in counts.items():
        if code not in parts:
            raise BadStock(f"{code[:40]}: no such part in the catalogue")
        if not least <= count <= MOST:
            raise BadStock(f"{parts[code].name}: {count}, expected a whole number from {least} to {MOST}")
    return parts


def _write(
    deed: str,
    kind: str,
    lines: list[_Line],
    by: str,
    at: datetime,
    note: str,
    finding_id: int | None = None,
) -> PartsMoved:
    """Write the lines of a deed."""
    rows = StockMove.objects.bulk_create(
        StockMove(
            deed=deed, kind=kind, place_id=line.place_id, part=line.part, change=line.change,
            finding_id=finding_id, at=at, by=by[:150], note=note.strip()[:200],
        )
        for line in lines
    )  # fmt: skip
    after = stock_of(place_ids=[line.place_id for line in lines])
    short = tuple(line.part.name for line in lines if after.get((line.place_id, line.part.pk), 0) < 0)
    return PartsMoved(deed, len(rows), _words(rows), short)


def _words(rows: list[StockMove]) -> str:
    """Parts of a deed, each once: `2 watertight splice, 1 sensor`."""
    return ", ".join(dict.fromkeys(f"{abs(row.change)} {row.part.name}" for row in rows))
