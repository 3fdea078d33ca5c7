"""A plain drawing of a file's shapes, with repairs and refused rows marked; no text of a user."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry import Floats, Geometries, as_array
from sites.importing.book import BookItem
from sites.importing.book_offers import Repair
from weather.importing.rows import RowProblem

WIDTH_PX: Final = 760
HEIGHT_PX: Final = 460
PAD_PX: Final = 24
MOST_SHAPES: Final = 4_000
MOST_MARKS: Final = 1_000
_CLASSES: Final = {"site": "lot", "zone": "z z-cool_turf", "structure": "structure", "wire": "wire"}
_ORDER: Final = ("site", "structure", "zone", "wire")


Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Mark:
    """A numbered mark at a place [deg], of a repair or of a refused row."""

    number: int
    longitude: float
    latitude: float
    is_refused: bool


def marks_of(
    repairs: Sequence[Repair], problems: Sequence[RowProblem], places: Mapping[tuple[str, int], Place]
) -> tuple[dict[str, Mark], dict[tuple[str, int], Mark]]:
    """Marks by the key of their repair, and by file and row of their problem; repairs are counted first.

    Parameters
    ----------
    repairs, problems
        In the order of their tables.
    places
        Longitude and latitude of rows by file and row [deg]; a row without one has no mark.
    """
    mended: dict[str, Mark] = {}
    for one in repairs:
        if one.longitude is not None and one.latitude is not None:
            mended.setdefault(one.key, Mark(len(mended) + 1, one.longitude, one.latitude, False))
    refused: dict[tuple[str, int], Mark] = {}
    for problem in problems:
        row = (problem.file, problem.row)
        if row in places:
            refused.setdefault(row, Mark(len(mended) + len(refused) + 1, *places[row], True))
    return mended, refused


def bring_map_svg(items: Sequence[BookItem], marks: Sequence[Mark], numbered: Container[int]) -> str:
    """The drawing as SVG, empty where nothing has a place; above 4,000 shapes only lots and sites are drawn.

    Parameters
    ----------
    items
        Things with a shape in WGS 84.
    marks
        Repairs and refused rows; above 1,000 of them only those with a number are sure to be drawn.
    numbered
        Numbers that are written beside their marks: those of the rows on the page.
    """
    shapes = as_array([item.shape for item in items])
    spots = np.array([(one.longitude, one.latitude) for one in marks], dtype=float).reshape(-1, 2)
    box = np.concatenate([shapely.bounds(shapes).reshape(-1, 4), np.hstack([spots, spots])])
    on_globe: npt.NDArray[np.bool_] = np.all(np.abs(box) <= np.array([180, 90, 180, 90]), axis=1)
    if not on_globe.any():
        return ""
    west, south = (float(side) for side in box[on_globe, :2].min(axis=0))
    east, north = (float(side) for side in box[on_globe, 2:].max(axis=0))
    squeeze = np.cos(np.radians((south + north) / 2))
    wide, high = max((east - west) * squeeze, 1e-6), max(north - south, 1e-6)
    scale = min((WIDTH_PX - 2 * PAD_PX) / wide, (HEIGHT_PX - 2 * PAD_PX) / high)

    left, below = (WIDTH_PX - wide * scale) / 2, (HEIGHT_PX + high * scale) / 2

    def flat(degrees: Floats) -> Floats:
        x = left + (degrees[:, 0] - west) * squeeze * scale
        y = below - (degrees[:, 1] - south) * scale
        return np.column_stack([x, y])

    on_globe = on_globe[: len(items)]
    drawn = shapely.transform(shapely.force_2d(shapes[on_globe]), flat)
    drawn = np.asarray(shapely.simplify(drawn, 0.4, preserve_topology=False), dtype=object)
    kinds = np.array([item.kind for item in items], dtype=object)[on_globe]
    parts = _paths(drawn, kinds)
    first = sorted(marks, key=lambda one: one.number not in numbered)[:MOST_MARKS]
    spots = flat(np.array([(one.longitude, one.latitude) for one in first], dtype=float).reshape(-1, 2))
    parts += [_mark(one, x, y, one.number in numbered) for one, (x, y) in zip(first, spots, strict=True)]
    return (
        f'<svg class="canvas" viewBox="0 0 {WIDTH_PX} {HEIGHT_PX}" role="img" '
        'aria-label="Shapes of the file, repairs marked by triangles, refused rows by crosses">'
        f"{''.join(parts)}</svg>"
    )


def _mark(mark: Mark, x: float, y: float, is_numbered: bool) -> str:
    """A triangle or a cross, with its number and a ring that shows when somebody points to it."""
    path = (
        f"M{x - 8:.1f} {y - 8:.1f}l16 16m0 -16l-16 16"
        if mark.is_refused
        else f"M{x:.1f} {y - 11:.1f}L{x + 11:.1f} {y + 8:.1f}H{x - 11:.1f}Z"
    )
    drawn = f'<path class="mk {"bring-no" if mark.is_refused else "mk-act"}" d="{path}"/>'
    if not is_numbered:
        return drawn
    # Near the right edge the number stands on the left.
    side = f'x="{x - 25:.1f}" text-anchor="end"' if x > WIDTH_PX - 90 else f'x="{x + 25:.1f}"'
    return (
        f'<g class="bring-mark" id="m{mark.number}">'
        f'<circle class="bring-ring" cx="{x:.1f}" cy="{y:.1f}" r="20"/>'
        f'{drawn}<text {side} y="{y + 9:.1f}">{mark.number}</text></g>'
    )


def _paths(drawn: Geometries, kinds: Floats) -> list[str]:
    """Markup of the shapes, what lies below first."""
    only_sites = len(drawn) > MOST_SHAPES
    parts: list[str] = []
    for kind in ("site",) if only_sites else _ORDER:
        for shape in drawn[kinds == kind]:
            path = _path(shape)
            if path:
                parts.append(f'<path class="{_CLASSES[kind]}" d="{path}"/>')
    if not only_sites:
        points = shapely.get_coordinates(drawn[(shapely.get_dimensions(drawn) == 0)])
        parts += [f'<circle class="head-g" cx="{x:.1f}" cy="{y:.1f}" r="2"/>' for x, y in points]
    return parts


def _path(shape: BaseGeometry) -> str:
    """Path data of a shape's lines and rings; a point as a small square."""
    lines = shapely.get_parts(
        as_array([shapely.boundary(shape) if shapely.get_dimensions(shape) == 2 else shape])
    )
    found = []
    for line in lines:
        xy = shapely.get_coordinates(line)
        if len(xy) == 1:
            found.append(f"M{xy[0, 0] - 2:.1f} {xy[0, 1] - 2:.1f}h4v4h-4Z")
        elif len(xy):
            found.append("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in xy))
    return "".join(found)
