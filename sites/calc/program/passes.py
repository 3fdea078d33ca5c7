"""Program lines as keyed in, and what they offer: starts of controllers, run minutes of zones, day by day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
from scipy import sparse

from sites.calc.program.days import parse_days, parse_starts, runs_on

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]
DayArray = npt.NDArray[np.datetime64]


@dataclass(frozen=True, slots=True)
class ProgramLines:
    """Programs as they were keyed in, one row for each station of each program letter, arrays (lines,).

    Parameters
    ----------
    controller_id
        Controller of the line.
    program
        Program letter, `A` to `D`.
    zone_id
        Zone that the line's station waters.
    days
        Day pattern in the words of the program file.
    starts
        Start times in the words of the program file.
    run_min
        Minutes keyed in for one start, before seasonal adjust [min].
    seasonal_adjust_pct
        Seasonal adjust of the program [%].
    as_of
        Day from which the line was true [datetime64 days]. All lines of a controller with one `as_of` are one
        setting; it holds until the controller's next one.
    """

    controller_id: IntArray
    program: npt.NDArray[np.str_]
    zone_id: IntArray
    days: npt.NDArray[np.str_]
    starts: npt.NDArray[np.str_]
    run_min: FloatArray
    seasonal_adjust_pct: FloatArray
    as_of: DayArray

    def __post_init__(self) -> None:
        """Refuse rows of unequal length and negative minutes."""
        lengths = {
            len(column)
            for column in (
                self.controller_id,
                self.program,
                self.zone_id,
                self.days,
                self.starts,
                self.run_min,
                self.seasonal_adjust_pct,
                self.as_of,
            )
        }
        if len(lengths) > 1:
            raise ValueError("program lines need columns of one length")
        if np.any(self.run_min < 0) or np.any(self.seasonal_adjust_pct < 0):
            raise ValueError("minutes and seasonal adjust are never negative")


@dataclass(frozen=True, slots=True)
class ProgramPasses:
    """What the programs as set offer: starts of controllers and run minutes of zones.

    Parameters
    ----------
    days
        Calendar days [datetime64 days], (days,).
    controller_ids
        Controllers, (controllers,).
    zone_ids
        Zones, (zones,).
    starts
        Starts that the controller offers, all letters together [1/d], (days, controllers).
    passes
        Runs of the zone, all letters together [1/d], (days, zones).
    run_min
        Minutes of all the zone's runs, seasonal adjust included [min/d], (days, zones).
    is_known
        Whether a setting was known on the day, (days, controllers). Where it is not, starts are 0 and mean
        nothing.
    """

    days: DayArray
    controller_ids: IntArray
    zone_ids: IntArray
    starts: npt.NDArray[np.float32]
    passes: npt.NDArray[np.float32]
    run_min: npt.NDArray[np.float32]
    is_known: BoolArray


def program_passes(
    lines: ProgramLines, *, days: DayArray, controller_ids: IntArray, zone_ids: IntArray
) -> ProgramPasses:
    """Starts of each controller and run minutes of each zone on each day, from the lines as keyed in.

    Parameters
    ----------
    lines
        Lines of any number of settings of any number of controllers; those of unknown controllers or zones
        are left out.
    days
        Calendar days [datetime64 days], (days,).
    controller_ids
        Controllers of the result, (controllers,).
    zone_ids
        Zones of the result, (zones,).
    """
    whole = days.astype("datetime64[D]")
    controller_at, of_controller = _positions(lines.controller_id, controller_ids)
    zone_at, of_zone = _positions(lines.zone_id, zone_ids)
    kept = np.flatnonzero(of_controller & of_zone)
    setting_of, head_of, heads = _heads(lines, controller_at[kept], kept)
    is_known, in_force = _in_force(heads, setting_of, whole, len(controller_ids))

    runs = np.empty((len(whole), len(heads)), dtype=np.float32)
    starts = np.empty(len(heads), dtype=np.float32)
    known_patterns: dict[tuple[str, str], BoolArray] = {}
    for at, (line, _) in enumerate(heads):
        key = (str(lines.days[line]), str(lines.as_of[line]))
        if key not in known_patterns:
            known_patterns[key] = runs_on(parse_days(key[0], _as_date(lines.as_of[line])), whole)
        runs[:, at] = known_patterns[key]
        starts[at] = len(parse_starts(str(lines.starts[line])))
    runs *= in_force

    minutes = lines.run_min[kept] * lines.seasonal_adjust_pct[kept] / 100
    zones = zone_at[kept]
    passes_a_day = starts[head_of] * (minutes > 0)
    shape = (len(heads), len(zone_ids))
    return ProgramPasses(
        days=whole,
        controller_ids=controller_ids,
        zone_ids=zone_ids,
        starts=_spread(
            runs,
            starts,
            np.arange(len(heads)),
            np.array([at for _, at in heads], dtype=np.int64),
            (len(heads), len(controller_ids)),
        ),
        passes=_spread(runs, passes_a_day, head_of, zones, shape),
        run_min=_spread(runs, starts[head_of] * minutes, head_of, zones, shape),
        is_known=is_known,
    )


def _positions(ids: IntArray, among: IntArray) -> tuple[IntArray, BoolArray]:
    """Position of each id in a list of ids, and whether it is there at all."""
    if not len(among):
        return np.zeros(len(ids), dtype=np.int64), np.zeros(len(ids), dtype=np.bool_)
    order = np.argsort(among, kind="stable")
    found = np.minimum(np.searchsorted(among, ids, sorter=order), len(among) - 1)
    return order[found], np.asarray(among[order[found]] == ids)


def _heads(
    lines: ProgramLines, controller_at: IntArray, kept: IntArray
) -> tuple[IntArray, IntArray, list[tuple[int, int]]]:
    """Program letters of the settings: the setting of each, the head of each line, and (line, controller)."""
    heads: dict[tuple[int, str, int], int] = {}
    found: list[tuple[int, int]] = []
    days = lines.as_of.astype("datetime64[D]").astype(np.int64)
    head_of = np.empty(len(kept), dtype=np.int64)
    for row, line in enumerate(kept):
        key = (int(controller_at[row]), str(lines.program[line]), int(days[line]))
        if key not in heads:
            heads[key] = len(found)
            found.append((int(line), key[0]))
        head_of[row] = heads[key]
    return np.array([key[2] for key in heads], dtype=np.int64), head_of, found


def _in_force(
    heads: list[tuple[int, int]],
    setting_day: IntArray,
    days: DayArray,
    controllers: int,
) -> tuple[BoolArray, BoolArray]:
    """Whether any setting is known (days, controllers), and whether each head is in force (days, heads)."""
    number = days.astype(np.int64)[:, None]
    settings: dict[int, set[int]] = {}
    for day, (_, controller) in zip(setting_day, heads, strict=True):
        settings.setdefault(controller, set()).add(int(day))
    until = np.empty(len(heads), dtype=np.int64)
    for at, (day, (_, controller)) in enumerate(zip(setting_day, heads, strict=True)):
        later = [other for other in settings[controller] if other > day]
        until[at] = min(later, default=np.iinfo(np.int64).max)
    first = np.full(controllers, np.iinfo(np.int64).max)
    for controller, known in settings.items():
        first[controller] = min(known)
    return np.asarray(number >= first[None, :]), np.asarray(
        (number >= setting_day[None, :]) & (number < until[None, :])
    )


def _spread(
    runs: npt.NDArray[np.float32],
    values: FloatArray | npt.NDArray[np.float32],
    rows: IntArray,
    columns: IntArray,
    shape: tuple[int, int],
) -> npt.NDArray[np.float32]:
    """Sum over heads of (day runs) x (value of the head's line), (days, columns)."""
    weights = sparse.csr_array((values.astype(np.float32), (rows, columns)), shape=shape)
    return np.ascontiguousarray((weights.T @ runs.T).T, dtype=np.float32)


def _as_date(day: np.datetime64) -> date:
    """A numpy day as a date."""
    return date(1970, 1, 1) + timedelta(days=int(day.astype("datetime64[D]").astype(np.int64)))
