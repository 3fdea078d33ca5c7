"""Repairs that a book's shapes are offered: each is listed, and made only where somebody accepts it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry.areas import Geometries, area_m2, as_array
from sites.calc.geometry.neighbours import lot_faults, overlap_faults
from sites.calc.geometry.repairs import (
    canonical_shapes,
    clipped,
    cut_out,
    of_one_dimension,
    rings_in_order,
    sound,
    turned_round,
    without_height,
    without_repeats,
    without_slivers,
)
from sites.calc.geometry.report import Fault, GeometryFault, off_globe
from sites.importing.book.items import Book, BookItem, shapes_of
from sites.importing.book.kinds import GROUND, KINDS, LINE
from sites.importing.book.known import KnownBook
from sites.importing.book.offers import FORM_FAULTS, WORDS, Repair, RepairChoice
from sites.importing.book.shapes import clocks_of, distances_of_sites, distances_of_things, lots_of


@dataclass(slots=True)
class _Bench:
    """Items with their shapes on the way to the book."""

    book: Book
    choice: RepairChoice
    items: list[BookItem]
    shapes: Geometries
    repairs: list[Repair]

    def offer(
        self, fault: Fault, new: Geometries, mask: npt.NDArray[np.bool_], faults: list[Fault] | None = None
    ) -> None:
        """Offer the new shapes where the mask is true; refuse what needs a repair and gets none."""
        places = np.flatnonzero(mask)
        if not len(places):
            return
        before, after = _areas(self.shapes[places]), _areas(new[places])
        spots = _spots(new[places])
        for n, at in enumerate(places):
            item = self.items[at]
            if item.is_refused:
                continue
            own = faults[n] if faults else fault
            repair = _repair(item, own, before[n], after[n], spots[n])
            made = self.choice.takes(repair)
            if made:
                self.shapes[at] = new[at]
                item.repaired = (*item.repaired, repair.words)
            self.repairs.append(_made(repair) if made else repair)
            if not made and (own in FORM_FAULTS or own is Fault.MIXED):
                self.book.refuse(item, "geometry", own, f"the repair accepted: {WORDS[own]}")

    def put_back(self) -> None:
        """Give the items their shapes."""
        for item, shape in zip(self.items, self.shapes, strict=True):
            item.shape = shape


def mend_shapes(book: Book, known: KnownBook, *, choice: RepairChoice, timezone: str) -> list[Repair]:
    """Repairs of single shapes, made where accepted; every shape leaves in the book's canonical form.

    Parameters
    ----------
    book
        Items as their file draws them.
    known
        The book before this file.
    choice
        What is accepted.
    timezone
        The company's time zone, for sites that give none.
    """
    items = [item for item in book.good() if item.shape is not None]
    bench = _Bench(book, choice, items, shapes_of(items), [])
    _offer_one_dimension(bench)
    bench.offer(Fault.HAS_HEIGHT, *without_height(bench.shapes))
    bench.shapes = np.asarray(shapely.force_2d(bench.shapes), dtype=object)
    _offer_turning(bench, known, timezone)
    is_open = np.array([item.is_open for item in items], dtype=np.bool_)
    bench.offer(Fault.OPEN_RING, bench.shapes.copy(), is_open)
    bench.offer(Fault.REPEATED, *without_repeats(bench.shapes))
    ordered, turned = rings_in_order(bench.shapes)
    rule = np.array([item.is_right_handed for item in items], dtype=np.bool_)
    bench.offer(Fault.RING_ORDER, ordered, turned & rule)
    bench.shapes = canonical_shapes(bench.shapes)
    whole, crossing = sound(bench.shapes)
    faults = [_reason(shape) for shape in bench.shapes[crossing]]
    bench.offer(Fault.SELF_CROSSING, whole, crossing, faults)
    bench.offer(Fault.SLIVER, *without_slivers(bench.shapes))
    bench.shapes = np.asarray(shapely.normalize(bench.shapes), dtype=object)
    bench.put_back()
    return bench.repairs


def mend_neighbours(book: Book, known: KnownBook, *, choice: RepairChoice) -> list[Repair]:
    """Repairs of zones that lie over each other or beyond their lot, made where accepted.

    Parameters
    ----------
    book
        Items with sound shapes.
    known
        The book before this file, for lots that this one does not repeat.
    choice
        What is accepted.
    """
    zones = [item for item in book.good("zone") if item.shape is not None]
    bench = _Bench(book, choice, zones, shapes_of(zones), [])
    lots = lots_of(book, known, {item.site for item in zones})
    beyond = lot_faults(bench.shapes, as_array([lots.get(item.site) for item in zones]))
    new, mask = bench.shapes.copy(), np.zeros(len(zones), dtype=np.bool_)
    for fault in beyond:
        lot = lots[zones[fault.index].site]
        kept = clipped(bench.shapes[fault.index], lot) if lot is not None else None
        if kept is not None:
            new[fault.index], mask[fault.index] = kept, True
    bench.offer(Fault.OUTSIDE_LOT, new, mask)
    numbers: dict[str, int] = {}
    site = np.array([numbers.setdefault(item.site, len(numbers)) for item in zones], dtype=np.int64)
    new, mask = bench.shapes.copy(), np.zeros(len(zones), dtype=np.bool_)
    for fault, other in overlap_faults(bench.shapes, site):
        large, small = _by_area(new, fault.index, other)
        kept = cut_out(new[large], new[small])
        if kept is not None:
            new[large], mask[large] = kept, True
    bench.offer(Fault.OVERLAP, new, mask)
    bench.shapes = np.asarray(shapely.normalize(bench.shapes), dtype=object)
    bench.put_back()
    return bench.repairs


def _offer_one_dimension(bench: _Bench) -> None:
    """Offer the ground, the lines or the points of mixed shapes, whichever the kind may have."""
    kinds = np.array([_dimension(item.kind) for item in bench.items], dtype=np.int64)
    for dimension in (0, 1, 2):
        mine = kinds == dimension
        new, mask = of_one_dimension(bench.shapes, dimension)
        bench.offer(Fault.MIXED, new, mask & mine)


def _dimension(kind: str) -> int:
    """Dimension of what a kind draws; a kind that may have several has its highest."""
    shapes = KINDS[kind].shapes
    if shapes & LINE and shapes & GROUND:
        return -1
    return 2 if shapes & GROUND else 1 if shapes & LINE else 0


def _offer_turning(bench: _Bench, known: KnownBook, timezone: str) -> None:
    """Offer to exchange the axes, of sites first, so that things find their site where it will be."""
    is_site = np.array([item.kind == "site" for item in bench.items], dtype=np.bool_)
    for mine in (is_site, ~is_site):
        bench.put_back()
        live = [at for at in np.flatnonzero(mine) if not bench.items[at].is_refused]
        items = [bench.items[at] for at in live]
        _, off = off_globe(shapes_of(items)) if items else (None, np.zeros(0, dtype=np.bool_))
        found = {at for at, is_off in zip(live, off, strict=True) if is_off}
        near = [(at, item) for at, item in zip(live, items, strict=True) if at not in found]
        for fault in _turned(bench.book, [item for _, item in near], known, timezone, mine is is_site):
            if fault.fault is Fault.SWAPPED:
                found.add(near[fault.index][0])
        mask = np.zeros(len(bench.items), dtype=np.bool_)
        mask[sorted(found)] = True
        bench.offer(Fault.SWAPPED, turned_round(bench.shapes), mask)
    bench.put_back()


def _turned(
    book: Book, items: list[BookItem], known: KnownBook, timezone: str, are_sites: bool
) -> list[GeometryFault]:
    """Faults of place, among them those of turned shapes."""
    if not items:
        return []
    if are_sites:
        return [*clocks_of(items, timezone), *distances_of_sites(items, known)]
    return distances_of_things(book, items, known)


def _reason(shape: BaseGeometry) -> Fault:
    """Whether a shape is broken by its holes and parts, or by an edge that crosses itself."""
    words = shapely.is_valid_reason(shape).lower()
    return (
        Fault.HOLE
        if any(word in words for word in ("hole", "nested", "interior", "shell"))
        else Fault.SELF_CROSSING
    )


def _by_area(shapes: Geometries, first: int, second: int) -> tuple[int, int]:
    """The larger of two shapes, then the smaller; of equals the later gives way."""
    one, other = shapely.area(shapes[first]), shapely.area(shapes[second])
    return (first, second) if one > other or (one == other and first > second) else (second, first)


def _areas(shapes: Geometries) -> list[float | None]:
    """Areas of ground [m2]; None for points and lines, and for what lies off the globe."""
    ground = shapely.get_dimensions(shapes) == 2
    with np.errstate(invalid="ignore"):  # off the globe there is no area
        found = area_m2(shapely.force_2d(shapes))
    return [
        round(float(area), 3) if is_ground and np.isfinite(area) else None
        for area, is_ground in zip(found, ground, strict=True)
    ]


def _spots(shapes: Geometries) -> list[tuple[float, float] | None]:
    """The middle of each shape's box [deg]; None where it is no place on the globe."""
    box = shapely.bounds(shapes)
    middles = (box[:, :2] + box[:, 2:]) / 2
    return [(float(x), float(y)) if abs(x) <= 180 and abs(y) <= 90 else None for x, y in middles]


def _repair(
    item: BookItem, fault: Fault, before: float | None, after: float | None, spot: tuple[float, float] | None
) -> Repair:
    """An offer for an item."""
    thing = "/".join(str(part) for part in item.key)
    lon, lat = spot if spot else (None, None)
    return Repair(item.row, item.layer, item.kind, item.site, thing, fault, before, after, lon, lat)


def _made(repair: Repair) -> Repair:
    """The repair as made."""
    return Repair(
        repair.row, repair.layer, repair.kind, repair.site, repair.thing, repair.fault, repair.before_m2,
        repair.after_m2, repair.longitude, repair.latitude, True,
    )  # fmt: skip
