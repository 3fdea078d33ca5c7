"""Programs, logs and meter reads of the invented gardens, as rows of the contract's files."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fleet.demo.book import DemoSite
from fleet.demo.crew import KL
from fleet.demo.programs import Setting, settings_of
from fleet.demo.rows import LOG_METHODS, Rows, Unit, bypass_rows, meter_rows, program_rows
from fleet.demo.sky import Sky, true_reference_et
from fleet.demo.truth import FAULTS, TrueGardens, simulate
from sites.calc.program.days import parse_days, runs_on

METER_YEARS: Final = 3
FAULT_SHARE: Final = 0.14


@dataclass(frozen=True, slots=True)
class DemoRecords:
    """All that is written to files."""

    programs: Rows
    bypass: Rows
    meter: Rows
    readings: Rows
    truth: Rows


@dataclass(frozen=True, slots=True)
class Clock:
    """What timers do, as keyed in: starts (D, C), minutes of a run (D, Z), and who runs at each (D, S, Z)."""

    starts: NDArray[np.int64]
    minutes: NDArray[np.float64]
    runs_at: NDArray[np.bool_]


def lay_out(rng: np.random.Generator, sites: list[DemoSite], *, first: date, today: date) -> list[Unit]:
    """The controllers in order, each with its slice of the zones."""
    units, at = [], 0
    for site in sites:
        for controller in site.garden.controllers:
            count = len(controller.zones)
            settings = settings_of(rng, site, controller, first=first, today=today)
            method = str(rng.choice(LOG_METHODS, p=[0.76, 0.1, 0.08, 0.06]))
            units.append(Unit(site, controller, settings, slice(at, at + count), method))
            at += count
    return units


def invent_records(rng: np.random.Generator, sites: list[DemoSite], sky: Sky, *, today: date) -> DemoRecords:
    """Three years of the invented gardens, up to `today` (exclusive)."""
    first = today - timedelta(days=METER_YEARS * 365)
    inside = (sky.days >= np.datetime64(first)) & (sky.days < np.datetime64(today))
    days = sky.days[inside]
    units = lay_out(rng, sites, first=first, today=today)
    gardens = _true_gardens(rng, units, first=first, count=days.size)
    clock = _clock(units, days)
    starts = _wrong_programs(gardens, clock.starts)
    truth = simulate(
        rng,
        gardens,
        eto_mm=true_reference_et(sky)[inside],
        rain_mm=sky.rain_mm[inside],
        starts=starts,
        minutes=clock.minutes,
        runs_at=clock.runs_at,
    )
    meter, readings = meter_rows(rng, units, gardens, truth, days)
    return DemoRecords(
        programs=[row for unit in units for row in program_rows(unit)],
        bypass=bypass_rows(rng, units, truth, days, today=today),
        meter=meter,
        readings=readings,
        truth=[
            {
                "site": unit.site.code,
                "controller": unit.controller.code,
                "fault": gardens.fault[number],
                "since": str(days[gardens.fault_from[number]]) if gardens.fault[number] else "",
            }
            for number, unit in enumerate(units)
            if unit.controller.sensor_spot is not None
        ],
    )


def _true_gardens(rng: np.random.Generator, units: list[Unit], *, first: date, count: int) -> TrueGardens:
    """The arrays of what is true, with the planted faults."""
    zones = [(number, unit, zone) for number, unit in enumerate(units) for zone in unit.controller.zones]
    turf = [zone.plant.endswith("turf") for _, _, zone in zones]
    fault, fault_from, since = [], [], []
    for unit in units:
        has_sensor = unit.controller.sensor_spot is not None
        drawn = has_sensor and rng.random() < FAULT_SHARE
        name = str(rng.choice([*FAULTS, "program_differs"])) if drawn else ""
        recent = rng.random() < 0.6
        fault.append(name)
        fault_from.append(count - int(rng.integers(18, 60) if recent else rng.integers(60, 400)))
        installed = unit.site.sensor_since
        since.append((installed - first).days if has_sensor and installed else count + 1)
    places = {"Wend Valley Water": 0, "Hillside Mutual": 1}
    return TrueGardens(
        controller_of=np.array([number for number, _, _ in zones]),
        governing=np.array(
            [
                unit.zones.start + unit.controller.sensor_station - 1 if unit.controller.sensor_spot else -1
                for unit in units
            ]
        ),
        soil=[unit.site.part.soil for _, unit, _ in zones],
        root_mm=np.where(turf, 150.0, 300.0) * rng.lognormal(0, 0.15, len(zones)),
        landscape_coefficient=np.array([KL[zone.plant] for _, _, zone in zones])
        * np.array([0.8 if zone.sun == "part" else 1.0 for _, _, zone in zones])
        * rng.lognormal(0, 0.1, len(zones)),
        rate_mm_h=np.array([zone.true_rate_mm_h for _, _, zone in zones]),
        efficiency=np.array([0.4 + 0.6 * zone.true_uniformity for _, _, zone in zones]),
        area_m2=np.array([zone.shape.area for _, _, zone in zones]),
        threshold_kpa=np.full(len(units), 35.0),
        sensor_from=np.array(since),
        fault=fault,
        fault_from=np.maximum(np.array(fault_from), np.array(since) + 30),
        location=np.array(
            [2 if unit.site.part.code == "SH" else places[unit.site.part.supplier] for unit in units]
        ),
    )


def _clock(units: list[Unit], days: NDArray[np.datetime64]) -> Clock:
    """Starts of each day and controller, which zones each runs, and their minutes, as keyed in."""
    most = max(_slot_count(setting) for unit in units for setting in unit.settings) + 1
    zones = units[-1].zones.stop
    starts = np.zeros((days.size, len(units)), dtype=np.int64)
    minutes = np.zeros((days.size, zones))
    runs_at = np.ones((days.size, most, zones), dtype=np.bool_)
    for number, unit in enumerate(units):
        ends = [*(setting.as_of for setting in unit.settings[1:]), None]
        for setting, end in zip(unit.settings, ends, strict=True):
            valid = days >= np.datetime64(setting.as_of)
            if end is not None:
                valid &= days < np.datetime64(end)
            if setting.adjust_pct == 0:
                continue
            runs = valid & runs_on(parse_days(setting.letters[0].days, setting.as_of), days)
            slots = sorted((start, keyed) for keyed in setting.letters for start in keyed.starts)
            starts[runs, number] = len(slots)
            for keyed in setting.letters:
                for station, run_min in keyed.runs:
                    minutes[valid, unit.zones.start + station - 1] = run_min * setting.adjust_pct / 100
            for slot, (_, keyed) in enumerate(slots):
                mine = np.zeros(unit.zones.stop - unit.zones.start, dtype=np.bool_)
                mine[[station - 1 for station, _ in keyed.runs]] = True
                runs_at[valid, slot, unit.zones] = mine
    return Clock(starts, minutes, runs_at)


def _slot_count(setting: Setting) -> int:
    """Starts of a watering day, of all letters."""
    return sum(len(keyed.starts) for keyed in setting.letters)


def _wrong_programs(gardens: TrueGardens, starts: NDArray[np.int64]) -> NDArray[np.int64]:
    """The starts that really are offered: where somebody keyed in another program, one more each day."""
    really = starts.copy()
    for number, fault in enumerate(gardens.fault):
        if fault == "program_differs":
            since = int(gardens.fault_from[number])
            really[since:, number] = np.where(starts[since:, number] > 0, starts[since:, number] + 1, 0)
    return really
