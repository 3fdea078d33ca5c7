"""Which zone should govern a controller: the one in which no other zone starves.

A sensor speaks for all stations. Between two allowed starts the zone in which it stands uses d, its depletion
at the threshold; zone j meanwhile uses d x KL_j / KL_g. Zone j starves where that is more than its roots may
lose.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sites.calc import soil
from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import FloatArray

# A zone less even than this tells the sensor what one spot got, not what the zone got (own choice) [1].
WELL_COVERED_FROM: Final = 0.50
# Heads under which a sensor sees one wet spot beside dry ground (common practice, no source).
SPOT_HEADS: Final = (3, 4)  # positions of dripline and bubbler in `landscape.HEADS`


@dataclass(frozen=True, slots=True)
class GoverningChoice:
    """One zone as the seat of the sensor.

    Parameters
    ----------
    at
        Position of the zone in the table.
    starving
        Positions of the zones that would starve.
    worst_share
        Largest share that another zone uses of what its roots may lose [1]; 0 where there is no other.
    used_mm
        What the zone uses between two allowed starts, d [mm].
    coefficient
        Landscape coefficient KL [1].
    uniformity
        DU [1].
    is_well_covered, is_spot, has_room
        Whether it is even enough; whether its heads wet spots only; whether a point a setback away from its
        edge exists.
    """

    at: int
    starving: tuple[int, ...]
    worst_share: float
    used_mm: float
    coefficient: float
    uniformity: float
    is_well_covered: bool
    is_spot: bool
    has_room: bool


def governing_choices(
    zones: ZoneTable, *, threshold_kpa: float, has_room: list[bool]
) -> list[GoverningChoice]:
    """The zones of one controller, the best seat first.

    Order: room for a setback, heads that wet the whole ground, fewest zones that starve, even enough, highest
    demand, largest area.

    Parameters
    ----------
    zones
        Zones of one controller.
    threshold_kpa
        Threshold of the sensor [kPa]; NaN: not known, and each zone is taken to its allowed depletion.
    has_room
        Whether each zone has a point a setback away from its edge.
    """
    used = _used_mm(zones, threshold_kpa)
    coefficient = zones.landscape_coefficient
    choices = []
    for at in range(len(zones)):
        share = used[at] * coefficient / coefficient[at] / zones.allowed_depletion_mm
        others = np.arange(len(zones)) != at
        choices.append(
            GoverningChoice(
                at=at,
                starving=tuple(np.flatnonzero(others & (share > 1.0 + 1e-9)).tolist()),
                worst_share=float(share[others].max()) if others.any() else 0.0,
                used_mm=float(used[at]),
                coefficient=float(coefficient[at]),
                uniformity=float(zones.distribution_uniformity[at]),
                is_well_covered=bool(zones.distribution_uniformity[at] >= WELL_COVERED_FROM),
                is_spot=int(zones.head[at]) in SPOT_HEADS,
                has_room=has_room[at],
            )
        )
    return sorted(choices, key=lambda one: _order(one, zones))


def _order(one: GoverningChoice, zones: ZoneTable) -> tuple[object, ...]:
    """The best first."""
    return (
        not one.has_room,
        one.is_spot,
        len(one.starving),
        not one.is_well_covered,
        -round(one.coefficient, 3),
        -float(zones.area_m2[one.at]),
        one.at,
    )


def _used_mm(zones: ZoneTable, threshold_kpa: float) -> FloatArray:
    """What each zone uses between two allowed starts [mm]."""
    if not threshold_kpa > soil.FIELD_CAPACITY_KPA:
        return zones.allowed_depletion_mm
    depletion = soil.threshold_depletion_mm(zones.soil, threshold_kpa, zones.root_depth_mm)
    return np.asarray(np.minimum(depletion, zones.total_available_water_mm), dtype=np.float64)
