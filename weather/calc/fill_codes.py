"""Which values of a day were filled, and by what: codes for arrays, words for storage and screens."""

from __future__ import annotations

import enum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from weather.calc.arrays import IntArray

FillArray = NDArray[np.uint16]


class Fill(enum.IntFlag):
    """One substitute that a day rests on."""

    TMIN_NEIGHBOUR = 1
    TMAX_NEIGHBOUR = 2
    DEW_NEIGHBOUR = 4
    WIND_NEIGHBOUR = 8
    SOLAR_NEIGHBOUR = 16
    DEW_FROM_TMIN = 32
    HUMIDITY_FROM_MAX = 64
    SOLAR_FROM_RANGE = 128
    WIND_DEFAULT = 256
    ETO_MEAN_7_DAYS = 512
    ETO_CLIMATOLOGY = 1024
    RAIN_NEARBY = 2048


WORDS: Final[dict[Fill, str]] = {
    Fill.TMIN_NEIGHBOUR: "tmin_c:neighbour",
    Fill.TMAX_NEIGHBOUR: "tmax_c:neighbour",
    Fill.DEW_NEIGHBOUR: "tdew_c:neighbour",
    Fill.WIND_NEIGHBOUR: "wind_m_s:neighbour",
    Fill.SOLAR_NEIGHBOUR: "solar_mj_m2:neighbour",
    Fill.DEW_FROM_TMIN: "tdew_c:from_tmin",
    Fill.HUMIDITY_FROM_MAX: "rh_min_pct:from_rh_max",
    Fill.SOLAR_FROM_RANGE: "solar_mj_m2:from_range",
    Fill.WIND_DEFAULT: "wind_m_s:default",
    Fill.ETO_MEAN_7_DAYS: "eto_mm:mean_7_days",
    Fill.ETO_CLIMATOLOGY: "eto_mm:climatology",
    Fill.RAIN_NEARBY: "rain_mm:nearby",
}

# What the page says.
MEANING: Final[dict[str, str]] = {
    "neighbour": "from neighbouring locations",
    "from_tmin": "dew point taken at the lowest temperature",
    "from_rh_max": "from the highest humidity alone",
    "from_range": "from the temperature range",
    "default": "2 m/s assumed",
    "mean_7_days": "mean of the seven days before",
    "climatology": "usual for the season",
    "nearby": "from a gauge nearby",
}


class EtMethod(enum.IntEnum):
    """How a day's ET came about."""

    UNKNOWN = 0
    FAO56 = 1
    MEAN_7_DAYS = 2
    CLIMATOLOGY = 3


METHOD_WORDS: Final = ("", "fao56", "mean_7_days", "climatology")


def fill_words(codes: int) -> str:
    """Stored words of a sum of fills, separated by blanks.

    Parameters
    ----------
    codes
        Sum of `Fill` values [1].

    Returns
    -------
    str
        Words as `wind_m_s:default rain_mm:nearby` [1]; empty where nothing was filled.
    """
    return " ".join(word for fill, word in WORDS.items() if codes & fill)


def words_of_fills(codes: FillArray) -> list[str]:
    """Stored words of many sums of fills.

    Parameters
    ----------
    codes
        Sums of `Fill` values, shape (rows,) [1].

    Returns
    -------
    list[str]
        One text a row [1].
    """
    distinct, places = np.unique(codes, return_inverse=True)
    words = [fill_words(int(code)) for code in distinct]
    return [words[place] for place in places]


def words_of_methods(methods: IntArray) -> list[str]:
    """Stored words of methods.

    Parameters
    ----------
    methods
        `EtMethod` values, shape (rows,) [1].

    Returns
    -------
    list[str]
        One word a row [1]; empty where ET is unknown.
    """
    return [METHOD_WORDS[method] for method in methods]
