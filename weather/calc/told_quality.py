"""Who told each value of a day, and whether a check remarked it: what its spread begins with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from weather.calc.arrays import BoolArray
from weather.calc.quality import Flag, flags_of_words
from weather.calc.source_chain import GROUPS

# Which values a remark is about. That of a dry gauge is found among the filled days, not here.
REMARKS: Final[Mapping[str, Flag]] = {
    "temperature": Flag.RANGE_WIDE | Flag.RANGE_NARROW | Flag.FLAT_LINE | Flag.FAR_FROM_NEIGHBOURS,
    "humidity": Flag.DEW_ABOVE_TMIN | Flag.HUMIDITY_ABOVE_100,
    "wind": Flag.WIND_STRONG | Flag.WIND_CALM | Flag.FLAT_LINE,
    "solar": Flag.SOLAR_HIGH | Flag.SOLAR_LOW | Flag.SOLAR_NEVER_CLEAR | Flag.FLAT_LINE,
    "rain": Flag.RAIN_HEAVY,
}


@dataclass(frozen=True, slots=True)
class Quality:
    """Marks of each group of values of `source_chain.GROUPS`.

    Parameters
    ----------
    is_grid
        True where a gridded product told the group [1], shape (days, locations).
    is_remarked
        True where a check remarked it [1], same shape.
    """

    is_grid: Mapping[str, BoolArray]
    is_remarked: Mapping[str, BoolArray]

    def __post_init__(self) -> None:
        """Refuse marks that lack a group."""
        if set(self.is_grid) != set(GROUPS) or set(self.is_remarked) != set(GROUPS):
            raise ValueError(f"expected marks of {', '.join(GROUPS)}")


def told_by(label: str, parts: str) -> dict[str, str]:
    """Source of each group of values of a stored day.

    Parameters
    ----------
    label
        Source of the most of it [1].
    parts
        `rain:ncei` for each group that another source tells, separated by blanks [1].

    Returns
    -------
    dict[str, str]
        Source by group [1].
    """
    pairs = (word.partition(":") for word in parts.split())
    return dict.fromkeys(GROUPS, label) | {group: source for group, _, source in pairs}


def remarked_groups(words: str) -> tuple[str, ...]:
    """Groups of values that stored code words remark.

    Parameters
    ----------
    words
        Code words of checks, separated by blanks [1].

    Returns
    -------
    tuple[str, ...]
        Names of groups [1].
    """
    found = flags_of_words(words)
    return tuple(group for group, flags in REMARKS.items() if found & flags)


def marks_of_rows(groups: Sequence[Sequence[str]]) -> dict[str, BoolArray]:
    """Marks of many rows.

    Parameters
    ----------
    groups
        Marked groups of each row [1].

    Returns
    -------
    dict[str, BoolArray]
        Marks by group [1], shape (rows,).
    """
    return {group: np.array([group in row for row in groups], dtype=np.bool_) for group in GROUPS}
