"""What can be wrong with a day of weather: code words, how severe each is, and what to say about it.

The limits follow Allen (1996, J. Irrig. Drain. Eng. 122(2), 97-106) and ASCE-EWRI (2005, Appendix D) in kind;
where no number is printed there, it is common practice, no source, and was set so that no day of the measured
stations of the tests is refused.
"""

from __future__ import annotations

import enum
from typing import Final

import numpy as np
from numpy.typing import NDArray

FlagArray = NDArray[np.uint32]


class Flag(enum.IntFlag):
    """One thing that a check found; the name in small letters is the code word that is stored."""

    # These stop a row.
    TMAX_BELOW_TMIN = 1
    LIKELY_FAHRENHEIT = 2
    DEW_ABOVE_TMAX = 4
    HUMIDITY_AS_FRACTION = 8
    HUMIDITY_REVERSED = 16
    SOLAR_ABOVE_CLEAR_SKY = 32
    # These are told, and the row is kept.
    DEW_ABOVE_TMIN = 64
    HUMIDITY_ABOVE_100 = 128
    SOLAR_HIGH = 256
    SOLAR_LOW = 512
    SOLAR_NEVER_CLEAR = 1024
    RANGE_WIDE = 2048
    RANGE_NARROW = 4096
    WIND_STRONG = 8192
    WIND_CALM = 16384
    FLAT_LINE = 32768
    RAIN_HEAVY = 65536
    FAR_FROM_NEIGHBOURS = 131072
    GAUGE_DRY = 262144


REJECTING: Final = (
    Flag.TMAX_BELOW_TMIN
    | Flag.LIKELY_FAHRENHEIT
    | Flag.DEW_ABOVE_TMAX
    | Flag.HUMIDITY_AS_FRACTION
    | Flag.HUMIDITY_REVERSED
    | Flag.SOLAR_ABOVE_CLEAR_SKY
)

# Column that a message names, and what was expected of it.
EXPECTED: Final[dict[Flag, tuple[str, str]]] = {
    Flag.TMAX_BELOW_TMIN: ("tmax_c", "a tmax_c not below tmin_c"),
    Flag.LIKELY_FAHRENHEIT: (
        "tmax_c",
        "degrees Celsius: for this latitude, season and height the value looks like Fahrenheit",
    ),
    Flag.DEW_ABOVE_TMAX: ("tdew_c", "a dew point not above tmax_c"),
    Flag.HUMIDITY_AS_FRACTION: (
        "rh_max_pct",
        "relative humidity in percent: the value looks like a fraction",
    ),
    Flag.HUMIDITY_REVERSED: ("rh_max_pct", "an rh_max_pct not below rh_min_pct"),
    Flag.SOLAR_ABOVE_CLEAR_SKY: (
        "solar_mj_m2",
        "MJ/m2 a day, not far above a clear sky's: check the unit and the instrument",
    ),
}

# Words for the page; the code word stands beside.
MEANING: Final[dict[Flag, str]] = {
    Flag.DEW_ABOVE_TMIN: "dew point above the lowest temperature",
    Flag.HUMIDITY_ABOVE_100: "relative humidity above 100 %",
    Flag.SOLAR_HIGH: "solar radiation above a clear sky's",
    Flag.SOLAR_LOW: "hardly any solar radiation",
    Flag.SOLAR_NEVER_CLEAR: "no clear day in 60: the instrument may be dirty or tilted",
    Flag.RANGE_WIDE: "wide range of temperature",
    Flag.RANGE_NARROW: "hardly any range of temperature",
    Flag.WIND_STRONG: "very strong wind",
    Flag.WIND_CALM: "hardly any wind for days: the bearing may stick",
    Flag.FLAT_LINE: "the same value for days",
    Flag.RAIN_HEAVY: "very heavy rain",
    Flag.FAR_FROM_NEIGHBOURS: "temperature far from the neighbours'",
    Flag.GAUGE_DRY: "dry for a month while the neighbours had rain: the gauge may be clogged",
}


def flag_words(codes: int) -> str:
    """Code words of a sum of flags, in the order of the list, separated by blanks.

    Parameters
    ----------
    codes
        Sum of `Flag` values [1].

    Returns
    -------
    str
        Words as `dew_above_tmin solar_high` [1]; empty for no flag.
    """
    return " ".join(flag.name.lower() for flag in Flag if codes & flag and flag.name)


def words_of_codes(codes: FlagArray) -> list[str]:
    """Code words of many sums of flags.

    Parameters
    ----------
    codes
        Sums of `Flag` values, shape (rows,) [1].

    Returns
    -------
    list[str]
        One text a row [1].
    """
    distinct, places = np.unique(codes, return_inverse=True)
    words = [flag_words(int(code)) for code in distinct]
    return [words[place] for place in places]


def flags_of_words(words: str) -> Flag:
    """Sum of flags of stored code words; an unknown word is left out.

    Parameters
    ----------
    words
        Code words separated by blanks [1].

    Returns
    -------
    Flag
        Their sum [1].
    """
    known = {flag.name.lower(): flag for flag in Flag if flag.name}
    total = Flag(0)
    for word in words.split():
        total |= known.get(word, Flag(0))
    return total
