"""The map of one lot as SVG, drawn here: for the phone and for paper, where no script runs.

It carries classes only, no colours and no styles; the page's style sheet and its `parts/map_defs.html` give
the look. All text comes from the book and is escaped.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from html import escape

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from sites.models import Site
from sites.selectors.garden import Thing, garden_things, in_metres
from weather.calc.units import M_PER_FOOT

_MARGIN_PX = 16.0
_DEVICES = ("valve_box", "water_meter", "shutoff", "backflow_preventer", "controller", "sensor", "advice")
_LABEL_PX = 6.4  # about the width of a character at 12 px
_LARGE_LABEL_PX = 7.5  # the same at 14 px
_SCALE_STEPS = (1, 2, 5, 10, 20, 50, 100, 200)
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Sheet:
    """How metres become pixels."""

    west_m: float
    north_m: float
    px_a_metre: float
    left_px: float
    top_px: float
    width_px: int
    height_px: int

    def at(self, x_m: float, y_m: float) -> Point:
        """Pixels of a place."""
        return (
            self.left_px + (x_m - self.west_m) * self.px_a_metre,
            self.top_px + (self.north_m - y_m) * self.px_a_metre,
        )


def lot_map_svg(
    *,
    site_id: int,
    width_px: int,
    height_px: int,
    with_labels: bool = True,
    is_us: bool | None = False,
    is_large: bool = False,
) -> str:
    """The lot of a site as ready SVG markup, or an empty text where nothing has a shape.

    Parameters
    ----------
    site_id
        Site.
    width_px, height_px
        Size of the drawing [px]; the lot fits inside.
    with_labels
        Whether names stand beside stations and devices; without, only station numbers.
    is_us
        The scale bar is in feet; None: one in metres above one in feet, for a reader without settings.
    is_large
        Names and numbers for a phone in the sun.
    """
    site = Site.objects.get(pk=site_id)
    return garden_svg(
        garden_things(site=site),
        site.code,
        width_px,
        height_px,
        with_labels=with_labels,
        is_us=is_us,
        is_large=is_large,
    )


def garden_svg(
    things: list[Thing],
    code: str,
    width_px: int,
    height_px: int,
    *,
    with_labels: bool = True,
    is_us: bool | None = False,
    is_large: bool = False,
) -> str:
    """The things of a garden as ready SVG markup; see `lot_map_svg`. The scale bar is in feet for `is_us`."""
    if not things:
        return ""
    bounds = shapely.total_bounds(np.array([thing.shape for thing in things], dtype=object))
    origin = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    ground = [Thing(thing.kind, in_metres(thing.shape, origin), thing.facts) for thing in things]
    sheet = _sheet(ground, width_px, height_px)
    parts = [_draw(thing, sheet) for thing in ground if thing.kind not in _DEVICES]
    parts += _marks(ground, sheet, with_labels=with_labels, is_large=is_large)
    parts.append(_scale_bars(sheet, is_us=is_us))
    zones = sum(thing.kind == "zone" for thing in things)
    here = sheet.at(0.0, 0.0)
    # Where a position belongs on the sheet: origin, pixels a metre, its pixels, metres a degree.
    metres = in_metres(shapely.Point(origin[0] + 1.0, origin[1] + 1.0), origin)
    place = (
        f"{origin[0]:.7f} {origin[1]:.7f} {sheet.px_a_metre:.5f} {here[0]:.2f} {here[1]:.2f}"
        f" {shapely.get_x(metres):.2f} {shapely.get_y(metres):.2f}"
    )
    words = f"Lot of {escape(code)} with {zones} zone{'' if zones == 1 else 's'}, north up"
    kind = "lotmap large" if is_large else "lotmap"
    return (
        f'<svg class="canvas clip {kind}" viewBox="0 0 {width_px} {height_px}" width="{width_px}"'
        f' height="{height_px}" data-place="{place}" role="img" aria-label="{words}">{"".join(parts)}</svg>'
    )


def _sheet(ground: list[Thing], width_px: int, height_px: int) -> _Sheet:
    """The scale at which everything fits, centred."""
    west, south, east, north = shapely.total_bounds(np.array([t.shape for t in ground], dtype=object))
    wide, high = max(east - west, 4.0), max(north - south, 4.0)
    scale = min((width_px - 2 * _MARGIN_PX) / wide, (height_px - 2 * _MARGIN_PX) / high)
    return _Sheet(
        west_m=west,
        north_m=north,
        px_a_metre=scale,
        left_px=(width_px - (east - west) * scale) / 2,
        top_px=(height_px - (north - south) * scale) / 2,
        width_px=width_px,
        height_px=height_px,
    )


def _draw(thing: Thing, sheet: _Sheet) -> str:
    """Areas and lines."""
    if isinstance(thing.shape, shapely.Point):
        if thing.kind != "sprinkler":
            return ""
        x, y = sheet.at(thing.shape.x, thing.shape.y)
        return f'<circle class="head-g" cx="{x:.1f}" cy="{y:.1f}" r="2.2"/>'
    path = _path(thing.shape, sheet.at)
    if thing.kind == "zone":
        plant = escape(str(thing.facts["plant"]))
        return (
            f'<path class="z z-{plant}" d="{path}"/>'
            f'<path class="zfill" fill="url(#zp-{plant})" stroke="none" d="{path}"/>'
        )
    kind = f"structure structure-{thing.facts['type']}" if thing.kind == "structure" else thing.kind
    kind = f"{kind} new" if thing.facts.get("is_planned") else kind
    return f'<path class="{escape(kind)}" d="{path}"/>'


def _marks(ground: list[Thing], sheet: _Sheet, *, with_labels: bool, is_large: bool) -> Iterator[str]:
    """Station numbers and devices, with their names where those fit between what is already drawn."""
    # Labels keep off the scale bar.
    taken: list[BaseGeometry] = [
        shapely.box(sheet.width_px - 130, sheet.height_px - 24, sheet.width_px, sheet.height_px)
    ]
    devices = [thing for thing in ground if thing.kind in _DEVICES]
    for thing in devices:
        x, y = sheet.at(thing.shape.centroid.x, thing.shape.centroid.y)
        taken.append(shapely.box(x - 10, y - 10, x + 10, y + 10))
        place = f'x="{x - 10:.1f}" y="{y - 10:.1f}" width="20" height="20"'
        yield f'<g class="dev"><use href="#d-{thing.kind}" {place}/></g>'
    labels: list[tuple[float, float, float, str]] = []
    for thing in (thing for thing in ground if thing.kind == "zone"):
        inner = shapely.maximum_inscribed_circle(_largest(thing.shape))
        x, y = sheet.at(*inner.coords[0])
        ring = '<circle class="gov" r="14"/>' if thing.facts["is_governing"] else ""
        taken.append(shapely.box(x - 14, y - 14, x + 14, y + 14))
        yield (
            f'<g class="stn" transform="translate({x:.1f} {y:.1f})"><circle r="11"/>{ring}'
            f'<text y="5">{escape(str(thing.facts["station"]))}</text></g>'
        )
        labels.append((x, y, 18.0, str(thing.facts["name"])))
    for thing in devices:
        x, y = sheet.at(thing.shape.centroid.x, thing.shape.centroid.y)
        labels.insert(0, (x, y, 13.0, str(thing.facts.get("label", thing.facts.get("title", "")))))
    if with_labels:
        paper = shapely.box(0, 0, sheet.width_px, sheet.height_px)
        yield from _labels(labels, taken, paper, _LARGE_LABEL_PX if is_large else _LABEL_PX)


def _labels(
    labels: list[tuple[float, float, float, str]],
    taken: list[BaseGeometry],
    paper: BaseGeometry,
    letter_px: float,
) -> Iterator[str]:
    """Each label at the first of four sides where it covers nothing and stays on paper, else nowhere."""
    for x, y, gap, text in labels:
        if not text:
            continue
        wide = letter_px * len(text)
        for left, base, anchor in (
            (x + gap, y + 4, "start"),
            (x - gap - wide, y + 4, "end"),
            (x - wide / 2, y - gap, "middle"),
            (x - wide / 2, y + gap + 9, "middle"),
        ):
            place = shapely.box(left, base - 10, left + wide, base + 3)
            if paper.contains(place) and not any(place.intersects(other) for other in taken):
                taken.append(place)
                at = {"start": left, "end": left + wide, "middle": x}[anchor]
                side = "" if anchor == "start" else f' text-anchor="{anchor}"'
                yield f'<text class="m-lab" x="{at:.1f}" y="{base:.1f}"{side}>{escape(text)}</text>'
                break


def _scale_bars(sheet: _Sheet, *, is_us: bool | None) -> str:
    """Bars of a round length at the lower right: in metres, in feet, or in both for an unknown reader."""
    kinds = [("m", 1.0), ("ft", M_PER_FOOT)]
    wanted = kinds if is_us is None else [kinds[is_us]]
    return "".join(
        _scale_bar(sheet, unit, sheet.px_a_metre * metres, raised_px=22 * (len(wanted) - 1 - place))
        for place, (unit, metres) in enumerate(wanted)
    )


def _scale_bar(sheet: _Sheet, unit: str, px_a_unit: float, *, raised_px: int) -> str:
    """A bar of a round length of a unit."""
    number = next((step for step in _SCALE_STEPS if step * px_a_unit >= 48), _SCALE_STEPS[-1])
    length = number * px_a_unit
    x, y = sheet.width_px - 12 - length, sheet.height_px - 8 - raised_px
    return (
        f'<path class="scale" d="M{x:.1f} {y - 4}v4h{length:.1f}v-4"/>'
        f'<text class="m-lab q" x="{sheet.width_px - 12}" y="{y - 7}"'
        f' text-anchor="end">{number} {unit}</text>'
    )


def _largest(shape: BaseGeometry) -> shapely.Polygon:
    """The largest part of a shape."""
    largest: shapely.Polygon = max(shapely.get_parts(shape), key=lambda part: part.area)
    return largest


def _path(shape: BaseGeometry, at: Callable[[float, float], Point]) -> str:
    """Path data of any shape, one decimal of a pixel."""
    steps: list[str] = []
    for part in shapely.get_parts(shape):
        rings = [part.exterior, *part.interiors] if isinstance(part, shapely.Polygon) else [part]
        for ring in rings:
            pixels = [at(x, y) for x, y in shapely.get_coordinates(ring)]
            steps.append("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in pixels))
            if isinstance(part, shapely.Polygon):
                steps.append("z")
    return "".join(steps)
