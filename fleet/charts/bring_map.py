"""A plain drawing of a file's shapes with its repairs marked; numbers only, no text of a user."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry import Floats, Geometries, as_array
from sites.importing.book import BookItem
from sites.importing.book_offers import Repair

WIDTH_PX: Final = 760
HEIGHT_PX: Final = 460
PAD_PX: Final = 14
MOST_SHAPES: Final = 4_000
MOST_MARKS: Final = 1_000
_CLASSES: Final = {"site": "lot", "zone": "z z-cool_turf", "structure": "structure", "wire": "wire"}
_ORDER: Final = ("site", "structure", "zone", "wire")


def bring_map_svg(items: Sequence[BookItem], repairs: Sequence[Repair]) -> str:
    """The drawing as SVG, empty where nothing has a place; above 4,000 shapes only lots and sites are drawn.

    Parameters
    ----------
    items
        Things with a shape in WGS 84.
    repairs
        Repairs to mark.
    """
    shapes = as_array([item.shape for item in items])
    box = shapely.bounds(shapes).reshape(-1, 4)
    on_globe = (np.abs(box) <= np.array([180, 90, 180, 90])).all(axis=1) if len(box) else np.zeros(0, bool)
    if not on_globe.any():
        return ""
    west, south = (float(side) for side in box[on_globe, :2].min(axis=0))
    east, north = (float(side) for side in box[on_globe, 2:].max(axis=0))
    squeeze = np.cos(np.radians((south + north) / 2))
    wide, high = max((east - west) * squeeze, 1e-6), max(north - south, 1e-6)
    scale = min((WIDTH_PX - 2 * PAD_PX) / wide, (HEIGHT_PX - 2 * PAD_PX) / high)

    def flat(degrees: Floats) -> Floats:
        x = PAD_PX + (degrees[:, 0] - west) * squeeze * scale
        y = HEIGHT_PX - PAD_PX - (degrees[:, 1] - south) * scale
        return np.column_stack([x, y])

    drawn = shapely.transform(shapely.force_2d(shapes[on_globe]), flat)
    drawn = np.asarray(shapely.simplify(drawn, 0.4, preserve_topology=False), dtype=object)
    kinds = np.array([item.kind for item in items], dtype=object)[on_globe]
    parts = _paths(drawn, kinds)
    marks = [(one.longitude, one.latitude) for one in repairs if one.longitude is not None]
    for x, y in flat(np.array(marks[:MOST_MARKS], dtype=float).reshape(-1, 2)):
        parts.append(
            f'<path class="mk mk-act" d="M{x:.1f} {y - 6:.1f}L{x + 6:.1f} {y + 5:.1f}H{x - 6:.1f}Z"/>'
        )
    return (
        f'<svg class="canvas" viewBox="0 0 {WIDTH_PX} {HEIGHT_PX}" role="img" '
        f'aria-label="Shapes of the file, repairs marked by triangles">{"".join(parts)}</svg>'
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
