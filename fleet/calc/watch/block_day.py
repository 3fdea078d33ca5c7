"""One day of the sites of a block, as the filter's state is moved by it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

SingleArray: TypeAlias = npt.NDArray[np.float32]
IntArray: TypeAlias = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class BlockDay:
    """One day of the block's sites, all (sites,).

    Parameters
    ----------
    day
        Index of the day [1].
    rain_mm, et_mm, missing_sd_mm
        Effective rain [mm/d], reference ET [mm/d], spread from unknown weather [mm].
    dose_mm
        Net depth of a start [mm].
    starts, ran
        Starts offered; starts that ran, -1 unseen [1].
    assumed_ran
        Starts that ran by the spread of a counted period, NaN elsewhere [1].
    period_starts, period_ran
        Totals of a period that ends today, -1 elsewhere [1].
    period_begins
        Whether a counted period begins today.
    is_on
        Whether the log counts already.
    """

    day: int
    rain_mm: SingleArray
    et_mm: SingleArray
    missing_sd_mm: SingleArray
    dose_mm: SingleArray
    starts: IntArray
    ran: IntArray
    assumed_ran: SingleArray
    period_starts: IntArray
    period_ran: IntArray
    period_begins: npt.NDArray[np.bool_]
    is_on: npt.NDArray[np.bool_]
