"""When frost reaches a buried pipe: freezing index and frost depth.

One cold night cannot freeze a line at 0.2 m, a cold week can. The constants are from memory and stated; the
answer is a latest day for buried lines, never a reason to leave an assembly in the air.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
DayArray = npt.NDArray[np.datetime64]

CONDUCTIVITY_W_M_K: Final = 1.5
LATENT_MJ_M3: Final = 83.5  # of soil with a quarter of its volume water
TURF_FACTOR: Final = 0.5  # surface over air freezing index under turf
PIPE_DEPTH_M: Final = 0.2
_SECONDS_A_DAY: Final = 86_400.0


def frost_depth_m(freezing_index_c_d: npt.ArrayLike, *, surface_factor: float = TURF_FACTOR) -> FloatArray:
    """Frost depth [m] by Stefan's formula, sqrt(2 k 86400 n F / L).

    Parameters
    ----------
    freezing_index_c_d
        Degree-days below 0 degC of the air [degC d].
    surface_factor
        Share of them that reaches the surface of the soil [1]: 0.5 under turf, 1 on bare ground.
    """
    index = np.maximum(np.asarray(freezing_index_c_d, dtype=np.float64), 0.0)
    scale = 2 * CONDUCTIVITY_W_M_K * _SECONDS_A_DAY * surface_factor / (LATENT_MJ_M3 * 1e6)
    return np.asarray(np.sqrt(scale * index))


def freezing_index_for(depth_m: float, *, surface_factor: float = TURF_FACTOR) -> float:
    """Freezing index [degC d] at which frost reaches a depth, the inverse of `frost_depth_m`.

    Parameters
    ----------
    depth_m
        Depth [m].
    surface_factor
        As in `frost_depth_m` [1].
    """
    scale = 2 * CONDUCTIVITY_W_M_K * _SECONDS_A_DAY * surface_factor / (LATENT_MJ_M3 * 1e6)
    return depth_m**2 / scale


def pipe_freezes(
    days: DayArray, tmean_c: FloatArray, *, years: npt.NDArray[np.int64], is_south: bool = False
) -> FloatArray:
    """Day of the year [d] on which frost first reaches a pipe, for each autumn; NaN: it never does.

    The index runs on from the first frost, melts with every warm day, and never falls below zero.

    Parameters
    ----------
    days
        Days in order, shaped (days,).
    tmean_c
        Mean air temperature [degC], shaped (days,); NaN counts as no frost.
    years
        Years in which the autumns begin, as `FreezeSeasons.autumn_years` has them.
    is_south
        True south of the equator.
    """
    limit = freezing_index_for(PIPE_DEPTH_M)
    month, dom = (1, 24) if is_south else (7, 24)
    found = np.full(len(years), math.nan)
    for place, year in enumerate(years.tolist()):
        start, end = date(year, month, dom), date(year + 1, month, dom) - timedelta(days=1)
        inside = (days >= np.datetime64(start)) & (days <= np.datetime64(end))
        index = 0.0
        for day, tmean in zip(days[inside].tolist(), np.nan_to_num(tmean_c[inside]).tolist(), strict=True):
            index = max(0.0, index - tmean)
            if index >= limit:
                found[place] = (day - date(year, 1, 1)).days + 1
                break
    return found
