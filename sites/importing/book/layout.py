"""How a file's layers, columns, words and units become the book's: as told, or by the names alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from sites.importing.book.foreign_units import converted
from sites.importing.book.kinds import ALIASES, KINDS, PLACE_COLUMNS, kind_named

BY_COLUMN: Final = "*"
"""Stands for the kind of a layer whose rows tell it in their column `kind`."""


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
    fixed
        The book's column -> what stands in it in every row, where the file has no such column.
    has_comma
        Whether the file's numbers have a decimal comma.
    is_settled
        Whether a person has looked at words and units.
    """

    kind: str
    columns: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    fixed: Mapping[str, str] = field(default_factory=dict)
    has_comma: bool = False
    is_settled: bool = False

    def cells(self, raw: Mapping[str, str]) -> dict[str, str]:
        """A row's cells under the book's names, in its words and units."""
        told: dict[str, str] = {}
        for theirs, cell in raw.items():
            ours = self.columns.get(theirs, "")
            if not ours or told.get(ours):
                continue
            text = self.words.get(ours, {}).get(cell.strip().lower(), cell)
            told[ours] = converted(text, ours, self.units.get(ours, ""), has_comma=self.has_comma)
        return dict(self.fixed) | told


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
