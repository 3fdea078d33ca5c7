"""How shapes lie to each other: zones beyond their lot, zones over each other."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from sites.calc.geometry.areas import Floats, Geometries, area_m2
from sites.calc.geometry.report import Fault, GeometryFault

TOLERATED_SHARE = 0.05
NEAR_DEG = 0.001
"""About 100 m, for what a map draws around a place."""


def lot_faults(zones: Geometries, lots: Geometries) -> list[GeometryFault]:
    """Zones with more than 5 % of their area beyond their site's lot; warned of, as verges are watered too.

    Parameters
    ----------
    zones
        Sound polygons in WGS 84, (zones,).
    lots
        Lot of each zone's site, (zones,); points and None are passed over.
    """
    known = (shapely.area(zones) > 0) & (shapely.area(lots) > 0)
    share = np.zeros(len(zones))
    share[known] = area_m2(shapely.difference(zones[known], lots[known])) / area_m2(zones[known])
    return [
        GeometryFault(
            i,
            Fault.OUTSIDE_LOT,
            f"{share[i]:.0%} of it outside the lot",
            "a zone inside its site's lot",
            False,
        )
        for i in np.flatnonzero(share > TOLERATED_SHARE).tolist()
    ]


def overlap_faults(zones: Geometries, site: npt.NDArray[np.int64]) -> list[tuple[GeometryFault, int]]:
    """Zones that share over 5 % of the smaller one's area with another of the site; each with that other.

    Parameters
    ----------
    zones
        Sound polygons in WGS 84, (zones,).
    site
        Number of the site of each zone, (zones,); zones of different sites are not compared.
    """
    shapes = np.asarray(zones, dtype=object)
    drawn = np.flatnonzero(shapely.area(shapes) > 0)
    tree = shapely.STRtree(shapes[drawn])
    first, second = tree.query(shapes[drawn], predicate="intersects")
    first, second = drawn[first], drawn[second]
    pair = (first > second) & (site[first] == site[second])
    first, second = first[pair], second[pair]
    shared = area_m2(shapely.intersection(shapes[first], shapes[second]))
    share = shared / np.minimum(area_m2(shapes[first]), area_m2(shapes[second]))
    return [
        (
            GeometryFault(
                int(first[k]),
                Fault.OVERLAP,
                f"{share[k]:.0%} shared with another zone",
                "zones side by side",
                False,
            ),
            int(second[k]),
        )
        for k in np.flatnonzero(share > TOLERATED_SHARE).tolist()
    ]


def near_places(shapes: Geometries, spots: Floats) -> npt.NDArray[np.bool_]:
    """Which shapes lie within about 100 m of a place, (shapes,).

    Parameters
    ----------
    shapes
        Shapes in WGS 84, (shapes,); None is near nothing.
    spots
        Longitude and latitude of the places [deg], (places, 2).
    """
    near = np.zeros(len(shapes), dtype=np.bool_)
    if len(spots) and len(shapes):
        around = shapely.box(*(spots - NEAR_DEG).T, *(spots + NEAR_DEG).T)
        near[shapely.STRtree(shapes).query(around)[1]] = True
    return near
