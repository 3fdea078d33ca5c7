"""A plain drawing of a file's shapes, with repairs and refused rows marked; no text of a user."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry.areas import Floats, Geometries, as_array
from sites.calc.geometry.neighbours import NEAR_DEG, near_places
from sites.importing.book.items import BookItem
from sites.importing.book.offers import Repair
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
    """The drawing as SVG, empty where nothing has a place; a script makes it larger around a mark.

    Above 4,000 shapes only lots and sites are drawn, and whatever lies within 100 m of a mark with a number.

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
    spots = _spots(marks)
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
    near = near_places(shapes[on_globe], _spots([one for one in marks if one.number in numbered]))
    drawn = np.asarray(shapely.transform(shapely.force_2d(shapes[on_globe]), flat), dtype=object)
    drawn[~near] = shapely.simplify(drawn[~near], 0.4, preserve_topology=False)
    kinds = np.array([item.kind for item in items], dtype=object)[on_globe]
    parts = _paths(drawn, kinds, near)
    first = sorted(marks, key=lambda one: one.number not in numbered)[:MOST_MARKS]
    places = flat(_spots(first))
    parts += [_mark(one, x, y, one.number in numbered) for one, (x, y) in zip(first, places, strict=True)]
    return (
        f'<svg class="canvas" viewBox="0 0 {WIDTH_PX} {HEIGHT_PX}" data-close="{NEAR_DEG * scale:.3f}" '
        'role="img" aria-label="Shapes of the file, repairs marked by triangles, refused rows by crosses">'
        f"{''.join(parts)}</svg>"
    )


def _spots(marks: Sequence[Mark]) -> Floats:
    """Longitude and latitude of marks [deg], (marks, 2)."""
    return np.array([(one.longitude, one.latitude) for one in marks], dtype=float).reshape(-1, 2)


def _mark(mark: Mark, x: float, y: float, is_numbered: bool) -> str:
    """A triangle or a cross, with its number and a ring that shows when somebody points to it."""
    path = "M-8 -8l16 16m0 -16l-16 16" if mark.is_refused else "M0 -11L11 8H-11Z"
    drawn = f'<path class="mk {"bring-no" if mark.is_refused else "mk-act"}" d="{path}"/>'
    place = f'data-mark transform="translate({x:.3f} {y:.3f})"'
    if not is_numbered:
        return f"<g {place}>{drawn}</g>"
    # Near the right edge the number stands on the left.
    side = 'x="-25" text-anchor="end"' if x > WIDTH_PX - 90 else 'x="25"'
    return (
        f'<g class="bring-mark" id="m{mark.number}" {place}><circle class="bring-ring" r="20"/>'
        f'{drawn}<text {side} y="9">{mark.number}</text></g>'
    )


def _paths(drawn: Geometries, kinds: Floats, near: npt.NDArray[np.bool_]) -> list[str]:
    """Markup of the shapes, what lies below first."""
    whole = near if len(drawn) > MOST_SHAPES else np.ones(len(drawn), dtype=np.bool_)
    parts: list[str] = []
    for kind in _ORDER:
        for at in np.flatnonzero((kinds == kind) & (whole | (kind == "site"))):
            path = _path(drawn[at], 3 if near[at] else 1)
            if path:
                parts.append(f'<path class="{_CLASSES[kind]}" d="{path}"/>')
    points = shapely.get_coordinates(drawn[whole & (kinds != "site") & (shapely.get_dimensions(drawn) == 0)])
    parts += [f'<circle class="head-g" cx="{x:.3f}" cy="{y:.3f}" r="2"/>' for x, y in points]
    return parts


def _path(shape: BaseGeometry, digits: int) -> str:
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
            found.append("M" + "L".join(f"{x:.{digits}f} {y:.{digits}f}" for x, y in xy))
    return "".join(found)
