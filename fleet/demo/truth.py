"""What really happened in the invented gardens: water in the ground, what sensors did, what meters counted.

The physics are the demo's own (van Genuchten retention, drainage above field capacity, a lagging sensor), not
those of the balance or the watch, and the planted faults go into a file of their own that no stage reads.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# theta_r, theta_s, alpha [1/cm], n: class averages of Schaap, Leij and van Genuchten (2001, J. Hydrol. 251).
VAN_GENUCHTEN: Final = {
    "sand": (0.053, 0.375, 0.0352, 3.18),
    "loamy_sand": (0.049, 0.390, 0.0348, 1.75),
    "sandy_loam": (0.039, 0.387, 0.0267, 1.45),
    "loam": (0.061, 0.399, 0.0111, 1.47),
    "silt_loam": (0.065, 0.439, 0.0051, 1.66),
    "clay_loam": (0.079, 0.442, 0.0158, 1.42),
    "clay": (0.098, 0.459, 0.0150, 1.25),
}
CM_PER_KPA: Final = 10.197
FAULTS: Final = ("stuck_wet", "stuck_dry", "reads_wet", "reads_dry", "erratic", "overridden", "no_power")


@dataclass(frozen=True, slots=True)
class TrueGardens:
    """Arrays of zones (Z) and controllers (C); `controller_of` places each zone."""

    controller_of: Ints  # (Z,)
    governing: Ints  # (C,) zone; -1: no sensor
    soil: list[str]  # (Z,)
    root_mm: Floats  # (Z,)
    landscape_coefficient: Floats  # (Z,)
    rate_mm_h: Floats  # (Z,)
    efficiency: Floats  # (Z,)
    area_m2: Floats  # (Z,)
    threshold_kpa: Floats  # (C,) as it truly acts
    sensor_from: Ints  # (C,) day index of installation
    fault: list[str]  # (C,) empty: healthy
    fault_from: Ints  # (C,)
    location: Ints  # (C,)


@dataclass(frozen=True, slots=True)
class TrueDays:
    """What happened, by day: starts (D, C), and water applied to zones (D, Z) [mm gross]."""

    scheduled: Ints
    bypassed: Ints
    skipped: Ints
    cut_short: Ints
    applied_mm: NDArray[np.float32]


def wetness(tension_kpa: Floats, soil: list[str]) -> Floats:
    """Water content at a tension [m3/m3]."""
    residual, saturated, alpha, n = (np.array([VAN_GENUCHTEN[name][i] for name in soil]) for i in range(4))
    suction = alpha * tension_kpa * CM_PER_KPA
    content: Floats = residual + (saturated - residual) * (1 + suction**n) ** (-(1 - 1 / n))
    return content


def simulate(
    rng: np.random.Generator,
    gardens: TrueGardens,
    *,
    eto_mm: Floats,
    rain_mm: Floats,
    starts: Ints,
    minutes: Floats,
    runs_at: Bools,
) -> TrueDays:
    """Days of all gardens at once.

    Parameters
    ----------
    rng
        Source of chance.
    gardens
        The gardens as they truly are.
    eto_mm, rain_mm
        True weather, shape (days, locations) [mm].
    starts
        Starts offered by each controller's clock, shape (days, controllers).
    minutes
        Run minutes of each zone at one start, shape (days, zones) [min].
    runs_at
        Whether each zone runs at the n-th start of a day, shape (days, starts, zones).
    """
    days, controllers = starts.shape
    zones = gardens.controller_of.size
    where = gardens.location[gardens.controller_of]
    soil = gardens.soil
    full = wetness(np.full(zones, 10.0), soil) * gardens.root_mm
    brim = wetness(np.full(zones, 1.0), soil) * gardens.root_mm
    wilt = wetness(np.full(zones, 1500.0), soil) * gardens.root_mm
    has_sensor = gardens.governing >= 0
    spot = np.maximum(gardens.governing, 0)
    trigger = wetness(np.repeat(1.0, controllers) * gardens.threshold_kpa, [soil[z] for z in spot])
    trigger_mm = trigger * gardens.root_mm[spot]
    water = full * 0.9
    felt = water[spot].copy()
    bypassed = np.zeros((days, controllers), dtype=np.int64)
    skipped = np.zeros_like(bypassed)
    cut = np.zeros_like(bypassed)
    applied = np.zeros((days, zones), dtype=np.float32)
    at_spot = _at_spot(gardens)
    garden_rain = rain_mm[:, gardens.location] * rng.lognormal(0, 0.12, (days, controllers))
    for day in range(days):
        on = (gardens.fault_from <= day) & has_sensor
        early = garden_rain[day][gardens.controller_of] * 0.3
        water = np.minimum(water + early * 0.9, brim)
        for start in range(int(starts[day].max(initial=0))):
            offered = starts[day] > start
            no_power = on & (at_spot["no_power"] > 0) & offered
            felt = 0.35 * felt + 0.65 * water[spot] * at_spot["wetter"] ** on
            blocked = (
                _blocked(rng, at_spot, on, felt > trigger_mm, day=day, gardens=gardens) & offered & ~no_power
            )
            ran = offered & ~blocked & ~no_power
            bypassed[day] += blocked
            skipped[day] += no_power
            waters = ran[gardens.controller_of] & runs_at[day, min(start, runs_at.shape[1] - 1)]
            depth = np.where(waters, gardens.rate_mm_h * minutes[day] / 60, 0.0)
            applied[day] += depth.astype(np.float32)
            reach = np.ones(zones)
            reach[spot[has_sensor]] = np.where(on[has_sensor], at_spot["reach"][has_sensor], 1.0)
            water = np.minimum(water + np.maximum(depth - 0.3, 0) * gardens.efficiency * reach, brim)
            cut[day] += (
                ran & has_sensor & (water[spot] > trigger_mm * 1.03) & (rng.random(controllers) < 0.05)
            )
        water = np.minimum(water + garden_rain[day][gardens.controller_of] * 0.63, brim)
        water = np.where(water > full, full + (water - full) * 0.35, water)
        share = np.clip((water - wilt) / (0.5 * (full - wilt)), 0.0, 1.0)
        water = np.maximum(water - eto_mm[day, where] * gardens.landscape_coefficient * share, wilt)
    return TrueDays(starts, bypassed, skipped, cut, applied)


def _at_spot(gardens: TrueGardens) -> dict[str, Floats]:
    """How each fault changes what the sensor sees or does."""
    fault = np.array(gardens.fault)
    return {
        "wetter": np.where(fault == "reads_wet", 1.22, np.where(fault == "reads_dry", 0.8, 1.0)),
        "reach": np.where(fault == "reads_wet", 1.6, np.where(fault == "reads_dry", 0.4, 1.0)),
        "always": np.where(fault == "stuck_wet", 1.0, 0.0),
        "never": np.where((fault == "stuck_dry") | (fault == "overridden"), 1.0, 0.0),
        "chance": np.where(fault == "erratic", 0.5, -1.0),
        "no_power": np.where(fault == "no_power", 1.0, 0.0),
    }


def _blocked(
    rng: np.random.Generator,
    at_spot: dict[str, Floats],
    on: Bools,
    is_wet: Bools,
    *,
    day: int,
    gardens: TrueGardens,
) -> Bools:
    """Whether each sensor blocks this start."""
    blocked = is_wet & (gardens.governing >= 0) & (gardens.sensor_from <= day)
    blocked = np.where(on & (at_spot["always"] > 0), True, blocked)
    blocked = np.where(on & (at_spot["never"] > 0), False, blocked)
    drawn = rng.random(is_wet.size) < at_spot["chance"]
    return np.asarray(np.where(on & (at_spot["chance"] > 0), drawn, blocked), dtype=np.bool_)
