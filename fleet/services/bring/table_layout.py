"""Files whose names, words and units are not ours: what they may be, and the file as it would be in ours."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from fleet.services.bring.kinds import BOOK, TABLES
from sites.importing.book.column_guess import guessed_layout, meant_columns
from sites.importing.book.foreign_units import unit_named
from sites.importing.book.kinds import KINDS as BOOK_KINDS
from sites.importing.book.layout import BY_COLUMN, LayerLayout, columns_of
from sites.importing.book.raw_book import read_raw_book
from weather.calc.csv_cells import csv_lines
from weather.importing.rows import Column, choice


def columns_named(kind: str) -> dict[str, Column]:
    """Columns of a kind of the book or of a table, by name; with `*` those of every kind of the book.

    Parameters
    ----------
    kind
        A kind of the book, a kind of table, or `*`.
    """
    if kind in TABLES:
        return {column.name: column for column in TABLES[kind]}
    kinds = list(BOOK_KINDS) if kind == BY_COLUMN else [kind]
    found = {"kind": Column("kind", choice(tuple(BOOK_KINDS)))} if kind == BY_COLUMN else {}
    for one in (BOOK_KINDS[name] for name in kinds if name in BOOK_KINDS):
        for column in one.columns:
            found.setdefault(column.name, column)
    return found


def names_of(kind: str) -> tuple[str, ...]:
    """Names that a column of a file of a kind may be given.

    Parameters
    ----------
    kind
        As of `columns_named`.
    """
    return tuple(columns_named(kind)) if kind in TABLES else columns_of(kind)


def guess_of(name: str, columns: tuple[str, ...], shapes: frozenset[str], *, is_table: bool) -> LayerLayout:
    """What a layer may be, with the units that its names tell; for a person to look over.

    Parameters
    ----------
    name, columns, shapes
        Name of the layer, names of its columns, types of its shapes.
    is_table
        Whether it may be a table of another kind than the book.
    """
    best = guessed_layout(name, columns, shapes)
    for kind in TABLES if is_table else ():
        meant = meant_columns(columns, names_of(kind))
        if len(meant) > len(best.columns) or (len(meant) == len(best.columns) and _has_all(kind, meant)):
            best = LayerLayout(kind, meant)
    units = {ours: unit for theirs, ours in best.columns.items() if (unit := unit_named(theirs, ours))}
    return LayerLayout(best.kind, best.columns, units=units)


def lacking(layout: LayerLayout) -> tuple[Column, ...]:
    """Columns that a kind requires and no column of the file gives.

    Parameters
    ----------
    layout
        What the layer is.
    """
    if layout.kind in ("", BY_COLUMN):
        return ()
    told = set(layout.columns.values())
    return tuple(one for one in columns_named(layout.kind).values() if one.required and one.name not in told)


def mapped_table(path: Path, layout: LayerLayout, *, name: str) -> Path:
    """A file beside with our names, words and units; each row keeps its number, one with odd cells too.

    Parameters
    ----------
    path
        A table with a header.
    layout
        What its columns, words and units are.
    name
        Name that the person gave it.
    """
    raw = read_raw_book(path, name=name)
    ours = list(dict.fromkeys([*layout.columns.values(), *layout.fixed]))
    odd = [*([""] * len(ours)), "a cell too many or too few"]
    rows = {one.row: odd for one in raw.problems if one.row > 1}
    for layer in raw.layers:
        for number, cells in zip(layer.numbers, layer.cells, strict=True):
            told = layout.cells(cells)
            rows[number] = [told.get(column, "") for column in ours]
    mapped = path.with_suffix(".mapped")
    mapped.touch(mode=0o600)
    with mapped.open("w", encoding="utf-8", newline="") as stream:
        stream.writelines(csv_lines(ours, (rows.get(at, []) for at in range(2, max(rows, default=1) + 1))))
    return mapped


def kind_of_layouts(layers: Mapping[str, LayerLayout]) -> str:
    """The kind of a file by what its layers are.

    Parameters
    ----------
    layers
        What each layer is.
    """
    return next((one.kind for one in layers.values() if one.kind in TABLES), BOOK)


def _has_all(kind: str, meant: Mapping[str, str]) -> bool:
    """Whether every required column of a table is meant by one of the file."""
    return {column.name for column in TABLES[kind] if column.required} <= set(meant.values())
