"""What a program rests on that nobody told, in plain sentences."""

from __future__ import annotations

import numpy as np

from sites.calc import soil
from sites.calc.search.round_words import stations_words
from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import BoolArray, IntArray


def zone_assumptions(zones: ZoneTable, at: IntArray) -> tuple[str, ...]:
    """What is assumed of a controller's zones.

    Parameters
    ----------
    zones
        Zones.
    at
        Positions of the controller's zones, (n,).
    """
    station, found = zones.station[at], []
    if zones.soil_assumed[at].any():
        taken = soil.DEFAULT_TEXTURE.replace("_", " ")
        found.append(
            f"Nobody told the soil: {taken} is assumed; run-off limits and what roots hold rest on it."
        )
    heads = zones.precipitation_rate_assumed[at] | zones.distribution_uniformity_assumed[at]
    if heads.any():
        named = stations_words(station[heads]).lower()
        found.append(f"Rate or uniformity of {named} is assumed from the kind of head.")
    plants = [
        _of(
            "landscape coefficient (from plant, sun and climate)",
            zones.landscape_coefficient_assumed[at],
            station,
        ),
        _of("root depth (from the plant)", zones.root_depth_assumed[at], station),
        _of("slope (level)", zones.slope_assumed[at], station),
    ]
    if any(plants):
        found.append(f"Not in the book, so assumed: {'; '.join(one for one in plants if one)}.")
    return tuple(found)


def sensor_assumptions(
    *, is_marked: bool, has_sensor: bool, station: int, has_zone: bool, threshold_kpa: float
) -> tuple[str, ...]:
    """What is assumed of a timer's sensor.

    Parameters
    ----------
    is_marked
        Whether the book marks the timer as governed by a sensor.
    has_sensor
        Whether the book has that sensor.
    station
        Station in whose zone it stands.
    has_zone
        Whether the book has that zone.
    threshold_kpa
        Threshold as set [kPa]; NaN: nobody told.
    """
    if not is_marked:
        return ()
    if not (has_sensor and has_zone):
        lack = "no sensor" if not has_sensor else f"no zone at station {station}, where its sensor stands"
        words = f"The timer is marked as governed by a sensor, but the book has {lack}"
        return (f"{words}: the program is planned by the clock alone, as if no start were blocked.",)
    half = "the sensor is taken to let water at half of the allowed depletion"
    if np.isnan(threshold_kpa):
        return (f"Nobody told the sensor’s threshold: {half}.",)
    if threshold_kpa <= soil.FIELD_CAPACITY_KPA:
        told = f"{threshold_kpa:g} kPa is no drier than field capacity, {soil.FIELD_CAPACITY_KPA:g} kPa"
        return (f"The sensor’s threshold of {told}, so {half}.",)
    return ()


def _of(what: str, is_assumed: BoolArray, station: IntArray) -> str:
    """What is assumed and of which stations; empty: of none."""
    if not is_assumed.any():
        return ""
    whose = "every station" if is_assumed.all() else stations_words(station[is_assumed]).lower()
    return f"{what} of {whose}"
