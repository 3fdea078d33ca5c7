"""How a sensor lets starts through, and what the passes do to each zone, day by day and season by season.

A day goes: rain, then the starts in their order, then ET. The governing zone closes its pass, so each allowed
start lowers its depletion by one pass; starts are allowed as long as its depletion is at the threshold or
drier. Between the starts of a day nothing else happens, so their number has a closed form and no loop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from weather.calc.arrays import FloatArray

Single = npt.NDArray[np.float32]
Counts = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class ZoneState:
    """What the simulation knows of zones, float32 arrays (zones,) and (days, zones, seasons).

    Parameters
    ----------
    depletion_mm
        Depletion at the start [mm], (zones,).
    available_mm, allowed_mm
        Total available water and the part that may be used [mm], (zones,).
    demand_mm
        Landscape ET without stress [mm/d], (days, zones, seasons).
    rain_mm
        Rain that enters the soil [mm/d], (days, zones, seasons).
    """

    depletion_mm: Single
    available_mm: Single
    allowed_mm: Single
    demand_mm: Single
    rain_mm: Single

    def __post_init__(self) -> None:
        """Refuse shapes that do not fit each other."""
        zones = self.depletion_mm.shape
        if self.available_mm.shape != zones or self.allowed_mm.shape != zones:
            raise ValueError("one value a zone is needed")
        if self.demand_mm.shape != self.rain_mm.shape or self.demand_mm.shape[1:2] != zones:
            raise ValueError("demand and rain are needed for each day, zone and season")

    def take(self, zones: npt.NDArray[np.int64]) -> ZoneState:
        """The state of some zones, in the order given.

        Parameters
        ----------
        zones
            Positions of the zones, (n,).
        """
        return ZoneState(
            self.depletion_mm[zones],
            self.available_mm[zones],
            self.allowed_mm[zones],
            np.ascontiguousarray(self.demand_mm[:, zones]),
            np.ascontiguousarray(self.rain_mm[:, zones]),
        )


@dataclass(frozen=True, slots=True)
class Outcome:
    """What programs did to zones over all days and seasons, float32 arrays (zones, candidates).

    Parameters
    ----------
    adequacy
        Sum of ET over sum of ET without stress [1].
    percolated_mm
        Irrigation beyond the root zone, mean of the seasons [mm].
    dry_share
        Share of days beyond the allowed depletion [1].
    end_depletion_mm
        Depletion at the end, mean of the seasons [mm].
    passes
        Runs, mean of the seasons [1].
    """

    adequacy: Single
    percolated_mm: Single
    dry_share: Single
    end_depletion_mm: Single
    passes: Single


def allowed_starts(
    depletion_mm: Single | FloatArray,
    threshold_mm: Single | FloatArray,
    pass_mm: Single | FloatArray,
    offered: Single | FloatArray | Counts,
) -> Single:
    """Number of a day's starts that the sensor lets through [1].

    Start i of the day (from 0) finds the depletion D - i x pass, so floor((D - threshold) / pass) + 1 of them
    are allowed, at most as many as are offered, none where the root zone is wetter than the threshold (own
    derivation).

    Parameters
    ----------
    depletion_mm
        Depletion of the governing zone before the first start [mm].
    threshold_mm
        Depletion at the threshold [mm], above 0.
    pass_mm
        Net depth of a pass on the governing zone [mm], above 0.
    offered
        Starts that the program offers that day [1].
    """
    room = np.floor((depletion_mm - threshold_mm) / pass_mm)
    room += 1.0
    np.clip(room, 0.0, offered, out=room)
    return np.asarray(room, dtype=np.float32)


def run_governing(
    state: ZoneState, threshold_mm: Single, pass_mm: Single, offered: Counts, *, keep_starts: bool
) -> tuple[Outcome, Counts | None]:
    """Outcome of governing zones, and the starts let through, (days, zones, candidates, seasons) [1/d].

    Parameters
    ----------
    state
        The governing zones, one a controller.
    threshold_mm
        Depletion at the threshold [mm], (zones,).
    pass_mm
        Net depth of a pass [mm], above 0, (zones, candidates).
    offered
        Starts offered [1/d], (days, zones, candidates).
    keep_starts
        Whether the starts are wanted; they take memory.
    """
    days = state.demand_mm.shape[0]
    tally = _Tally(state, pass_mm.shape[1])
    starts = np.zeros((days, *tally.depletion.shape), dtype=np.uint8) if keep_starts else None
    threshold, depth = threshold_mm[:, None, None], pass_mm[:, :, None]
    for day in range(days):
        tally.rain(day)
        allowed = allowed_starts(tally.depletion, threshold, depth, offered[day][:, :, None])
        if starts is not None:
            starts[day] = allowed
        tally.water(allowed, depth)
        tally.dry(day)
    return tally.outcome(), starts


def run_zones(state: ZoneState, pass_mm: Single, starts: Counts, owner: npt.NDArray[np.int64]) -> Outcome:
    """Outcome of zones under given starts.

    Parameters
    ----------
    state
        The zones.
    pass_mm
        Net depth of a pass [mm], (zones, candidates).
    starts
        Starts that run [1/d], (days, controllers, candidates, seasons); the last axis may have length 1.
    owner
        Position of each zone's controller in `starts`, (zones,).
    """
    tally = _Tally(state, pass_mm.shape[1])
    depth = pass_mm[:, :, None]
    for day in range(state.demand_mm.shape[0]):
        tally.rain(day)
        tally.water(starts[day][owner], depth)
        tally.dry(day)
    return tally.outcome()


class _Tally:
    """Depletion of zones under candidates and seasons, and the sums that an outcome needs."""

    def __init__(self, state: ZoneState, candidates: int) -> None:
        self.state = state
        shape = (len(state.depletion_mm), candidates, state.demand_mm.shape[2])
        self.depletion = np.empty(shape, dtype=np.float32)
        self.depletion[:] = state.depletion_mm[:, None, None]
        self.available = state.available_mm[:, None, None]
        self.allowed = state.allowed_mm[:, None, None]
        self.per_mm = 1.0 / np.maximum(self.available - self.allowed, np.float32(1e-3))
        self.met = np.zeros(shape, dtype=np.float32)
        self.lost = np.zeros(shape, dtype=np.float32)
        self.dry_days = np.zeros(shape, dtype=np.float32)
        self.runs = np.zeros(shape, dtype=np.float32)
        self.work = np.empty(shape, dtype=np.float32)

    def rain(self, day: int) -> None:
        """A day's rain fills the root zone; what it has no room for is nobody's loss."""
        self.depletion -= self.state.rain_mm[day][:, None, :]
        np.maximum(self.depletion, 0.0, out=self.depletion)

    def water(self, starts: Single | Counts, depth: Single) -> None:
        """A day's passes fill the root zone; what it has no room for is lost."""
        np.multiply(starts, depth, out=self.work)
        self.runs += starts
        self.depletion -= self.work
        np.minimum(self.depletion, 0.0, out=self.work)
        self.lost -= self.work
        self.depletion -= self.work

    def dry(self, day: int) -> None:
        """A day's ET empties it, under stress beyond the allowed depletion (FAO-56 Eq. 84)."""
        np.subtract(self.available, self.depletion, out=self.work)
        self.work *= self.per_mm
        np.minimum(self.work, 1.0, out=self.work)
        self.work *= self.state.demand_mm[day][:, None, :]
        # What is not there cannot be used: the rest of the day goes without.
        np.minimum(self.work, self.available - self.depletion, out=self.work)
        self.met += self.work
        self.depletion += self.work
        self.dry_days += self.depletion > self.allowed

    def outcome(self) -> Outcome:
        """The sums as an outcome."""
        days, _, seasons = self.state.demand_mm.shape
        wanted = self.state.demand_mm.sum(axis=(0, 2))[:, None]
        met = self.met.sum(axis=2)
        return Outcome(
            # Without demand nothing is missing.
            adequacy=np.divide(met, wanted, out=np.ones_like(met), where=wanted > 0),
            percolated_mm=self.lost.mean(axis=2),
            dry_share=self.dry_days.sum(axis=2) / np.float32(days * seasons),
            end_depletion_mm=self.depletion.mean(axis=2),
            passes=self.runs.mean(axis=2),
        )
