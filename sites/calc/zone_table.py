"""All zones as arrays: what every later stage knows of a zone, and which of it is assumed."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from sites.calc import landscape, soil
from sites.calc.balance.run_off import runoff_limit_min

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

_ABOVE_ZERO = (
    "area_m2",
    "precipitation_rate_mm_h",
    "distribution_uniformity",
    "landscape_coefficient",
    "root_depth_mm",
    "total_available_water_mm",
    "allowed_depletion_mm",
)


@dataclass(frozen=True, slots=True)
class BookZones:
    """Zones as the book has them, arrays (zones,); NaN or -1 where the book has no value.

    Parameters
    ----------
    zone_id, controller_id, site_id, station
        Keys of the zone; zones come sorted by site code, controller code, station.
    location_id, rain_location_id
        Weather location of the site and of its rain; 0 = none.
    plant, head, sun
        Positions in `landscape.PLANTS`, `HEADS`, `SUNS`.
    soil
        Position in `soil.TEXTURES`, the zone's own, else its site's; -1 = not known.
    area_m2
        Planted area [m2].
    precipitation_rate_mm_h, flow_l_min
        Measured precipitation rate [mm/h] and flow [L/min].
    distribution_uniformity
        Measured low-quarter uniformity [1].
    slope_pct
        Slope [%], the zone's own, else its site's.
    root_depth_mm, landscape_coefficient
        Typed root depth [mm] and landscape coefficient [1].
    is_governing
        Whether the sensor of its controller stands in the zone.
    is_dry_climate
        Whether plant factors of a dry climate apply.
    """

    zone_id: IntArray
    controller_id: IntArray
    site_id: IntArray
    station: IntArray
    location_id: IntArray
    rain_location_id: IntArray
    plant: IntArray
    head: IntArray
    sun: IntArray
    soil: IntArray
    area_m2: FloatArray
    precipitation_rate_mm_h: FloatArray
    flow_l_min: FloatArray
    distribution_uniformity: FloatArray
    slope_pct: FloatArray
    root_depth_mm: FloatArray
    landscape_coefficient: FloatArray
    is_governing: BoolArray
    is_dry_climate: BoolArray

    def __post_init__(self) -> None:
        """Refuse columns of unequal length."""
        if len({getattr(self, field.name).shape for field in fields(self)}) > 1:
            raise ValueError("zones need columns of one length")


@dataclass(frozen=True, slots=True)
class ZoneTable:
    """Zones ready to compute with, arrays (zones,), sorted by site code, controller code and station.

    Parameters
    ----------
    zone_id, controller_id, site_id, station
        Keys of the zone.
    location_id, rain_location_id
        Weather location of the site, and of its rain where that is another; 0 = none.
    plant, head
        Positions in `landscape.PLANTS` and `landscape.HEADS`.
    area_m2
        Planted area [m2].
    precipitation_rate_mm_h
        Precipitation rate of the heads, PR [mm/h].
    distribution_uniformity
        Low-quarter uniformity, DU [1].
    application_efficiency
        Mean net depth over gross depth of a run, 0.4 + 0.6 DU [1]; DU enters nowhere else.
    landscape_coefficient
        KL [1].
    root_depth_mm
        Root depth [mm].
    soil
        Position in `soil.TEXTURES`.
    field_capacity, wilting_point
        Water content at 10 kPa and at 1,500 kPa of the one curve [m3/m3].
    total_available_water_mm, allowed_depletion_mm
        TAW and the part of it that may be used [mm].
    intake_rate_mm_h, surface_accumulation_mm
        Steady intake rate IR [mm/h] and allowed surface accumulation ASA [mm].
    runoff_limit_min
        Longest run before water runs off [min]; infinite = none.
    slope_pct
        Slope [%]; 0 where nobody gave one.
    flow_l_min
        Flow of the station: measured, else PR x area [L/min].
    is_governing
        Whether the sensor of its controller stands in the zone.
    precipitation_rate_assumed, distribution_uniformity_assumed, landscape_coefficient_assumed, soil_assumed,
    root_depth_assumed, slope_assumed, flow_assumed
        True where the value is a default and not the book's.
    """

    zone_id: IntArray
    controller_id: IntArray
    site_id: IntArray
    station: IntArray
    location_id: IntArray
    rain_location_id: IntArray
    plant: IntArray
    head: IntArray
    area_m2: FloatArray
    precipitation_rate_mm_h: FloatArray
    distribution_uniformity: FloatArray
    application_efficiency: FloatArray
    landscape_coefficient: FloatArray
    root_depth_mm: FloatArray
    soil: IntArray
    field_capacity: FloatArray
    wilting_point: FloatArray
    total_available_water_mm: FloatArray
    allowed_depletion_mm: FloatArray
    intake_rate_mm_h: FloatArray
    surface_accumulation_mm: FloatArray
    runoff_limit_min: FloatArray
    slope_pct: FloatArray
    flow_l_min: FloatArray
    is_governing: BoolArray
    precipitation_rate_assumed: BoolArray
    distribution_uniformity_assumed: BoolArray
    landscape_coefficient_assumed: BoolArray
    soil_assumed: BoolArray
    root_depth_assumed: BoolArray
    slope_assumed: BoolArray
    flow_assumed: BoolArray

    def __post_init__(self) -> None:
        """Refuse unequal lengths and values that no zone can have."""
        if len({getattr(self, field.name).shape for field in fields(self)}) > 1:
            raise ValueError("a zone table needs columns of one length")
        for name in _ABOVE_ZERO:
            if not np.all(getattr(self, name) > 0):
                raise ValueError(f"{name} must be above 0 in every zone")
        if np.any(self.distribution_uniformity > 1):
            raise ValueError("distribution uniformity is at most 1")
        if np.any(self.allowed_depletion_mm > self.total_available_water_mm):
            raise ValueError("allowed depletion is at most the total available water")
        if np.unique(self.zone_id).size != self.zone_id.size:
            raise ValueError("zones must be distinct")

    def __len__(self) -> int:
        return int(self.zone_id.size)

    def take(self, positions: IntArray | BoolArray | slice) -> ZoneTable:
        """The table of some zones, in the order given.

        Parameters
        ----------
        positions
            Positions, a mask over the zones, or a slice.
        """
        return replace(self, **{field.name: getattr(self, field.name)[positions] for field in fields(self)})

    def positions_of(self, zone_ids: npt.ArrayLike) -> IntArray:
        """Positions of zones in the table, -1 where a zone is not in it.

        Parameters
        ----------
        zone_ids
            Zone ids, (n,).
        """
        wanted = np.asarray(zone_ids, dtype=np.int64)
        if len(self) == 0:
            return np.full(wanted.shape, -1, dtype=np.int64)
        order = np.argsort(self.zone_id)
        found = order[np.minimum(np.searchsorted(self.zone_id, wanted, sorter=order), len(self) - 1)]
        return np.where(self.zone_id[found] == wanted, found, -1)


def zone_table(zones: BookZones, field_capacity_kpa: float = soil.FIELD_CAPACITY_KPA) -> ZoneTable:
    """Zones ready to compute with: the book's values, and marked defaults where it has none.

    Precipitation rate: typed, else 60 x flow / area, else that of the class of heads. Soil: the zone's or its
    site's, else loam. All other defaults: `sites.calc.landscape`.

    Parameters
    ----------
    zones
        Zones as the book has them, (zones,).
    field_capacity_kpa
        Tension called field capacity [kPa], 6 to 15.
    """
    rate = np.where(
        np.isnan(zones.precipitation_rate_mm_h),
        60.0 * zones.flow_l_min / zones.area_m2,
        zones.precipitation_rate_mm_h,
    )
    rate_assumed = np.isnan(rate)
    rate = np.where(rate_assumed, landscape.precipitation_rate_mm_h(zones.head), rate)
    uniformity, uniformity_assumed = _or_default(
        zones.distribution_uniformity, landscape.distribution_uniformity(zones.head)
    )
    flow, flow_assumed = _or_default(zones.flow_l_min, rate * zones.area_m2 / 60.0)
    coefficient, coefficient_assumed = _or_default(
        zones.landscape_coefficient,
        landscape.landscape_coefficient(zones.plant, zones.sun, zones.is_dry_climate),
    )
    depth, depth_assumed = _or_default(zones.root_depth_mm, landscape.root_depth_mm(zones.plant))
    slope, slope_assumed = _or_default(zones.slope_pct, np.zeros(zones.slope_pct.shape))
    texture = np.where(zones.soil < 0, soil.texture_index(soil.DEFAULT_TEXTURE), zones.soil)
    available = soil.available_water_mm(texture, depth, field_capacity_kpa)
    intake = soil.intake_rate_mm_h(texture)
    accumulation = soil.surface_accumulation_mm(texture, slope)
    return ZoneTable(
        zone_id=zones.zone_id,
        controller_id=zones.controller_id,
        site_id=zones.site_id,
        station=zones.station,
        location_id=zones.location_id,
        rain_location_id=zones.rain_location_id,
        plant=zones.plant,
        head=zones.head,
        area_m2=zones.area_m2,
        precipitation_rate_mm_h=rate,
        distribution_uniformity=uniformity,
        application_efficiency=0.4 + 0.6 * uniformity,
        landscape_coefficient=coefficient,
        root_depth_mm=depth,
        soil=texture,
        field_capacity=soil.field_capacity(texture, field_capacity_kpa),
        wilting_point=soil.wilting_point(texture),
        total_available_water_mm=available,
        allowed_depletion_mm=soil.allowed_depletion_mm(
            available, landscape.allowed_depletion_fraction(zones.plant)
        ),
        intake_rate_mm_h=intake,
        surface_accumulation_mm=accumulation,
        runoff_limit_min=runoff_limit_min(rate, intake, accumulation),
        slope_pct=slope,
        flow_l_min=flow,
        is_governing=zones.is_governing,
        precipitation_rate_assumed=rate_assumed,
        distribution_uniformity_assumed=uniformity_assumed,
        landscape_coefficient_assumed=coefficient_assumed,
        soil_assumed=zones.soil < 0,
        root_depth_assumed=depth_assumed,
        slope_assumed=slope_assumed,
        flow_assumed=flow_assumed,
    )


def _or_default(values: FloatArray, defaults: FloatArray) -> tuple[FloatArray, BoolArray]:
    """The values with defaults where NaN, and where that was."""
    missing = np.isnan(values)
    return np.where(missing, defaults, values), missing
