"""The base map of a page, made by folium: only numbers go into its script, never a user's text."""

from __future__ import annotations

import math
from dataclasses import dataclass

import shapely

# Line patterns tell routes apart in print and for eyes that see no colour; 0 is a plain line.
DASH_COUNT = 8
MAX_ZOOM = 21


@dataclass(frozen=True, slots=True)
class MapLine:
    """A route on the map: its number and its points as (longitude, latitude) pairs [deg]."""

    number: int
    coordinates: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class MapParts:
    """What a template needs: the holder's markup, the script's text, the script's name of the map."""

    html: str
    script: str
    name: str


def dash_of(number: int) -> int:
    """Return which line pattern a route's number has."""
    return (number - 1) % DASH_COUNT


def _finite(value: float) -> float:
    """Return the value as a plain float that JSON can say."""
    figure = float(value)
    if not math.isfinite(figure):
        message = f"no place on the map: {value!r}"
        raise ValueError(message)
    return figure


def box_of(points: list[tuple[float, float]]) -> tuple[float, float, float, float]:
    """Return west, south, east, north [deg] of (longitude, latitude) points, never empty.

    A single point gets some 200 m around it; no point at all gives the whole earth.
    """
    if not points:
        return (-170.0, -60.0, 170.0, 75.0)
    west, south, east, north = shapely.MultiPoint(points).bounds
    if east - west < 0.002 and north - south < 0.002:
        return (west - 0.0015, south - 0.001, east + 0.0015, north + 0.001)
    return (west, south, east, north)


def base_map(
    *,
    box: tuple[float, float, float, float],
    lines: tuple[MapLine, ...] = (),
    tile_url: str = "",
    is_metric: bool = True,
) -> MapParts:
    """Return the parts of a folium map over a box (west, south, east, north [deg]) with route lines.

    No tiles but the company's own; ground, sites and gardens come from the page's script. Lines are
    drawn twice, a casing below, so that they stay readable over everything.
    """
    import folium  # heavy: more than a second to load, so only where a map is made
    from branca.element import Figure

    west, south, east, north = (_finite(side) for side in box)
    chart = folium.Map(
        location=[(south + north) / 2, (west + east) / 2],
        # So far out that the step to the box is no glide, in which lines would swell for a moment.
        zoom_start=1,
        tiles=None,
        zoom_control=False,
        attribution_control=bool(tile_url),
        zoom_snap=0.25,
        max_zoom=MAX_ZOOM,
    )
    if tile_url:
        folium.TileLayer(tile_url, attr="map tiles of the company's own server", max_zoom=MAX_ZOOM).add_to(
            chart
        )
    chart.options["maxZoom"] = MAX_ZOOM
    for line in lines:
        places = [(_finite(latitude), _finite(longitude)) for longitude, latitude in line.coordinates]
        if len(places) > 1:
            names = f"r-{line.number:d} r-d{dash_of(line.number):d}"
            for kind in ("route-c", "route"):
                folium.PolyLine(  # type: ignore[no-untyped-call]
                    places, class_name=f"{kind} {names}", interactive=False
                ).add_to(chart)
    chart.fit_bounds([(south, west), (north, east)], padding=(12, 12))
    figure = chart.get_root()
    if not isinstance(figure, Figure):
        message = "folium gave no figure"
        raise TypeError(message)
    figure.render()
    name = chart.get_name()
    units = f"metric: {str(is_metric).lower()}, imperial: {str(not is_metric).lower()}"
    scale = f"L.control.scale({{position: 'bottomright', {units}}}).addTo({name});"
    return MapParts(html=figure.html.render(), script=figure.script.render() + scale, name=name)
