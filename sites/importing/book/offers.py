"""What a repair of a shape is, and which repairs somebody accepts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from sites.calc.geometry.report import Fault

FORM_FAULTS: Final = frozenset({Fault.HAS_HEIGHT, Fault.OPEN_RING, Fault.REPEATED, Fault.RING_ORDER})
"""Faults of writing, not of drawing: mending them moves no edge."""

OPTIONAL: Final = frozenset({Fault.SLIVER, Fault.OVERLAP, Fault.OUTSIDE_LOT})
"""Faults that a thing may keep: without the repair it goes into the book as drawn."""

_CROSSINGS: Final = frozenset({Fault.SELF_CROSSING, Fault.HOLE})
SLIP_SHARE: Final = 1e-3
WORDS: Final[dict[Fault, str]] = {
    Fault.MIXED: "keep only the part that this kind may have",
    Fault.HAS_HEIGHT: "keep the plan, drop the height",
    Fault.SWAPPED: "exchange longitude and latitude",
    Fault.OPEN_RING: "close the ring",
    Fault.REPEATED: "keep each point once",
    Fault.RING_ORDER: "turn the rings: outer counter-clockwise, holes clockwise",
    Fault.SELF_CROSSING: "part the shape where its edge crosses itself",
    Fault.HOLE: "put holes and parts in order",
    Fault.SLIVER: "drop parts and holes under 15 cm wide",
    Fault.OVERLAP: "leave the shared ground to the smaller zone",
    Fault.OUTSIDE_LOT: "cut it at the edge of the lot",
}


@dataclass(frozen=True, slots=True)
class Repair:
    """One repair of one shape: before and after [m2], a place to look at [deg], whether it was made."""

    row: int
    layer: str
    kind: str
    site: str
    thing: str
    fault: Fault
    before_m2: float | None
    after_m2: float | None
    longitude: float | None
    latitude: float | None
    is_made: bool = False

    @property
    def key(self) -> str:
        """Name of the repair in its file."""
        return f"{self.layer}|{self.row}|{self.fault}"

    @property
    def words(self) -> str:
        """The fault with the area before and after; of points and lines the fault alone."""
        if self.before_m2 is None and self.after_m2 is None:
            return str(self.fault)
        before, after = ("none" if m2 is None else f"{m2:.1f} m²" for m2 in (self.before_m2, self.after_m2))
        return f"{self.fault}, area {before} before, {after} after"

    @property
    def is_needed(self) -> bool:
        """Whether the thing stays out of the book without it."""
        return self.fault not in OPTIONAL

    @property
    def is_slip(self) -> bool:
        """Whether the area stays the same to a thousandth."""
        if self.before_m2 is None or self.after_m2 is None:
            return False
        return abs(self.after_m2 - self.before_m2) <= SLIP_SHARE * self.after_m2


@dataclass(frozen=True, slots=True)
class RepairChoice:
    """Which repairs somebody accepts.

    Parameters
    ----------
    faults
        Faults whose every repair is accepted.
    slips
        Whether crossings are mended that change the area by less than a thousandth.
    keys
        Repairs accepted one by one, each with the area that was offered [m2].
    """

    faults: frozenset[str] = frozenset()
    slips: bool = False
    keys: Mapping[str, float | None] = field(default_factory=dict)

    def takes(self, repair: Repair) -> bool:
        """Whether a repair is accepted; one that turned out otherwise than offered is not."""
        if repair.fault in self.faults or (self.slips and repair.is_slip and repair.fault in _CROSSINGS):
            return True
        if repair.key not in self.keys:
            return False
        offered = self.keys[repair.key]
        if offered is None or repair.after_m2 is None:
            return True
        return math.isclose(offered, repair.after_m2, rel_tol=5e-3, abs_tol=0.1)


OF_FORM: Final = RepairChoice(faults=frozenset(FORM_FAULTS), slips=True)
"""What the command does by itself, and lists: no edge moves by more than a slip of drawing."""
EVERY: Final = RepairChoice(faults=frozenset(Fault))


def told(repairs: list[Repair]) -> list[str]:
    """A line for each fault that was mended, with its rows.

    Parameters
    ----------
    repairs
        Repairs, made or only offered.
    """
    rows: dict[tuple[Fault, bool], list[str]] = {}
    for repair in repairs:
        rows.setdefault((repair.fault, repair.is_made), []).append(f"{repair.layer} {repair.row}".strip())
    return [
        f"{fault}: {'mended' if made else 'a repair is offered'} in {len(numbers)} shapes, "
        f"rows {', '.join(numbers[:10])}{' and others' if len(numbers) > 10 else ''} ({WORDS[fault]})"
        for (fault, made), numbers in rows.items()
    ]
