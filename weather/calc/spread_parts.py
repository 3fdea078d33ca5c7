"""What a stored day's spread of ET is made of: each value's part, by the shares that made the spread."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from weather.calc.fill_codes import WORDS, Fill
from weather.calc.substitutes import Fallback
from weather.calc.uncertainty import ET_FLOOR_MM, ET_GRID, ET_STATION, FALLBACK_SHARES

MEASURED: Final = "measured"
FORECAST: Final = "forecast"
_SHARES: Final = {
    WORDS[Fill.DEW_FROM_TMIN]: FALLBACK_SHARES[Fallback.HUMIDITY_FROM_TMIN],
    WORDS[Fill.SOLAR_FROM_RANGE]: FALLBACK_SHARES[Fallback.SOLAR_FROM_RANGE],
    WORDS[Fill.WIND_DEFAULT]: FALLBACK_SHARES[Fallback.WIND_DEFAULT],
}
_BRIDGES: Final = (WORDS[Fill.ETO_MEAN_7_DAYS], WORDS[Fill.ETO_CLIMATOLOGY])
_NEIGHBOUR: Final = ":neighbour"


def parts_of_et_sd(
    reference_et_mm: float | None,
    sd_mm: float | None,
    filled: Sequence[str],
    *,
    is_grid: bool,
    is_forecast: bool,
) -> dict[str, float]:
    """Parts of a stored standard deviation of ET by the value that brings them.

    Parameters
    ----------
    reference_et_mm, sd_mm
        ET for scheduling and its standard deviation as stored [mm/d]; None = unknown.
    filled
        Stored words of what was filled, as `wind_m_s:default` [1].
    is_grid
        True where a gridded product told the day [1].
    is_forecast
        True where the day was foretold [1].

    Returns
    -------
    dict[str, float]
        Standard deviation of ET that each variable brings [mm/d], `measured` for all that was told and
        `forecast` for the foretelling; empty where the spread is unknown.

    Notes
    -----
    Squares of the parts add up to the square of the spread. What is left beside the known shares is the
    neighbours' (in equal parts: how long each gap was is in the spread, not in the words) or the forecast's.
    """
    if reference_et_mm is None or sd_mm is None:
        return {}
    bridges = [word for word in filled if word in _BRIDGES]
    if bridges:
        return {bridges[0].partition(":")[0]: sd_mm}
    squares = {
        word.partition(":")[0]: (_SHARES[word] * reference_et_mm) ** 2 for word in filled if word in _SHARES
    }
    lent = [word.partition(":")[0] for word in filled if word.endswith(_NEIGHBOUR)]
    rest = max(sd_mm**2 - sum(squares.values()), 0.0)
    if lent or is_forecast:
        base = ET_GRID if is_grid and not is_forecast else ET_STATION
        told = min((base * reference_et_mm) ** 2 + ET_FLOOR_MM**2, rest)
        bringers = [FORECAST] if is_forecast else lent
        squares |= dict.fromkeys(bringers, (rest - told) / len(bringers))
        rest = told
    return {MEASURED: float(np.sqrt(rest))} | {name: float(np.sqrt(part)) for name, part in squares.items()}
