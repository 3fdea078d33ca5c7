"""What really ran: net irrigation of zones from bypass logs, else from the program as set.

Mean net depth of a run = PR x minutes / 60 x (0.4 + 0.6 DU); DU enters nowhere else.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sites.calc.program_passes import ProgramPasses
from sites.calc.trailing_values import carried_forward

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


class Source(enum.IntEnum):
    """Where a day's irrigation is known from."""

    UNKNOWN = 0  # neither a log nor a program
    LOGGED = 1  # a log of that very day
    SPREAD = 2  # a log of several days, spread over the starts the clock offered
    ASSUMED = 3  # all starts of the program as set


@dataclass(frozen=True, slots=True)
class LogRows:
    """Bypass logs, arrays (rows,).

    Parameters
    ----------
    controller_at
        Position of the controller.
    start, end
        First day and the day after the last, datetime64[D].
    scheduled
        Starts scheduled [1]; NaN = take them from the program.
    bypassed, skipped
        Starts blocked by the sensor, and skipped for any other cause [1].
    """

    controller_at: IntArray
    start: npt.NDArray[np.datetime64]
    end: npt.NDArray[np.datetime64]
    scheduled: FloatArray
    bypassed: FloatArray
    skipped: FloatArray

    def __post_init__(self) -> None:
        """Refuse unequal lengths."""
        sizes = {
            column.size
            for column in (
                self.controller_at, self.start, self.end, self.scheduled, self.bypassed, self.skipped,
            )
        }  # fmt: skip
        if len(sizes) > 1:
            raise ValueError("log rows need columns of one length")


@dataclass(frozen=True, slots=True)
class RanStarts:
    """Starts that ran, arrays (days, controllers).

    Parameters
    ----------
    ran
        Starts that ran [1/d].
    source
        `Source` codes, uint8.
    """

    ran: FloatArray
    source: npt.NDArray[np.uint8]


def ran_starts(logs: LogRows, passes: ProgramPasses) -> RanStarts:
    """Starts that ran on each day, from logs, else all that the program as set offered.

    A log of several days is spread over its days in proportion to the starts that the clock offered, or evenly
    where it offered none.

    Parameters
    ----------
    logs
        Bypass logs, (rows,).
    passes
        What the programs as set offer, (days, controllers).
    """
    offered = passes.starts.astype(np.float64)
    ran = offered.copy()
    source = np.where(passes.is_known, Source.ASSUMED, Source.UNKNOWN).astype(np.uint8)
    if not logs.start.size:
        return RanStarts(ran, source)
    length = (logs.end - logs.start).astype(np.int64)
    row = np.repeat(np.arange(length.size), length)
    within = np.arange(row.size) - np.repeat(np.cumsum(length) - length, length)
    day = (logs.start[row] - passes.days[0]).astype(np.int64) + within
    inside = (day >= 0) & (day < passes.days.size)
    clock = np.zeros(row.size)
    clock[inside] = offered[day[inside], logs.controller_at[row[inside]]]
    of_row = np.bincount(row, clock, minlength=length.size)
    scheduled = np.where(np.isnan(logs.scheduled), of_row, logs.scheduled)
    total = np.maximum(scheduled - logs.bypassed - logs.skipped, 0.0)
    share = np.where(of_row[row] > 0, clock / np.maximum(of_row[row], 1e-12), 1.0 / length[row])
    at = (day[inside], logs.controller_at[row[inside]])
    ran[at] = (total[row] * share)[inside]
    source[at] = np.where(length[row[inside]] == 1, Source.LOGGED, Source.SPREAD)
    return RanStarts(ran, source)


def irrigation_net_mm(
    ran: RanStarts,
    passes: ProgramPasses,
    *,
    controller_at: IntArray,
    precipitation_rate_mm_h: FloatArray,
    application_efficiency: FloatArray,
) -> npt.NDArray[np.float32]:
    """Mean net depth of each zone's irrigation [mm/d], (days, zones).

    Parameters
    ----------
    ran
        Starts that ran, (days, controllers).
    passes
        Programs as set, whose minutes of a start the zone gets.
    controller_at
        Position of each zone's controller, (zones,).
    precipitation_rate_mm_h
        PR [mm/h], (zones,).
    application_efficiency
        0.4 + 0.6 DU [1], (zones,).
    """
    starts = passes.starts[:, controller_at]
    with np.errstate(divide="ignore", invalid="ignore"):
        minutes = np.where(starts > 0, passes.run_min / starts, np.nan)
    minutes = carried_forward(
        minutes
    )  # a logged start on a day without a program's start runs as the last one
    depth_per_min = (precipitation_rate_mm_h / 60.0 * application_efficiency).astype(np.float32)
    net = np.nan_to_num(minutes) * ran.ran[:, controller_at].astype(np.float32) * depth_per_min
    return np.asarray(net, dtype=np.float32)
