"""How a file's layers, columns, words and units become the book's: as told, or by the names alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from sites.importing.kinds import ALIASES, KINDS, PLACE_COLUMNS, kind_named
from weather.calc.units import (
    M2_PER_SQUARE_FOOT,
    MM_PER_INCH,
    gallons_min_to_l_min,
)

BY_COLUMN: Final = "*"
"""Stands for the kind of a layer whose rows tell it in their column `kind`."""

UNITS: Final[dict[str, dict[str, float]]] = {
    "area_m2": {"m2": 1.0, "ft2": M2_PER_SQUARE_FOOT},
    "precipitation_rate_mm_h": {"mm/h": 1.0, "in/h": MM_PER_INCH},
    "flow_l_min": {"L/min": 1.0, "gal/min": gallons_min_to_l_min(1.0)},
    "distribution_uniformity": {"0 to 1": 1.0, "%": 0.01},
    "root_depth_mm": {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH},
    "depth_mm": {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH},
    "threshold_kpa": {"kPa": 1.0, "cb": 1.0},
}
"""Units that a column may come in, and how many of the book's unit each is."""


@dataclass(frozen=True, slots=True)
class LayerLayout:
    """What a layer holds.

    Parameters
    ----------
    kind
        Kind of its rows; `*` where a column says it, empty where the layer is left out.
    columns
        The file's column -> the book's; a column that is not named is left out.
    words
        The book's column -> the file's word -> the book's word.
    units
        The book's column -> the unit that the file writes it in.
    """

    kind: str
    columns: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)

    def cells(self, raw: Mapping[str, str]) -> dict[str, str]:
        """A row's cells under the book's names, in its words and units."""
        told: dict[str, str] = {}
        for theirs, cell in raw.items():
            ours = self.columns.get(theirs, "")
            if not ours or told.get(ours):
                continue
            text = self.words.get(ours, {}).get(cell.strip().lower(), cell)
            told[ours] = _converted(text, UNITS.get(ours, {}).get(self.units.get(ours, ""), 1.0))
        return told


@dataclass(frozen=True, slots=True)
class BookLayout:
    """What each layer of a file holds, by its name; `crs` is used where the file declares none."""

    layers: Mapping[str, LayerLayout] = field(default_factory=dict)
    crs: str = ""


def layout_by_names(name: str, columns: tuple[str, ...]) -> LayerLayout:
    """The layout of a layer whose names are the book's own: nothing is guessed.

    Parameters
    ----------
    name
        Name of the layer.
    columns
        Names of its columns; ten-letter names of shapefiles are known.
    """
    ours = {column: full_name(column) for column in columns}
    kind = BY_COLUMN if "kind" in ours.values() else kind_named(name)
    return LayerLayout(kind, ours)


def full_name(column: str) -> str:
    """A column's full name in the book's spelling.

    Parameters
    ----------
    column
        As the file writes it.
    """
    short = column.strip().lower()
    return ALIASES.get(short, short)


def columns_of(kind: str) -> tuple[str, ...]:
    """Columns that rows of a kind may have; with `*` those of every kind.

    Parameters
    ----------
    kind
        A kind of the book, or `*`.
    """
    kinds = list(KINDS) if kind == BY_COLUMN else [kind]
    names = dict.fromkeys(column.name for one in kinds if one in KINDS for column in KINDS[one].columns)
    return (*(("kind",) if kind == BY_COLUMN else ()), *names, *PLACE_COLUMNS)


def _converted(cell: str, factor: float) -> str:
    """A number in the book's unit; what is no number stays for the column to refuse."""
    if factor == 1.0:
        return cell
    try:
        return f"{float(cell) * factor:.6g}"
    except ValueError:
        return cell
