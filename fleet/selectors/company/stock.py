"""Which parts lie where, what is below its minimum, and the movements behind it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.core.paginator import Page, Paginator
from django.db.models import Max, Sum

from fleet.models import Part, PartForKind, StockMinimum, StockMove, StockPlace

DEEDS_A_PAGE: Final = 25


@dataclass(frozen=True, slots=True)
class Held:
    """How many of a part a place holds, against what it should."""

    place: StockPlace
    part: Part
    count: int
    least: int | None

    @property
    def missing(self) -> int:
        """How many are wanted to reach the minimum."""
        return max(0, (self.least or 0) - self.count)

    @property
    def is_short(self) -> bool:
        """Whether it is below its minimum, or below nothing."""
        return self.missing > 0 or self.count < 0


@dataclass(frozen=True, slots=True)
class StockRow:
    """A part with what each place holds of it, in the order of the places."""

    part: Part
    held: tuple[Held, ...]
    total: int
    kinds: tuple[str, ...]  # kinds of visit that cannot be done without it


@dataclass(frozen=True, slots=True)
class StockTable:
    """Everything at once: places, depots first, and a row a part."""

    places: tuple[StockPlace, ...]
    rows: tuple[StockRow, ...]

    @property
    def short(self) -> tuple[Held, ...]:
        """What is below its minimum, the most missing first."""
        found = [one for row in self.rows for one in row.held if one.is_short]
        return tuple(sorted(found, key=lambda one: (-one.missing, one.place.code, one.part.name)))


@dataclass(frozen=True, slots=True)
class StockDeed:
    """One deed of the ledger of parts."""

    deed: str
    kind_words: str
    at: datetime
    by: str
    note: str
    lines: tuple[StockMove, ...]
    can_undo: bool


@dataclass(frozen=True, slots=True)
class PartOnTruck:
    """A part as the form of a stop offers it: how many the truck holds by the book."""

    code: str
    name: str
    unit: str
    count: int


def stock_of(*, place_ids: Iterable[int] | None = None) -> dict[tuple[int, int], int]:
    """Stock by place and part: the sum of the ledger; None: of all places."""
    moves = StockMove.objects.order_by()
    if place_ids is not None:
        moves = moves.filter(place_id__in=set(place_ids))
    rows = moves.values_list("place_id", "part_id").annotate(total=Sum("change"))
    return {(place, part): total for place, part, total in rows}


def stock_table(*, place_id: int | None = None) -> StockTable:
    """What every place holds of every part that is in use or still lies somewhere."""
    places = list(StockPlace.objects.select_related("technician"))
    if place_id is not None:
        places = [place for place in places if place.pk == place_id]
    places.sort(key=lambda place: (place.is_truck, place.name))
    stock = stock_of(place_ids=None if place_id is None else [place_id])
    least = {
        (place, part): count
        for place, part, count in StockMinimum.objects.values_list("place_id", "part_id", "least")
    }
    kinds: dict[int, list[str]] = defaultdict(list)
    for one in PartForKind.objects.all():
        kinds[one.part_id].append(f"{one.get_kind_display()} {one.count}")
    lying = {part for (_, part), count in stock.items() if count}
    rows = []
    for part in Part.objects.all():
        if not part.is_active and part.pk not in lying:
            continue
        held = tuple(
            Held(place, part, stock.get((place.pk, part.pk), 0), least.get((place.pk, part.pk)))
            for place in places
        )
        rows.append(StockRow(part, held, sum(one.count for one in held), tuple(kinds[part.pk])))
    return StockTable(tuple(places), tuple(rows))


def truck_parts(*, technician_id: int | None) -> tuple[PartOnTruck, ...]:
    """The catalogue as the form of a stop offers it: what is on the technician's truck first."""
    truck = StockPlace.objects.filter(technician_id=technician_id).first() if technician_id else None
    stock = stock_of(place_ids=[truck.pk]) if truck else {}
    rows = [
        PartOnTruck(part.code, part.name, part.unit, stock.get((truck.pk, part.pk), 0) if truck else 0)
        for part in Part.objects.filter(is_active=True)
    ]
    return tuple(sorted(rows, key=lambda one: (one.count <= 0, one.name)))


def stock_deeds(*, number: int, place_id: int | None = None) -> tuple[Page[str], tuple[StockDeed, ...]]:
    """One page of deeds, the newest first."""
    moves = StockMove.objects.order_by()
    if place_id is not None:
        moves = moves.filter(place_id=place_id)
    names = moves.values("deed").annotate(last=Max("pk")).order_by("-last").values_list("deed", flat=True)
    page = Paginator(names, DEEDS_A_PAGE).get_page(number)
    lines: dict[str, list[StockMove]] = defaultdict(list)
    rows = StockMove.objects.filter(deed__in=list(page.object_list)).select_related(
        "place", "part", "undone_by", "finding__visit__site"
    )
    for row in rows.order_by("pk"):
        lines[row.deed].append(row)
    return page, tuple(_deed(deed, lines[deed]) for deed in page.object_list)


def _deed(deed: str, lines: Sequence[StockMove]) -> StockDeed:
    """Lines as one deed; a finding's parts are taken back with the finding, not here."""
    first = lines[0]
    undone = any(hasattr(line, "undone_by") for line in lines)
    free = first.kind not in (StockMove.Kind.UNDO, StockMove.Kind.USE)
    return StockDeed(
        deed, first.get_kind_display(), first.at, first.by, first.note, tuple(lines), free and not undone
    )


def parts_words() -> Callable[[Mapping[str, int], str], str]:
    """A reader of a finding's parts in words: those of the catalogue, then what was typed."""
    names = dict(Part.objects.values_list("code", "name"))

    def words(parts: Mapping[str, int], other: str) -> str:
        counted = [f"{count} {names.get(code, code)}" for code, count in sorted(parts.items())]
        return ", ".join([*counted, *([other] if other else [])])

    return words
