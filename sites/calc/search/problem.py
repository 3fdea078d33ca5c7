"""What the search for programs is given: zones, controllers, open days, weather of several seasons."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sites.calc.balance.run_off import lawn_curve_number, rain_runoff_mm
from sites.calc.landscape import HEADS
from sites.calc.program.patterns import Block
from sites.calc.rules.stages import MINUTES_A_DAY
from sites.calc.search.controllers import ControllerTable, RuleCase
from sites.calc.search.gating import ZoneState
from sites.calc.search.settings import LEAST_RUN_MIN, ProgramSettings
from sites.calc.search.weather import Seasons, driest_count
from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import BoolArray, FloatArray, IntArray

MOST_PATTERNS = 6
MOST_STARTS = 4
# Rain below this share of the day's reference ET wets leaves only (FAO-56 chapter 8, from memory).
_LEAST_RAIN_SHARE = 0.2
_LEAST_RUNS = np.array([LEAST_RUN_MIN[head] for head in HEADS])


@dataclass(frozen=True, slots=True)
class Problem:
    """Some controllers with all their zones, ready for the search.

    Parameters
    ----------
    settings
        Settings of the round.
    zones
        Zones, sorted by controller.
    controllers
        Controllers, each with at least one zone.
    owner
        Position of each zone's controller, rising, (zones,).
    first
        Position of each controller's first zone, (controllers,).
    governing
        Position of each controller's governing zone, -1 where none governs, (controllers,).
    weight
        Weight of the zone in its controller [1], (zones,): half by area, half alike for all, so that a small
        bed is not let go dry for the sake of a large lawn.
    margin
        Factor on the zone's demand that covers what is not known of it [1], (zones,); on a governing zone,
        for the starts that it has to be offered.
    cap_min, least_min
        Longest and shortest run [min], whole steps, (zones,). A cap of 0: no run is short enough.
    state
        Zones in the seasons that the program is sized for; demand without margin.
    truth
        Zones in all seasons; demand without margin.
    offered
        Whether each pattern runs, (days, controllers, patterns).
    is_open
        Whether the pattern exists, (controllers, patterns).
    room_min, start_room_min
        Largest block of hours of the pattern, and of it what is left before midnight, when the last start has
        to be given [min], (controllers, patterns).
    max_station_min
        Most minutes of a station in a day [min], (controllers,).
    more_starts
        Passes of a watering day to try beyond the usual ones [1].
    gate
        Where a sensor outside these zones can block their starts: whether it lets them through, (days,
        controllers, seasons). None: nothing does.
    lane
        Where stations may run side by side, the lane of each, as `lanes` names them, (zones,). None:
        one station at a time.
    """

    settings: ProgramSettings
    zones: ZoneTable
    controllers: ControllerTable
    owner: IntArray
    first: IntArray
    governing: IntArray
    weight: FloatArray
    margin: FloatArray
    cap_min: FloatArray
    least_min: FloatArray
    state: ZoneState
    truth: ZoneState
    offered: BoolArray
    is_open: BoolArray
    room_min: FloatArray
    start_room_min: FloatArray
    max_station_min: FloatArray
    more_starts: tuple[int, ...] = ()
    gate: BoolArray | None = None
    lane: IntArray | None = None

    def starts_tried(self) -> IntArray:
        """Passes of a watering day that are tried [1], rising."""
        return np.array([*range(1, MOST_STARTS + 1), *self.more_starts], dtype=np.int64)

    def threshold_mm(self) -> FloatArray:
        """Depletion that lets a start through, as planned with [mm], (controllers,)."""
        planned = self.controllers.threshold_mm * self.settings.threshold_factor
        return np.maximum(planned, self.settings.least_threshold_mm)

    def net_mm(self, minutes: FloatArray) -> FloatArray:
        """Net depth of a run [mm], same shape as the minutes (zones, ...).

        Parameters
        ----------
        minutes
            Minutes of the run [min], within the run-off limit, (zones, candidates).
        """
        gross = self.zones.precipitation_rate_mm_h[:, None] / 60.0 * minutes
        return np.maximum(gross - self.settings.run_loss_mm, 0.0) * self.zones.application_efficiency[:, None]

    def minutes_for(self, net_mm: FloatArray) -> FloatArray:
        """Smallest whole steps of minutes that give a net depth [min], (zones, candidates), uncapped.

        Parameters
        ----------
        net_mm
            Net depth [mm], (zones, candidates).
        """
        gross = net_mm / self.zones.application_efficiency[:, None] + self.settings.run_loss_mm
        step = self.controllers.minute_step[self.owner][:, None]
        return np.ceil(60.0 * gross / self.zones.precipitation_rate_mm_h[:, None] / step - 1e-6) * step

    def with_margin(self) -> ZoneState:
        """The zones with the demand that is planned for."""
        return _times(self.state, self.margin)


def problem(
    zones: ZoneTable,
    controllers: ControllerTable,
    cases: tuple[RuleCase, ...],
    weather: Seasons,
    *,
    weather_column: IntArray,
    rain_column: IntArray,
    depletion_mm: FloatArray,
    margin: FloatArray,
    settings: ProgramSettings,
    use_factor: FloatArray | None = None,
) -> Problem:
    """The problem of some controllers; all of one kind, governed or not.

    Parameters
    ----------
    zones
        All zones of the controllers, sorted by controller in the controllers' order.
    controllers
        The controllers.
    cases
        Day choices that the controllers point to.
    weather
        Weather of several seasons.
    weather_column, rain_column
        Column of each zone's ET and rain in the weather, (zones,).
    depletion_mm
        Depletion of each zone at the start [mm]; NaN = not known, (zones,).
    margin
        Factor on each zone's demand [1], (zones,).
    settings
        Settings of the round.
    use_factor
        Factor on the use of governing zones that their sensors' logs taught [1], 1 elsewhere, (zones,); None:
        nothing.
    """
    owner = np.repeat(np.arange(len(controllers)), _counts(zones.controller_id, controllers.controller_id))
    first = np.searchsorted(owner, np.arange(len(controllers)))
    governed = controllers.is_governed[owner] & zones.is_governing
    governing = np.full(len(controllers), -1, dtype=np.int64)
    governing[owner[governed]] = np.flatnonzero(governed)
    area = np.add.reduceat(zones.area_m2, first)
    step = controllers.minute_step[owner]
    cap = np.floor(np.minimum(zones.runoff_limit_min, controllers.max_run_min[owner]) / step + 1e-9) * step
    least = np.minimum(np.ceil(_LEAST_RUNS[zones.head] / step) * step, cap)
    truth = _state(zones, weather, weather_column, rain_column, depletion_mm, bool(governed.any()))
    if use_factor is not None:
        truth = _times(truth, use_factor)
    few = bool(controllers.is_governed.all()) and len(controllers) > 0
    offered, is_open, room, start_room = pattern_arrays(controllers, cases, len(weather.rain_mm), settings)
    return Problem(
        settings=settings,
        zones=zones,
        controllers=controllers,
        owner=owner,
        first=first,
        governing=governing,
        weight=0.5 * zones.area_m2 / area[owner] + 0.5 / np.bincount(owner)[owner],
        margin=margin,
        cap_min=cap,
        least_min=least,
        state=_driest(truth, settings) if few else truth,
        truth=truth,
        offered=offered,
        is_open=is_open,
        room_min=room,
        start_room_min=start_room,
        max_station_min=np.array([cases[case].max_station_min for case in controllers.case]),
    )


def _times(state: ZoneState, factor: FloatArray) -> ZoneState:
    """The zones with their demand times a factor."""
    return ZoneState(
        state.depletion_mm,
        state.available_mm,
        state.allowed_mm,
        (state.demand_mm * factor[None, :, None]).astype(np.float32),
        state.rain_mm,
    )


def _counts(owner_id: IntArray, controller_id: IntArray) -> IntArray:
    """Zones of each controller, which must come in the controllers' order."""
    changes = np.flatnonzero(np.diff(owner_id)) + 1
    starts = np.concatenate([[0], changes]) if len(owner_id) else np.array([], dtype=np.int64)
    if not np.array_equal(owner_id[starts], controller_id):
        raise ValueError("zones must come sorted by controller, every controller with at least one")
    return np.diff(np.append(starts, len(owner_id)))


def _state(
    zones: ZoneTable,
    weather: Seasons,
    weather_column: IntArray,
    rain_column: IntArray,
    depletion_mm: FloatArray,
    governed: bool,
) -> ZoneState:
    """Zones in all seasons."""
    reference = weather.reference_et_mm[:, weather_column]
    rain = weather.rain_mm[:, rain_column]
    rain = np.where(rain < _LEAST_RAIN_SHARE * reference, 0.0, rain)
    rain -= rain_runoff_mm(rain, lawn_curve_number(zones.soil, zones.slope_pct)[None, :, None])
    allowed = zones.allowed_depletion_mm
    # Half of what may be used stands for an unknown start. A governed program stands for months: its deep
    # zones must not live off what they hold now.
    start = np.where(np.isnan(depletion_mm), allowed / 2, depletion_mm)
    if governed:
        start = np.maximum(start, allowed / 2)
    return ZoneState(
        start.astype(np.float32),
        zones.total_available_water_mm.astype(np.float32),
        allowed.astype(np.float32),
        (reference * zones.landscape_coefficient[None, :, None]).astype(np.float32),
        rain.astype(np.float32),
    )


def _driest(state: ZoneState, settings: ProgramSettings) -> ZoneState:
    """The zones in the driest seasons only."""
    count = driest_count(state.rain_mm.shape[2], settings)
    return ZoneState(
        state.depletion_mm,
        state.available_mm,
        state.allowed_mm,
        np.ascontiguousarray(state.demand_mm[..., :count]),
        np.ascontiguousarray(state.rain_mm[..., :count]),
    )


def pattern_arrays(
    controllers: ControllerTable, cases: tuple[RuleCase, ...], days: int, settings: ProgramSettings
) -> tuple[BoolArray, BoolArray, FloatArray, FloatArray]:
    """Patterns of each controller as arrays: runs, existence, room, and room before midnight [min].

    Parameters
    ----------
    controllers
        The controllers, each with the position of its case.
    cases
        The cases.
    days
        Days of the horizon [d].
    settings
        Settings of the round.
    """
    runs = np.zeros((len(cases), MOST_PATTERNS, days), dtype=np.bool_)
    is_open = np.zeros((len(cases), MOST_PATTERNS), dtype=np.bool_)
    room, start_room = np.zeros((2, len(cases), MOST_PATTERNS))
    for at, case in enumerate(cases):
        for pattern, choice in enumerate(case.choices[:MOST_PATTERNS]):
            runs[at, pattern] = choice.runs
            is_open[at, pattern] = True
            widest = max(choice.blocks, key=_starts_room)
            # Start times are keyed in whole steps, so the first may have to wait for one.
            opens = widest.opens_min + settings.start_step_min - 1
            room[at, pattern] = widest.closes_min - opens
            start_room[at, pattern] = MINUTES_A_DAY - settings.start_step_min - opens
    of = controllers.case
    return np.ascontiguousarray(runs[of].transpose(2, 0, 1)), is_open[of], room[of], start_room[of]


def _starts_room(block: Block) -> int:
    """Room of a block for several starts [min]."""
    return min(block.closes_min, MINUTES_A_DAY) - block.opens_min
