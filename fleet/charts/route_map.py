"""A technician's day as a map in SVG for paper: ground, line, numbered stops; no text of a user."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fleet.selectors.plan.route_sheet import LonLat, MapStop
from weather.calc.units import feet_to_m

MARGIN_PX: Final = 22.0
M_PER_DEG: Final = 111_195.0
LEAST_SPAN_M: Final = 600.0
STOP_RADIUS_PX: Final = 9.0
SCALE_WORDS_PX: Final = 50.0
# Layers of the company's ground that help on paper, in the order in which they are drawn.
AREAS: Final = ("blocks", "water")
LINES: Final = ("streets", "arterials", "bridges")
# With blocks drawn, streets are the gaps between.
MOST_PARTS: Final = 4_000
SCALE_STEPS_M: Final = (100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000)
SCALE_STEPS_FT: Final = (200, 500, 1_000, 2_000)
SCALE_STEPS_MI: Final = (0.5, 1, 2, 5, 10, 20, 50)


@dataclass(frozen=True, slots=True)
class _Frame:
    """How degrees become pixels: north up, one scale both ways."""

    middle: LonLat
    px_a_metre: float
    width_px: int
    height_px: int

    def at(self, place: Sequence[float]) -> tuple[float, float]:
        """Pixels of a place [deg]."""
        east_m = (place[0] - self.middle[0]) * M_PER_DEG * math.cos(math.radians(self.middle[1]))
        north_m = (place[1] - self.middle[1]) * M_PER_DEG
        return (
            self.width_px / 2 + east_m * self.px_a_metre,
            self.height_px / 2 - north_m * self.px_a_metre,
        )


def route_map_svg(
    *,
    line: Sequence[LonLat],
    stops: Sequence[MapStop],
    start: LonLat,
    layers: Mapping[str, Any],
    width_px: int,
    height_px: int,
    is_estimated: bool,
    is_us: bool = False,
) -> str:
    """The map of a day as ready markup.

    Parameters
    ----------
    line
        The way as (longitude, latitude) [deg]; straight between stops where the streets are not known.
    stops
        Numbered stops.
    start
        Where the day begins (longitude, latitude) [deg].
    layers
        The company's ground: GeoJSON collections by name.
    width_px, height_px
        Size of the drawing [px].
    is_estimated
        True: the line is drawn as straight pieces that nobody drives.
    is_us
        True: the scale bar is in feet and miles.
    """
    places = [start, *line, *((s.longitude, s.latitude) for s in stops)]
    frame = _frame(places, width_px, height_px)
    words = f"Map of the route with {len(stops)} numbered stops, north up"
    parts = [
        f'<svg class="routemap" viewBox="0 0 {width_px} {height_px}" role="img" aria-label="{words}">',
        f'<rect class="rm-paper" width="{width_px}" height="{height_px}"/>',
        *_ground(layers, frame),
    ]
    if len(line) > 1:
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in (frame.at(place) for place in line))
        kind = "rm-line rm-straight" if is_estimated else "rm-line"
        parts += [
            f'<polyline class="rm-case" points="{points}"/>',
            f'<polyline class="{kind}" points="{points}"/>',
        ]
    x, y = frame.at(start)
    parts.append(f'<rect class="rm-yard" x="{x - 6:.1f}" y="{y - 6:.1f}" width="12" height="12"/>')
    spots = _spots(stops, frame)
    parts += _marks(stops, frame, spots)
    parts += [*_scale(frame, spots, is_us=is_us), "</svg>"]
    return "".join(parts)


def _frame(places: Iterable[LonLat], width_px: int, height_px: int) -> _Frame:
    """The frame that holds all places."""
    lons, lats = zip(*places, strict=True)
    middle = ((min(lons) + max(lons)) / 2, (min(lats) + max(lats)) / 2)
    wide_m = (max(lons) - min(lons)) * M_PER_DEG * math.cos(math.radians(middle[1]))
    high_m = (max(lats) - min(lats)) * M_PER_DEG
    scale = min(
        (width_px - 2 * MARGIN_PX) / max(wide_m, LEAST_SPAN_M),
        (height_px - 2 * MARGIN_PX) / max(high_m, LEAST_SPAN_M),
    )
    return _Frame(middle, scale, width_px, height_px)


def _ground(layers: Mapping[str, Any], frame: _Frame) -> Iterator[str]:
    """The quiet layers that lie inside the frame, each as one path."""
    names = [*AREAS, *(name for name in LINES if name != "streets" or not layers.get("blocks"))]
    for name in names:
        pieces = []
        for ring in _rings(layers.get(name)):
            points = [frame.at(place) for place in ring]
            if _is_inside(points, frame):
                end = "Z" if name in AREAS else ""
                pieces.append("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + end)
            if len(pieces) >= MOST_PARTS:
                break
        if pieces:
            yield f'<path class="rm-{name}" d="{"".join(pieces)}"/>'


def _rings(collection: Any) -> Iterator[list[list[float]]]:
    """Rings and lines of a GeoJSON collection."""
    for feature in (collection or {}).get("features", []):
        shape = feature.get("geometry") or {}
        found = shape.get("coordinates", [])
        kind = shape.get("type")
        if kind == "LineString":
            yield found
        elif kind in ("MultiLineString", "Polygon"):
            yield from found
        elif kind == "MultiPolygon":
            for polygon in found:
                yield from polygon


def _is_inside(points: Sequence[tuple[float, float]], frame: _Frame) -> bool:
    """Tell whether the box around points meets the frame."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return bool(points) and (
        max(xs) > 0 and min(xs) < frame.width_px and max(ys) > 0 and min(ys) < frame.height_px
    )


def _spots(stops: Sequence[MapStop], frame: _Frame) -> list[tuple[float, float]]:
    """Where each stop's mark stands: those that would lie on each other step aside."""
    taken: list[tuple[float, float]] = []
    for stop in stops:
        taken.append(_free_place(*frame.at((stop.longitude, stop.latitude)), taken))
    return taken


def _marks(stops: Sequence[MapStop], frame: _Frame, spots: Sequence[tuple[float, float]]) -> Iterator[str]:
    """Numbered marks, those that stepped aside with a thread to their place."""
    for stop, (px, py) in zip(stops, spots, strict=True):
        x, y = frame.at((stop.longitude, stop.latitude))
        if (px, py) != (x, y):
            yield f'<path class="rm-thread" d="M{x:.1f} {y:.1f}L{px:.1f} {py:.1f}"/>'
            yield f'<circle class="rm-dot" cx="{x:.1f}" cy="{y:.1f}" r="2.5"/>'
        yield f'<circle class="rm-stop" cx="{px:.1f}" cy="{py:.1f}" r="{STOP_RADIUS_PX:g}"/>'
        yield f'<text class="rm-no" x="{px:.1f}" y="{py + 4:.1f}" text-anchor="middle">{stop.number:d}</text>'


def _free_place(x: float, y: float, taken: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The place itself, or the nearest one around it on which no mark lies."""
    for ring in range(5):
        for turn in range(max(1, 8 * ring)):
            angle = 2 * math.pi * turn / max(1, 8 * ring)
            reach = ring * STOP_RADIUS_PX * 1.2
            spot = (x + reach * math.cos(angle), y - reach * math.sin(angle))
            if all(math.dist(spot, other) >= 2 * STOP_RADIUS_PX for other in taken):
                return spot
    return (x, y)


def _scale(frame: _Frame, spots: Sequence[tuple[float, float]], *, is_us: bool) -> Iterator[str]:
    """A scale bar in the reader's units, in the first corner in which no mark stands."""
    bars = _feet_and_miles() if is_us else _metres()
    fitting = [bar for bar in bars if bar[0] * frame.px_a_metre <= frame.width_px / 4]
    step, words = fitting[-1] if fitting else bars[0]
    length = step * frame.px_a_metre
    right_px = frame.width_px - length - SCALE_WORDS_PX - 10
    corners = [(left, y) for y in (frame.height_px - 10.0, 20.0) for left in (10.0, right_px)]
    left, y = next((one for one in corners if _is_free(one, length, spots)), corners[0])
    yield f'<path class="rm-scale" d="M{left:.1f} {y - 4:g}V{y:g}H{left + length:.1f}V{y - 4:g}"/>'
    yield f'<text class="rm-words" x="{left + length + 6:.1f}" y="{y:g}">{words}</text>'


def _is_free(corner: tuple[float, float], length: float, spots: Sequence[tuple[float, float]]) -> bool:
    """Tell whether no mark stands where a scale bar with its words would."""
    left, y = corner
    reach = STOP_RADIUS_PX + 2
    return not any(
        left - reach < px < left + length + SCALE_WORDS_PX + reach and y - 12 - reach < py < y + reach
        for px, py in spots
    )


def _metres() -> list[tuple[float, str]]:
    """Lengths of a scale bar in metres with their words."""
    return [(step, f"{step / 1000:g} km" if step >= 1000 else f"{step} m") for step in SCALE_STEPS_M]


def _feet_and_miles() -> list[tuple[float, str]]:
    """The same for who reads feet and miles."""
    feet = [(feet_to_m(step), f"{step} ft") for step in SCALE_STEPS_FT]
    return feet + [(feet_to_m(5280 * step), f"{step:g} mi") for step in SCALE_STEPS_MI]
