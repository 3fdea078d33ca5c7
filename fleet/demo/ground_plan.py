"""Alder Ford on paper: the river, its bridges, nine neighbourhoods, and the frame of local metres."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Final, TypeVar

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

Shape = TypeVar("Shape", bound=BaseGeometry)
ORIGIN_LAT: Final = 41.2
ORIGIN_LON: Final = -104.7
RIVER_WIDTH_M: Final = 110.0
BLOCK_LENGTH_M: Final = 176.0
BLOCK_DEPTH_M: Final = 84.0
STREET_M: Final = 12.0
WEST_M: Final = -3500.0
EAST_M: Final = 3500.0
# Where the two bridges cross [m east of the origin], and how they are called.
BRIDGES: Final = ((-1050.0, "Mill Bridge"), (1250.0, "Ferry Bridge"))
DEPOT_M: Final = (260.0, -560.0)
YARD_M: Final = (2050.0, 640.0)


@dataclass(frozen=True, slots=True)
class Neighbourhood:
    """A part of the town: where it lies, how its streets run, and on what soil."""

    code: str
    name: str
    east_m: float
    north_m: float
    turn_deg: float
    columns: int
    rows: int
    soil: str
    slope_pct: float
    elevation_m: float
    supplier: str
    streets: tuple[str, ...]


NEIGHBOURHOODS: Final = (
    Neighbourhood(
        "NM",
        "North Meadow",
        -2750,
        900,
        6,
        5,
        5,
        "loam",
        2,
        1502,
        "Wend Valley Water",
        ("Meadow Walk", "Clover Row", "Larkfield Road", "Haycock Lane", "Sedge Street", "Teal Way"),
    ),
    Neighbourhood(
        "OT",
        "Old Town",
        -1330,
        840,
        -5,
        5,
        5,
        "silt_loam",
        1,
        1496,
        "Wend Valley Water",
        ("Tollgate Street", "Cooper Row", "Bell Yard", "Weigh House Lane", "Market Rise", "Old Mill Way"),
    ),
    Neighbourhood(
        "OR",
        "Orchard Rise",
        90,
        930,
        4,
        5,
        5,
        "clay_loam",
        5,
        1534,
        "Wend Valley Water",
        ("Pippin Street", "Russet Lane", "Damson Row", "Quince Road", "Medlar Way", "Codlin Close"),
    ),
    Neighbourhood(
        "CH",
        "Copperhill",
        1500,
        1010,
        -8,
        4,
        5,
        "clay",
        9,
        1585,
        "Hillside Mutual",
        ("Copper Street", "Assay Row", "Adit Lane", "Lode Road", "Tailings Way", "Smelter Rise"),
    ),
    Neighbourhood(
        "CB",
        "Claybank",
        2720,
        930,
        7,
        5,
        5,
        "clay_loam",
        7,
        1571,
        "Hillside Mutual",
        ("Kiln Lane", "Brickfield Row", "Potter Street", "Slip Road", "Tile Yard", "Glaze Way"),
    ),
    Neighbourhood(
        "MR",
        "Millrace",
        -2350,
        -900,
        -6,
        5,
        5,
        "sandy_loam",
        1,
        1489,
        "Wend Valley Water",
        ("Sluice Lane", "Paddle Street", "Race Row", "Hopper Road", "Grist Way", "Leat Close"),
    ),
    Neighbourhood(
        "QT",
        "Quay Terraces",
        -850,
        -860,
        5,
        5,
        5,
        "loamy_sand",
        3,
        1488,
        "Wend Valley Water",
        ("Quay Street", "Bollard Row", "Capstan Lane", "Lighter Road", "Towpath Way", "Anchor Yard"),
    ),
    Neighbourhood(
        "FG",
        "Ferry Green",
        900,
        -930,
        -4,
        5,
        5,
        "sandy_loam",
        1,
        1490,
        "Wend Valley Water",
        ("Ferry Street", "Landing Row", "Punt Lane", "Reed Road", "Oar Way", "Green End"),
    ),
    Neighbourhood(
        "SH",
        "Sandholm",
        2450,
        -860,
        6,
        5,
        5,
        "sand",
        2,
        1486,
        "Hillside Mutual",
        ("Dune Street", "Marram Row", "Shoal Lane", "Spit Road", "Holm Way", "Sandpiper Close"),
    ),
)


@cache
def to_lonlat() -> pyproj.Transformer:
    """The transformer from local metres to lon/lat."""
    local = pyproj.CRS.from_proj4(
        f"+proj=tmerc +lat_0={ORIGIN_LAT} +lon_0={ORIGIN_LON} +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m"
    )
    return pyproj.Transformer.from_crs(local, 4326, always_xy=True)


def lonlat(geometry: Shape) -> Shape:
    """The geometry in lon/lat, rounded to about a centimetre."""

    def project(points: NDArray[np.float64]) -> NDArray[np.float64]:
        east, north = to_lonlat().transform(points[:, 0], points[:, 1])
        return np.round(np.column_stack([east, north]), 7)

    return shapely.transform(geometry, project)


def river_north_m(east_m: float) -> float:
    """How far north of the origin the middle of the river lies."""
    return 170.0 * math.sin(east_m / 900.0) + 60.0 * math.sin(east_m / 370.0 + 1.0)


def river_line() -> shapely.LineString:
    """The middle of the River Wend, west to east."""
    steps = np.arange(WEST_M - 400, EAST_M + 401, 50.0)
    return shapely.LineString([(east, river_north_m(float(east))) for east in steps])


def river() -> shapely.Polygon:
    """The water of the River Wend."""
    return shapely.Polygon(river_line().buffer(RIVER_WIDTH_M / 2).exterior)


def place(part: Neighbourhood, geometry: Shape) -> Shape:
    """A geometry of a neighbourhood's own frame (origin at its middle, x along its streets) in the town."""
    turned = affinity.rotate(geometry, part.turn_deg, origin=(0, 0))
    return affinity.translate(turned, part.east_m, part.north_m)


def street_rows(part: Neighbourhood) -> list[float]:
    """North positions of the streets in the neighbourhood's own frame [m]."""
    pitch = BLOCK_DEPTH_M + STREET_M
    return [(row - part.rows / 2) * pitch for row in range(part.rows + 1)]


def street_columns(part: Neighbourhood) -> list[float]:
    """East positions of the cross streets in the neighbourhood's own frame [m]."""
    pitch = BLOCK_LENGTH_M + STREET_M
    return [(column - part.columns / 2) * pitch for column in range(part.columns + 1)]


def blocks(part: Neighbourhood) -> list[shapely.Polygon]:
    """The built blocks of a neighbourhood, in its own frame; streets are the gaps between."""
    half = STREET_M / 2
    rows, columns = street_rows(part), street_columns(part)
    return [
        shapely.box(columns[i] + half, rows[j] + half, columns[i + 1] - half, rows[j + 1] - half)
        for j in range(part.rows)
        for i in range(part.columns)
    ]
