"""Controllers to be programmed, and the days and bounds that many of them share."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from sites.calc.program.patterns import DayChoice, Segments
from weather.calc.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class ControllerTable:
    """Controllers to be programmed, arrays (controllers,).

    Parameters
    ----------
    controller_id
        Ids.
    is_governed
        Whether a sensor in a known zone can block its starts.
    stops_midway
        Whether the sensor can stop a run midway.
    has_free_order
        Whether stations may run in any order.
    program_count, starts_per_program
        Program letters, and start times of each [1].
    max_run_min, minute_step
        Longest run, and the step in which minutes are keyed [min].
    threshold_mm
        Depletion of the governing zone at the threshold, as estimated [mm]; NaN where no sensor governs.
    case
        Position of its day choices in the list of cases.
    stations_at_once
        Stations that the timer can run at the same time [1].
    flow_limit_l_min
        Flow that its supply gives, as somebody told [L/min]; NaN: nobody did, so one station runs at a time.
    """

    controller_id: IntArray
    is_governed: BoolArray
    stops_midway: BoolArray
    has_free_order: BoolArray
    program_count: IntArray
    starts_per_program: IntArray
    max_run_min: FloatArray
    minute_step: FloatArray
    threshold_mm: FloatArray
    case: IntArray
    stations_at_once: IntArray
    flow_limit_l_min: FloatArray

    def __post_init__(self) -> None:
        """Refuse unequal lengths and sensors without a threshold."""
        if len({getattr(self, field.name).shape for field in fields(self)}) > 1:
            raise ValueError("controllers need columns of one length")
        if np.any(np.isnan(self.threshold_mm[self.is_governed])):
            raise ValueError("a sensor that governs needs a threshold")

    def __len__(self) -> int:
        return int(self.controller_id.size)

    def take(self, positions: IntArray) -> ControllerTable:
        """The table of some controllers, in the order given.

        Parameters
        ----------
        positions
            Positions of the controllers, (n,).
        """
        return ControllerTable(*(getattr(self, field.name)[positions] for field in fields(self)))


@dataclass(frozen=True, slots=True)
class RuleCase:
    """Days and bounds that many controllers share.

    Parameters
    ----------
    choices
        Day patterns that are open, most worth trying first; none: watering is not allowed.
    max_station_min
        Most minutes of a station in a day [min]; infinite where no rule bounds it.
    segments
        Hours that the rules leave open on each day [min after its midnight]; none: all.
    max_days_per_week
        Most watering days in any seven [d]; None: no bound.
    """

    choices: tuple[DayChoice, ...]
    max_station_min: float = float("inf")
    segments: tuple[Segments, ...] = ()
    max_days_per_week: int | None = None
