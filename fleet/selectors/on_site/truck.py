"""What is on a technician's truck against what the stops of a day need."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from fleet.models import PartForKind, VisitNeed
from fleet.selectors.company.stock import truck_parts
from fleet.selectors.plan.stop_rows import needs_of_visits


@dataclass(frozen=True, slots=True)
class TruckPart:
    """A part of the catalogue: how many the truck holds by the book, how many are needed."""

    code: str
    name: str
    unit: str
    count: int
    needed: int

    @property
    def missing(self) -> int:
        """How many are to be loaded."""
        return max(0, self.needed - self.count)


@dataclass(frozen=True, slots=True)
class Truck:
    """A truck before its stops, what is needed first; `beside`: named by a need, not in the catalogue."""

    parts: tuple[TruckPart, ...]
    beside: tuple[str, ...]

    @property
    def needed(self) -> tuple[TruckPart, ...]:
        """What the stops need."""
        return tuple(one for one in self.parts if one.needed)

    @property
    def rest(self) -> tuple[TruckPart, ...]:
        """What else it holds."""
        return tuple(one for one in self.parts if one.count > 0 and not one.needed)

    @property
    def missing(self) -> tuple[TruckPart, ...]:
        """What is to be loaded."""
        return tuple(one for one in self.parts if one.missing)


def truck_for(*, technician_id: int, visit_ids: Iterable[int]) -> Truck:
    """The truck of a technician before these visits.

    A need wants the parts of its kind, and one of each part that it names itself.
    """
    needs = [need for own in needs_of_visits(visit_ids).values() for need in own]
    catalogue = truck_parts(technician_id=technician_id)
    codes = {one.name.lower(): one.code for one in catalogue}
    links = PartForKind.objects.filter(kind__in={need.kind for need in needs}, part__is_active=True)
    by_kind: dict[str, Counter[str]] = {}
    for kind, code, count in links.values_list("kind", "part__code", "count"):
        by_kind.setdefault(kind, Counter())[code] = count
    needed: Counter[str] = Counter()
    beside: Counter[str] = Counter()
    for need in needs:
        own = Counter(by_kind.get(need.kind, {}))
        for name in _named(need):
            known = codes.get(name.lower())
            if known is None:
                beside[name] += 1
            else:
                own[known] = max(own[known], 1)
        needed += own
    rows = (TruckPart(one.code, one.name, one.unit, one.count, needed[one.code]) for one in catalogue)
    return Truck(
        parts=tuple(sorted(rows, key=lambda one: (not one.needed, one.count <= 0, one.name))),
        beside=tuple(name if count == 1 else f"{count} x {name}" for name, count in sorted(beside.items())),
    )


def _named(need: VisitNeed) -> list[str]:
    """Parts that a need names."""
    return [part.strip() for part in need.parts.split(";") if part.strip()]
