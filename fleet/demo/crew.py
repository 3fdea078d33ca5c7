"""How the invented company's crew reckons a program by hand: rules of thumb, on the book's values."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.demo.book import DemoSite
from fleet.demo.gardens import DemoController, DemoZone
from sites.calc.balance.run_off import runoff_limit_min
from sites.calc.landscape import HEADS, distribution_uniformity, precipitation_rate_mm_h
from sites.calc.program.days import DayPattern
from sites.calc.program.patterns import Block, DayChoice
from sites.calc.program.times import StationRun, TimerLimits, Timetable, timetable
from sites.calc.soil import intake_rate_mm_h, surface_accumulation_mm, texture_index

# Reference ET of a hot week [mm]; a sensor blocks what is too much, so its timer is offered more.
PEAK_WEEK_MM: Final = 46.0
OFFERED_WEEK_MM: Final = 52.0
KL: Final = {
    "cool_turf": 0.8,
    "warm_turf": 0.6,
    "annuals": 0.8,
    "shrubs": 0.5,
    "groundcover": 0.5,
    "desert": 0.3,
}
# Net depth of a pass that a lawn's root zone has room for when the sensor lets go [mm], by soil.
PASS_MM: Final = {
    "sand": 3.0, "loamy_sand": 4.0, "sandy_loam": 5.5, "loam": 7.0, "silt_loam": 6.5, "clay_loam": 6.0,
    "clay": 4.5,
}  # fmt: skip
# Passes of a watering day that are worth keying in; more than four take a second letter.
STARTS: Final = (1, 2, 3, 4, 6, 8)
LETTERS: Final = 3
STARTS_OF_A_LETTER: Final = 4
LONGEST_RUN_MIN: Final = 90.0
RUN_LOSS_MM: Final = 0.4
CAREFUL_MARGIN: Final = 1.04
SETTLE_MIN: Final = 30.0


@dataclass(frozen=True, slots=True)
class Keyed:
    """One program letter as keyed in: runs are (station, minutes), in run order."""

    letter: str
    days: str
    starts: tuple[str, ...]
    runs: tuple[tuple[int, int], ...]


def by_the_book(site: DemoSite, controller: DemoController, *, has_sensor: bool) -> tuple[Keyed, ...]:
    """The letters as a good crew leaves them: cycles below the run-off limit, the sensor's station last."""
    choice = _days(site)
    week_mm = OFFERED_WEEK_MM if has_sensor else PEAK_WEEK_MM
    event_mm = week_mm * CAREFUL_MARGIN / (7.0 * float(choice.runs.mean()))
    tables = [
        _on_the_clock(site, controller, choice, starts, event_mm, has_sensor=has_sensor)
        for starts in STARTS
        if starts <= _most_starts(site, controller, event_mm, has_sensor=has_sensor)
    ]
    table = next(one for one in reversed(tables) if one.overrun_min <= 0 and len(one.letters) <= LETTERS)
    return tuple(
        Keyed(
            letter.letter,
            choice.pattern.text,
            tuple(clock_text(start) for start in letter.starts_min),
            tuple((run.station, int(run.minutes)) for run in letter.runs),
        )
        for letter in table.letters
    )


def clock_text(minute: int) -> str:
    """A time of day in the words of the programs file."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def _on_the_clock(
    site: DemoSite,
    controller: DemoController,
    choice: DayChoice,
    starts: int,
    event_mm: float,
    *,
    has_sensor: bool,
) -> Timetable:
    """The runs set into the open hours."""
    runs = []
    intake = float(intake_rate_mm_h(texture_index(site.part.soil)))
    for zone in controller.zones:
        minutes = _minutes(site, zone, starts, event_mm)
        runs.append(StationRun(zone.station, minutes, minutes * max(_rate(zone) / intake, 1.0)))
    return timetable(
        runs,
        starts,
        choice,
        TimerLimits(
            governing_station=controller.sensor_station if has_sensor else 0,
            has_free_order=controller.station_order == "free",
            program_count=LETTERS,
            settle_min=SETTLE_MIN,
            start_step_min=5,
            done_by_min=6 * 60,
            stops_midway=controller.gating == "any_time",
            starts_per_program=STARTS_OF_A_LETTER,
        ),
    )


def _most_starts(site: DemoSite, controller: DemoController, event_mm: float, *, has_sensor: bool) -> int:
    """Passes of a watering day: as few as the run-off limits take, and a governed root zone has room for."""
    for starts in STARTS[:-1]:
        depths = [(zone, event_mm * _share(zone) / starts) for zone in controller.zones]
        fits = all(_wanted_min(zone, depth) <= _limit_min(site, zone) for zone, depth in depths)
        lead = max(depth for zone, depth in depths if zone.station == controller.sensor_station)
        if fits and (not has_sensor or lead <= PASS_MM[site.part.soil]):
            return starts
    return STARTS[-1]


def _minutes(site: DemoSite, zone: DemoZone, starts: int, event_mm: float) -> float:
    """Whole minutes of a pass."""
    wanted = _wanted_min(zone, event_mm * _share(zone) / starts)
    return max(2.0, math.floor(min(math.ceil(wanted), _limit_min(site, zone))))


def _share(zone: DemoZone) -> float:
    """Share of reference ET that the planting uses [1]."""
    return KL[zone.plant] * (0.84 if zone.sun == "part" else 1.0)


def _wanted_min(zone: DemoZone, net_mm: float) -> float:
    """Minutes that bring a net depth [min]."""
    uniformity = (
        zone.true_uniformity if zone.rate_known else float(distribution_uniformity(HEADS.index(zone.head)))
    )
    return 60.0 * (net_mm / (0.4 + 0.6 * uniformity) + RUN_LOSS_MM) / _rate(zone)


def _rate(zone: DemoZone) -> float:
    """Precipitation rate as the book has it [mm/h]: measured, else that of the kind of head."""
    return zone.true_rate_mm_h if zone.rate_known else float(precipitation_rate_mm_h(HEADS.index(zone.head)))


def _limit_min(site: DemoSite, zone: DemoZone) -> float:
    """Longest run before water runs off [min]."""
    texture = texture_index(site.part.soil)
    limit = runoff_limit_min(
        _rate(zone), intake_rate_mm_h(texture), surface_accumulation_mm(texture, site.part.slope_pct)
    )
    return min(float(limit), LONGEST_RUN_MIN)


def _days(site: DemoSite) -> DayChoice:
    """The days that the supplier's rule leaves open, with the hours before dawn."""
    is_odd = site.number % 2 == 1
    if site.part.supplier == "Wend Valley Water":
        runs = np.tile([True, False], 14)
        return DayChoice(DayPattern("odd" if is_odd else "even"), runs, (Block(0, 600),))
    # The window opens on the evening before: the hours after midnight are keyed in on the next day.
    weekdays = (3, 6) if is_odd else (0, 4)
    runs = np.isin(np.arange(28) % 7, weekdays)
    return DayChoice(DayPattern("weekdays", weekdays=weekdays), runs, (Block(0, 480),))
