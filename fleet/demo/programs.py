"""What the timers of the invented gardens were set to, season by season."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from fleet.demo.book import DemoSite
from fleet.demo.gardens import DemoController
from sites.calc.run_off import runoff_limit_min
from sites.calc.soil import intake_rate_mm_h, surface_accumulation_mm, texture_index

SEASON_START: Final = (4, 15)
SEASON_END: Final = (10, 20)
PEAK_WEEK_MM: Final = 46.0  # reference ET of a hot week
KL: Final = {
    "cool_turf": 0.8,
    "warm_turf": 0.6,
    "annuals": 0.8,
    "shrubs": 0.5,
    "groundcover": 0.5,
    "desert": 0.3,
}
ASSUMED_RATE_MM_H: Final = {
    "fixed_spray": 41.0, "rotor": 13.0, "rotary_nozzle": 11.0, "dripline": 15.0, "bubbler": 25.0,
}  # fmt: skip
# Share of the sensor sites whose timers somebody set with care.
WELL_SET: Final = 0.75
CLOCK_STARTS: Final = {"Wend Valley Water": ("04:00", "06:30"), "Hillside Mutual": ("20:30", "23:00")}
SENSOR_STARTS: Final = {
    "Wend Valley Water": ("03:00", "05:30"),
    "Hillside Mutual": ("20:30", "22:00", "23:30"),
}


@dataclass(frozen=True, slots=True)
class Setting:
    """One controller's setting from a day on; minutes by station."""

    as_of: date
    days: str
    starts: tuple[str, ...]
    minutes: dict[int, int]
    adjust_pct: int


def days_of(site: DemoSite) -> str:
    """The days on which the site's rule lets it water."""
    is_odd = site.number % 2 == 1
    if site.part.supplier == "Wend Valley Water":
        return "odd" if is_odd else "even"
    return "wed,sat" if is_odd else "thu,sun"


def waterings_a_week(site: DemoSite) -> float:
    """Allowed days a week."""
    return 3.5 if site.part.supplier == "Wend Valley Water" else 2.0


def settings_of(
    rng: np.random.Generator, site: DemoSite, controller: DemoController, *, first: date, today: date
) -> list[Setting]:
    """The settings to `today`: generous before the sensor came, more passes after, off in winter."""
    generous = float(rng.uniform(1.0, 1.75))
    supplier = site.part.supplier
    before = CLOCK_STARTS[supplier]
    after = SENSOR_STARTS[supplier]
    has_sensor = controller.sensor_spot is not None and site.sensor_since is not None
    is_well_set = bool(rng.random() < WELL_SET)
    old = _minutes(rng, site, controller, starts=len(before), factor=generous)
    if is_well_set:
        new = _measured_minutes(site, controller, starts=len(after))
    else:
        new = _minutes(rng, site, controller, starts=len(after), factor=float(rng.uniform(0.8, 1.6)))
    change = site.sensor_since if has_sensor and site.sensor_since else today + timedelta(days=1)
    turns = sorted(
        {date(year, *day) for year in range(first.year, today.year + 1) for day in (SEASON_START, SEASON_END)}
        | {change}
    )
    inside = [first, *(turn for turn in turns if first < turn <= today)]
    return [
        Setting(
            as_of=turn,
            days=days_of(site),
            starts=after if turn >= change else before,
            minutes=new if turn >= change else old,
            adjust_pct=100 if is_season(turn) else 0,
        )
        for turn in inside
    ]


def is_season(day: date) -> bool:
    """Whether the timers are on."""
    return date(day.year, *SEASON_START) <= day < date(day.year, *SEASON_END)


def _minutes(
    rng: np.random.Generator, site: DemoSite, controller: DemoController, *, starts: int, factor: float
) -> dict[int, int]:
    """Minutes by station, set by somebody who knows the heads only by their kind."""
    minutes = {}
    for zone in controller.zones:
        need = PEAK_WEEK_MM * KL[zone.plant] * factor * float(rng.lognormal(0, 0.15))
        depth = need / (waterings_a_week(site) * starts * 0.72)
        longest = 24 if zone.head == "fixed_spray" else 70
        minutes[zone.station] = int(np.clip(round(60 * depth / ASSUMED_RATE_MM_H[zone.head]), 2, longest))
    return minutes


def _measured_minutes(site: DemoSite, controller: DemoController, *, starts: int) -> dict[int, int]:
    """Minutes by station, set by somebody who measured the heads and knows the run-off limit."""
    minutes = {}
    texture = texture_index(site.part.soil)
    for zone in controller.zones:
        need = PEAK_WEEK_MM * KL[zone.plant] * (0.8 if zone.sun == "part" else 1.0) * 1.12
        depth = need / (waterings_a_week(site) * starts) / (0.4 + 0.6 * zone.true_uniformity) + 0.4
        limit = runoff_limit_min(
            zone.true_rate_mm_h,
            intake_rate_mm_h(texture),
            surface_accumulation_mm(texture, site.part.slope_pct),
        )
        longest = min(float(limit), 90.0)
        minutes[zone.station] = max(2, int(min(math.ceil(60 * depth / zone.true_rate_mm_h), longest)))
    return minutes
