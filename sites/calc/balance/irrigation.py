"""Net irrigation of each zone and day: from what the logs say really ran, else from the program as set."""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import IntEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from sites.calc.program.passes import ProgramPasses

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
DayArray = npt.NDArray[np.datetime64]

# A day without a row borrows the share of starts that ran from the rows of so many days before it.
LOOK_BACK_DAYS = 28
# A start that the sensor cut short gave the governing zone, which runs last, about half of its run.
CUT_SHORT_SHARE = 0.5
# Error of what ran on a day without a row, as a share of the starts offered (own judgement): of a clock alone
# or with a borrowed share, and of a sensor that nobody watches.
ASSUMED_ERROR = 0.3
UNWATCHED_ERROR = 0.6
# Standard error of a count by its method, as a share of the starts offered (own judgement): loggers count,
# people read counters rightly and now and then off by one, daily reads hide short runs, cards miss days.
COUNT_ERROR: Final[dict[str, float]] = {
    "logger": 0.0,
    "counter_read": 0.03,
    "from_meter": 0.10,
    "customer_card": 0.15,
}


class IrrigationSource(IntEnum):
    """Where the irrigation of a day comes from; the smaller the number, the less is known."""

    AS_NEEDED = 0  # nothing known: refilled when the allowed depletion is used
    ASSUMED = 1  # program as set, every start taken to run
    ASSUMED_SHARE = 2  # program as set, with the share of starts that ran on logged days before
    LOG_PERIOD = 3  # log of several days, spread over its starts
    LOG = 4  # log of the day


@dataclass(frozen=True, slots=True)
class BypassRows:
    """Rows of bypass logs, arrays (rows,).

    Parameters
    ----------
    controller_id
        Controller of the row.
    start, end
        First day and the day after the last [datetime64 days].
    scheduled
        Starts that the clock offered [1]; NaN: take them from the program set then.
    bypassed, cut_short, skipped
        Starts that the sensor blocked, that it stopped midway, and that anything else kept from running [1].
    error_share
        Standard error of the count of what ran, as a share of the starts offered [1].
    """

    controller_id: IntArray
    start: DayArray
    end: DayArray
    scheduled: FloatArray
    bypassed: FloatArray
    cut_short: FloatArray
    skipped: FloatArray
    error_share: FloatArray

    def __post_init__(self) -> None:
        """Refuse unequal lengths, empty periods and negative counts."""
        if len({getattr(self, field.name).shape for field in fields(self)}) > 1:
            raise ValueError("bypass rows need columns of one length")
        if np.any(self.end <= self.start):
            raise ValueError("a bypass row ends after it starts")
        if np.any(self.bypassed < 0) or np.any(self.cut_short < 0) or np.any(self.skipped < 0):
            raise ValueError("starts are never negative")


@dataclass(frozen=True, slots=True)
class Irrigation:
    """Net irrigation, arrays (days, zones).

    Parameters
    ----------
    net_mm
        Mean net depth of the day's runs [mm]; NaN where nothing is known.
    sd_mm
        Standard deviation of that depth beside the error of the rate [mm].
    source
        `IrrigationSource` of the day [1].
    """

    net_mm: npt.NDArray[np.float32]
    sd_mm: npt.NDArray[np.float32]
    source: npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class StartsRan:
    """Starts that ran, arrays (days, controllers).

    Parameters
    ----------
    ran
        Starts that ran, the shortened ones among them [1/d]; NaN where nothing is known.
    shortened
        Those of them that the sensor cut short [1/d].
    sd
        Standard deviation of `ran` [1/d].
    source
        `IrrigationSource` [1].
    """

    ran: FloatArray
    shortened: FloatArray
    sd: FloatArray
    source: npt.NDArray[np.uint8]


def net_run_depth_mm(
    precipitation_rate_mm_h: npt.ArrayLike, run_min: npt.ArrayLike, distribution_uniformity: npt.ArrayLike
) -> FloatArray:
    """Mean net depth of a run [mm]: PR x minutes / 60 x (0.4 + 0.6 DU); DU enters nowhere else.

    0.4 + 0.6 DU is the inverse of the run-time multiplier of the Irrigation Association (Mecham 2010, ASABE
    paper IRR10-10040).

    Parameters
    ----------
    precipitation_rate_mm_h
        Precipitation rate [mm/h], (n,).
    run_min
        Minutes of the run [min], (n,).
    distribution_uniformity
        Low-quarter uniformity [1], (n,).
    """
    gross = np.asarray(precipitation_rate_mm_h, dtype=np.float64) * np.asarray(run_min) / 60.0
    return np.asarray(gross * (0.4 + 0.6 * np.asarray(distribution_uniformity, dtype=np.float64)))


def starts_ran(rows: BypassRows, passes: ProgramPasses, governed_from: DayArray) -> StartsRan:
    """Starts that ran on each day, (days, controllers).

    A row of one day is taken as it is; a row of several days is spread over the starts that the program
    offers in it, evenly where it offers none. A day without a row runs all starts of the program as set; with
    a sensor it runs the share that ran on the logged days of the 28 days before, where there are any.

    Parameters
    ----------
    rows
        Bypass logs; rows of unknown controllers are left out. The days must cover each row that touches
        them wholly, so that a longer or shorter span gives the same answer.
    passes
        What the programs as set offer.
    governed_from
        Day from which a sensor can block the controller [datetime64 days], (controllers,); NaT: never.
    """
    offered = np.where(passes.is_known, passes.starts.astype(np.float64), np.nan)
    ran, scheduled, found = _spread_rows(rows, passes, offered)
    days = passes.days.astype("datetime64[D]")
    is_governed = ~np.isnat(governed_from)[None, :] & (days[:, None] >= governed_from[None, :])
    is_free = np.isnan(ran.ran) & passes.is_known
    before = _trailing(np.where(found, ran.ran, 0.0)), _trailing(scheduled)
    share = np.where(before[1] > 1e-9, before[0] / np.maximum(before[1], 1e-9), np.nan)
    borrows = is_free & is_governed & np.isfinite(share)
    ran.ran[is_free] = (offered * np.where(borrows, share, 1.0))[is_free]
    ran.sd[is_free] = (offered * np.where(is_governed & ~borrows, UNWATCHED_ERROR, ASSUMED_ERROR))[is_free]
    ran.source[is_free] = np.where(borrows, IrrigationSource.ASSUMED_SHARE, IrrigationSource.ASSUMED)[is_free]
    return ran


def _spread_rows(
    rows: BypassRows, passes: ProgramPasses, offered: FloatArray
) -> tuple[StartsRan, FloatArray, BoolArray]:
    """Every row on its days: what ran, scheduled starts, days with a row. One entry a day and row."""
    shape = offered.shape
    ran = StartsRan(np.full(shape, np.nan), np.zeros(shape), np.zeros(shape), np.zeros(shape, np.uint8))
    scheduled_of_day = np.zeros(shape)
    if rows.start.size == 0 or offered.size == 0:
        return ran, scheduled_of_day, np.zeros(shape, np.bool_)
    order = np.argsort(passes.controller_ids)
    at = np.searchsorted(passes.controller_ids, rows.controller_id, sorter=order)
    column_of_row = order[np.minimum(at, order.size - 1)]
    first_day = passes.days[0].astype("datetime64[D]")
    start = (rows.start - first_day).astype(np.int64)
    length = (rows.end - rows.start).astype(np.int64)
    kept = np.flatnonzero(
        (passes.controller_ids[column_of_row] == rows.controller_id)
        & (start >= 0)
        & (start + length <= shape[0])
    )
    row = np.repeat(kept, length[kept])
    step = np.arange(row.size) - np.repeat(np.cumsum(length[kept]) - length[kept], length[kept])
    day, column = start[row] + step, column_of_row[row]
    starts = offered[day, column]
    offer = np.bincount(row, starts, minlength=length.size)  # NaN where a day's program is unknown
    scheduled = np.where(np.isnan(rows.scheduled), offer, rows.scheduled)
    row_ran = np.maximum(0.0, scheduled - rows.bypassed - rows.skipped)
    share = np.divide(row_ran, scheduled, out=np.zeros_like(row_ran), where=scheduled > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        weight = np.where(offer[row] > 0, starts / offer[row], 1.0 / length[row])
    ran.ran[day, column] = row_ran[row] * weight
    ran.shortened[day, column] = np.minimum(rows.cut_short, row_ran)[row] * weight
    scheduled_of_day[day, column] = np.nan_to_num(scheduled[row] * weight)
    # Which of the period's starts ran is not told: binomial spread of each day's count.
    spread = np.sqrt(scheduled_of_day[day, column] * share[row] * (1.0 - share[row]))
    # An error of the count is one for the whole period; each day carries its part as if it were its own.
    counted = rows.error_share[row] * scheduled_of_day[day, column] * np.sqrt(length[row])
    ran.sd[day, column] = np.hypot(np.where(length[row] > 1, spread, 0.0), counted)
    ran.source[day, column] = np.where(
        np.isnan(row_ran[row]),
        IrrigationSource.AS_NEEDED,
        np.where(length[row] > 1, IrrigationSource.LOG_PERIOD, IrrigationSource.LOG),
    )
    return ran, scheduled_of_day, np.isfinite(ran.ran)


def _trailing(values: npt.NDArray[np.floating]) -> FloatArray:
    """Sum of the values over the day and the LOOK_BACK_DAYS before it, (days, columns)."""
    total = values.astype(np.float64)
    # Added in one fixed order: a difference of running sums would hang on where the span begins.
    for back in range(1, LOOK_BACK_DAYS + 1):
        total[back:] += values[:-back]
    return total


def net_irrigation(
    ran: StartsRan,
    passes: ProgramPasses,
    *,
    controller_column: IntArray,
    precipitation_rate_mm_h: FloatArray,
    application_efficiency: FloatArray,
    runoff_limit_min: FloatArray,
    is_governing: BoolArray,
) -> Irrigation:
    """Net irrigation of each zone and day, (days, zones).

    Starts that ran x mean net depth of a start, PR x minutes / 60 x (0.4 + 0.6 DU). Minutes beyond the
    run-off limit of soil, slope and heads run off and are not counted. On a day on which the program offers
    no start although one ran, the mean minutes of its starts of the 28 days before are taken.

    Parameters
    ----------
    ran
        Starts that ran, (days, controllers).
    passes
        What the programs as set offer, with the zones of this call.
    controller_column
        Column of each zone's controller, (zones,).
    precipitation_rate_mm_h
        PR [mm/h], (zones,).
    application_efficiency
        0.4 + 0.6 DU [1], (zones,).
    runoff_limit_min
        Longest run before water runs off [min], (zones,); infinite = none.
    is_governing
        Whether the sensor stands in the zone, (zones,): it is the one that a start cut short leaves dry.
    """
    starts = passes.starts[:, controller_column]
    per_run = np.divide(
        passes.run_min, passes.passes, out=np.zeros_like(passes.run_min), where=passes.passes > 0
    )
    kept_min = np.minimum(per_run, runoff_limit_min.astype(np.float32)) * passes.passes
    recent = _trailing(starts)
    start_min = np.divide(_trailing(kept_min), recent, out=np.full(recent.shape, np.nan), where=recent > 0.5)
    np.divide(kept_min, starts, out=start_min, where=starts > 0)
    start_min[ran.ran[:, controller_column] == 0.0] = 0.0  # nothing ran, whatever the program
    depth = (start_min * (precipitation_rate_mm_h * application_efficiency / 60.0)).astype(np.float32)
    counted = (
        ran.ran[:, controller_column] - CUT_SHORT_SHARE * ran.shortened[:, controller_column] * is_governing
    )
    return Irrigation(
        net_mm=(counted * depth).astype(np.float32),
        sd_mm=(ran.sd[:, controller_column] * depth).astype(np.float32),
        source=ran.source[:, controller_column],
    )
