"""Sums over the scored weeks: what the gardens got, what it cost, and what the sensors' logs say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.scoring.program_gardens import Gardens
from fleet.scoring.program_methods import is_past_limit
from fleet.scoring.program_physics import Day
from fleet.scoring.program_setting import Setting
from fleet.scoring.program_worlds import World
from sites.calc.search.learned import SensorLog
from weather.calc.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class ProgramScore:
    """What a method reached over the scored weeks.

    Parameters
    ----------
    adequacy
        ET over ET without stress of each zone [1], (zones,).
    wanted_mm
        ET without stress of each zone [mm], (zones,).
    need_mm, gross_mm, lost_mm
        Gross need (ET without stress less rain kept, over the true efficiency), water applied, and lost [mm],
        (zones,).
    run_cost_mm, run_off_mm
        Of what was lost, what runs cost and what ran off [mm], (zones,); the rest drained.
    starts_a_week
        Starts that ran, of each controller [1], (controllers,).
    changes, adjusts
        Programs keyed in after the first, and seasonal adjusts alone, of each controller [1], (controllers,).
    past_limit
        Runs set longer than the run-off limit [1].
    """

    adequacy: FloatArray
    wanted_mm: FloatArray
    need_mm: FloatArray
    gross_mm: FloatArray
    lost_mm: FloatArray
    run_cost_mm: FloatArray
    run_off_mm: FloatArray
    starts_a_week: FloatArray
    changes: FloatArray
    adjusts: FloatArray
    past_limit: int

    def figures(self) -> dict[str, float]:
        """The figures of the table: shares in per cent, gross and changes per need and season."""
        gross = float(self.gross_mm.sum())
        return {
            "adequacy_pct": 100 * float((self.adequacy * self.wanted_mm).sum() / self.wanted_mm.sum()),
            "zones_95_pct": 100 * float((self.adequacy >= 0.95).mean()),
            "zone_p5_pct": 100 * float(np.percentile(self.adequacy, 5)),
            "gross_per_need": gross / max(float(self.need_mm.sum()), 1e-9),
            "lost_pct": 100 * float(self.lost_mm.sum()) / max(gross, 1e-9),
            "run_cost_pct": 100 * float(self.run_cost_mm.sum()) / max(gross, 1e-9),
            "run_off_pct": 100 * float(self.run_off_mm.sum()) / max(gross, 1e-9),
            "gross_mm": gross / len(self.gross_mm),
            "starts_a_week": float(np.median(self.starts_a_week)),
            "changes": float(self.changes.mean()),
            "adjusts": float(self.adjusts.mean()),
            "past_limit": float(self.past_limit),
        }


class Logged:
    """The sensors' logs since the first day, beside what the book says of their zones."""

    def __init__(self, world: World) -> None:
        nothing = np.zeros(len(world.gardens.controllers))
        self.log = SensorLog(nothing, nothing, nothing, nothing, nothing)

    def add(self, world: World, day: int, setting: Setting, done: Day) -> None:
        """Add a day."""
        zones, first = (
            world.gardens.zones,
            np.flatnonzero(np.diff(world.gardens.zones.controller_id, prepend=-1)),
        )
        gross = zones.precipitation_rate_mm_h[first] / 60 * setting.minutes[first]
        use = zones.landscape_coefficient[first] * world.et_mm[day]
        room = np.nan_to_num(world.gardens.controllers.threshold_mm) + use / 2
        before = self.log
        self.log = SensorLog(
            before.net_mm + gross * zones.application_efficiency[first] * done.allowed,
            before.use_mm + use,
            before.rain_mm + np.minimum(world.rain_mm[day], room),
            before.ran + done.allowed,
            before.offered + done.offered,
        )


class Ledger:
    """Sums of the scored weeks."""

    def __init__(self, gardens: Gardens) -> None:
        self.gardens = gardens
        zones, controllers = len(gardens.zones), len(gardens.controllers)
        self.met, self.wanted = np.zeros(zones), np.zeros(zones)
        self.gross, self.lost, self.rain = np.zeros(zones), np.zeros(zones), np.zeros(zones)
        self.run_cost, self.run_off = np.zeros(zones), np.zeros(zones)
        self.starts, self.changes, self.adjusts = np.zeros((3, controllers))
        self.past_limit = 0

    def note(self, new: Setting, before: Setting | None, *, is_counted: bool) -> None:
        """Count what was changed, and runs beyond their limit."""
        self.past_limit += int(is_past_limit(self.gardens.zones, new.minutes).sum())
        if before is not None and is_counted:
            differs = _differs(new, before, self.gardens)
            self.changes += differs
            self.adjusts += ~differs & (new.adjust_pct != before.adjust_pct)

    def add(self, done: Day) -> None:
        """Add a day."""
        for name in ("met", "wanted", "gross", "lost", "run_cost", "run_off"):
            setattr(self, name, getattr(self, name) + getattr(done, f"{name}_mm"))
        self.rain += done.rain_used_mm

    def score(self, weeks: int) -> ProgramScore:
        """The sums as a score."""
        return ProgramScore(
            adequacy=self.met / np.maximum(self.wanted, 1e-9),
            wanted_mm=self.wanted,
            need_mm=np.maximum(self.wanted - self.rain, 0.0) / self.gardens.efficiency,
            gross_mm=self.gross,
            lost_mm=self.lost,
            run_cost_mm=self.run_cost,
            run_off_mm=self.run_off,
            starts_a_week=self.starts / weeks,
            changes=self.changes,
            adjusts=self.adjusts,
            past_limit=self.past_limit,
        )


def _differs(new: Setting, before: Setting, gardens: Gardens) -> BoolArray:
    """Which controllers' settings differ, seasonal adjust aside."""
    owner = gardens.zones.controller_id - 1
    other = np.array([one != two for one, two in zip(new.patterns, before.patterns, strict=True)])
    other |= new.starts != before.starts
    other |= np.array([one != two for one, two in zip(new.low_patterns, before.low_patterns, strict=True)])
    keyed, was = (100.0 * one.minutes / one.adjust_pct[owner] for one in (new, before))
    other[owner[~np.isclose(keyed, was) | (new.in_low != before.in_low)]] = True
    return other
