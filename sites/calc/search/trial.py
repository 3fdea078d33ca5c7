"""Any program of any letters run through the weather of the horizon: the yardstick for now and new.

Starts are taken one by one in the order of the clock, with the sensor asked before each. A run that outlasts
its run-off limit loses what is beyond; behind the governing station, a sensor that can stop a run midway lets
nothing through once it sees water.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sites.calc.search.gating import Single
from sites.calc.search.problem import Problem
from weather.calc.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Slots:
    """Starts of a day in the order of the clock, and what each letter runs.

    Parameters
    ----------
    runs
        Whether the start happens on each day, (days, controllers, slots).
    letter
        Position of its letter, (controllers, slots).
    minutes
        Minutes of one start [min], (zones, letters).
    is_behind
        Whether the zone runs behind the governing station in its letter, (zones, letters).
    is_known
        Whether anything is set, (controllers,).
    start_min
        Clock time of the start [min after midnight]; -1: not told, (controllers, slots).
    """

    runs: BoolArray
    letter: IntArray
    minutes: FloatArray
    is_behind: BoolArray
    is_known: BoolArray
    start_min: IntArray

    def __post_init__(self) -> None:
        """Refuse shapes that do not fit each other."""
        if self.runs.shape[1:] != self.letter.shape or self.minutes.shape != self.is_behind.shape:
            raise ValueError("slots need a letter each, and letters a row of minutes a zone")
        if np.any(self.minutes < 0):
            raise ValueError("minutes are never negative")


@dataclass(frozen=True, slots=True)
class Trial:
    """Outcome of a program over the horizon, mean of the seasons.

    Parameters
    ----------
    is_known
        Whether anything is set, (controllers,).
    minutes
        Longest run of one start [min], (zones,).
    adequacy, dry_share
        Share of ET without stress, share of days beyond allowed depletion [1], (zones,).
    lost_mm, gross_mm
        Losses, run-off included, and gross depth [mm], (zones,).
    passes
        Runs [1], (zones,).
    offered, allowed
        Starts offered, and starts that the sensor let through [1], (controllers,).
    minutes_a_week
        Minutes offered a week, all zones together [min], (controllers,).
    """

    is_known: BoolArray
    minutes: FloatArray
    adequacy: FloatArray
    dry_share: FloatArray
    lost_mm: FloatArray
    gross_mm: FloatArray
    passes: FloatArray
    offered: FloatArray
    allowed: FloatArray
    minutes_a_week: FloatArray


def trial(given: Problem, slots: Slots) -> Trial:
    """What a program does in all seasons, without margins.

    Parameters
    ----------
    given
        The controllers with their zones.
    slots
        The program.
    """
    life = _Life(given, slots)
    for day in range(slots.runs.shape[0]):
        life.rain(day)
        for slot in range(slots.letter.shape[1]):
            if slots.runs[day, :, slot].any():
                life.start(day, slot)
        life.use(day)
    return life.trial()


class _Life:
    """Depletion of all zones in all seasons, and the sums of a trial."""

    def __init__(self, given: Problem, slots: Slots) -> None:
        self.given, self.slots, self.state = given, slots, given.truth
        seasons = self.state.demand_mm.shape[2]
        self.depletion: Single = np.repeat(self.state.depletion_mm[:, None], seasons, axis=1)
        self.available = self.state.available_mm[:, None]
        self.allowed = self.state.allowed_mm[:, None]
        rate = given.zones.precipitation_rate_mm_h[:, None] / 60.0
        gross = rate * slots.minutes
        run_off = rate * np.maximum(slots.minutes - given.zones.runoff_limit_min[:, None], 0.0)
        cost = np.minimum(given.settings.run_loss_mm, gross)
        efficiency = given.zones.application_efficiency[:, None]
        self.net = (np.maximum(gross - run_off - cost, 0.0) * efficiency).astype(np.float32)
        self.gross, self.wasted = gross, run_off + cost
        shape = (len(given.owner), slots.minutes.shape[1])
        self.runs = np.zeros(shape)
        self.met, self.drained, self.dry = (np.zeros(shape[0]) for _ in range(3))
        self.offered, self.let = (np.zeros(len(given.controllers)) for _ in range(2))
        self.governing = np.maximum(given.governing, 0)
        self.is_governed = given.governing >= 0
        self.threshold = np.nan_to_num(given.threshold_mm(), nan=0.0)[:, None]
        self.stops = (given.controllers.stops_midway & self.is_governed)[given.owner]

    def rain(self, day: int) -> None:
        """A day's rain."""
        self.depletion = np.maximum(self.depletion - self.state.rain_mm[day], 0.0).astype(np.float32)

    def is_dry(self) -> BoolArray:
        """Whether each sensor lets a start through, (controllers, seasons)."""
        dry = self.depletion[self.governing] >= self.threshold
        return np.asarray(dry | ~self.is_governed[:, None])

    def start(self, day: int, slot: int) -> None:
        """One start of the controllers that have it."""
        owner, zone = self.given.owner, np.arange(len(self.given.owner))
        due = self.slots.runs[day, :, slot]
        is_open = self.is_dry() & due[:, None]
        self.offered += due
        self.let += is_open.mean(axis=1)
        letter = self.slots.letter[owner, slot]
        behind = self.slots.is_behind[zone, letter] & self.stops
        net = self.net[zone, letter][:, None]
        self._water(np.where(behind[:, None], False, is_open[owner]), net, letter)
        if behind.any():
            self._water(np.where(behind[:, None], (is_open & self.is_dry())[owner], False), net, letter)

    def _water(self, ran: BoolArray, net: FloatArray, letter: IntArray) -> None:
        """Runs of the zones that ran."""
        after = self.depletion - ran * net
        beyond = np.minimum(after, 0.0)
        self.drained -= beyond.mean(axis=1)
        self.depletion = (after - beyond).astype(np.float32)
        self.runs[np.arange(len(letter)), letter] += ran.mean(axis=1)

    def use(self, day: int) -> None:
        """A day's ET (stress: FAO-56 Eq. 84)."""
        room = np.maximum(self.available - self.allowed, 1e-3)
        stress = np.clip((self.available - self.depletion) / room, 0.0, 1.0)
        met = np.minimum(stress * self.state.demand_mm[day], self.available - self.depletion)
        self.met += met.sum(axis=1)
        self.depletion = (self.depletion + met).astype(np.float32)
        self.dry += (self.depletion > self.allowed).mean(axis=1)

    def trial(self) -> Trial:
        """The sums."""
        given, days = self.given, self.slots.runs.shape[0]
        wanted = self.state.demand_mm.sum(axis=(0, 2), dtype=np.float64)
        has_runs = self.runs * (self.slots.minutes > 0)
        starts_of = np.zeros(self.slots.minutes.shape)
        for slot in range(self.slots.letter.shape[1]):
            zone = np.arange(len(given.owner))
            starts_of[zone, self.slots.letter[given.owner, slot]] += self.slots.runs[:, :, slot].sum(axis=0)[
                given.owner
            ]
        offered_min = (starts_of * self.slots.minutes).sum(axis=1)
        return Trial(
            is_known=self.slots.is_known,
            minutes=self.slots.minutes.max(axis=1),
            adequacy=np.divide(self.met, wanted, out=np.ones_like(self.met), where=wanted > 0),
            dry_share=self.dry / days,
            lost_mm=self.drained + (has_runs * self.wasted).sum(axis=1),
            gross_mm=(has_runs * self.gross).sum(axis=1),
            passes=has_runs.sum(axis=1),
            offered=self.offered,
            allowed=self.let,
            minutes_a_week=np.add.reduceat(offered_min, given.first) * 7.0 / days,
        )
