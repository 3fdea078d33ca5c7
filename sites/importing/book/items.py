"""A site book from its file: its items by kind, and every problem met on the way."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry.areas import Geometries, as_array
from sites.importing.book.file import BookFile, BookRow, read_book_file
from sites.importing.book.kinds import KINDS, Kind
from sites.importing.book.layout import BookLayout
from weather.importing.rows import CellError, Column, RowProblem

Key = tuple[str | int, ...]
SHAPE_KEYED = ("wire", "structure", "sprinkler", "water_meter", "shutoff", "backflow_preventer")
"""Kinds whose things have no name of their own: one is known by its shape."""


@dataclass(slots=True)
class BookItem:
    """One thing of the book that a file tells of.

    Parameters
    ----------
    row
        Number of its row in the file or layer.
    layer
        Name of the layer; empty where the file has none.
    kind
        Its kind.
    key
        Natural key: codes, station, name or fingerprint of the shape.
    values
        What the file says, by column; an empty cell stands there as the column's default.
    given
        Columns with a cell that is not empty.
    shape
        Its shape in WGS 84, or None.
    is_right_handed, is_open
        Whether its form asks for counter-clockwise rings; whether a ring was left open.
    repaired
        Repairs that were made with somebody's word: fault, and area before and after [m2].
    """

    row: int
    layer: str
    kind: str
    key: Key
    values: dict[str, object]
    given: frozenset[str]
    shape: BaseGeometry | None
    is_refused: bool = False
    is_right_handed: bool = False
    is_open: bool = False
    repaired: tuple[str, ...] = ()

    @property
    def site(self) -> str:
        """Code of its site."""
        return str(self.values["site"])

    @property
    def controller(self) -> tuple[str, str]:
        """Codes of its site and controller."""
        return str(self.values["site"]), str(self.values["controller"])

    @property
    def station(self) -> int:
        """Its station."""
        station = self.values["station"]
        return station if isinstance(station, int) else 0

    def number(self, column: str) -> float | None:
        """A number that the file gives, or None."""
        value = self.values.get(column)
        return float(value) if isinstance(value, (int, float)) and column in self.given else None

    def label(self) -> str:
        """Row and thing, for a sentence."""
        where = f"layer {self.layer}, row {self.row}" if self.layer else f"row {self.row}"
        named = "/".join(str(part) for part in self.key) if self.kind not in SHAPE_KEYED else self.site
        return f"{where} ({self.kind} {named})"


@dataclass(slots=True)
class Book:
    """Items of a file by kind, with what is wrong and what is worth a look."""

    file: BookFile
    # Names of rows with a bad cell, by kind: they too stand in the file.
    broken: dict[str, list[tuple[Key, int]]] = field(default_factory=lambda: {kind: [] for kind in KINDS})
    items: dict[str, list[BookItem]] = field(default_factory=lambda: {kind: [] for kind in KINDS})

    @property
    def problems(self) -> list[RowProblem]:
        """Everything that was refused."""
        return self.file.problems

    @property
    def warnings(self) -> list[str]:
        """Everything that is kept and worth a look."""
        return self.file.warnings

    def good(self, *kinds: str) -> list[BookItem]:
        """Items of the kinds that are not refused, in the order of the file."""
        return [item for kind in kinds or KINDS for item in self.items[kind] if not item.is_refused]

    def refuse(self, item: BookItem, column: str, value: object, expected: str) -> None:
        """Refuse an item."""
        item.is_refused = True
        self.file.refuse(item.row, column, value, expected, item.layer)


def shapes_of(items: list[BookItem]) -> Geometries:
    """Shapes of items, (items,)."""
    return as_array([item.shape for item in items])


def parse_book(path: Path, *, layout: BookLayout | None = None, name: str = "") -> Book:
    """The items of a file whose cells are what their columns want, with no look beyond each row.

    Parameters
    ----------
    path
        A book in any of its forms.
    layout
        What its layers and columns are; by default those that bear the book's own names.
    name
        Name that the person gave the file; by default that of the path.
    """
    file = read_book_file(path, layout=layout, name=name)
    book = Book(file)
    passed_over: dict[tuple[str, str], int] = {}
    for row, shape in zip(file.rows, file.geometries, strict=True):
        kind = KINDS[row.kind]
        item = _item(book, kind, row, shape)
        if item is not None:
            book.items[row.kind].append(item)
        for name in row.cells.keys() - {column.name for column in kind.columns}:
            passed_over[row.kind, name] = passed_over.get((row.kind, name), 0) + 1
    for (name, column), count in sorted(passed_over.items()):
        times = "once" if count == 1 else f"{count} times"
        book.warnings.append(f"{name}: the book has no column {column!r}; passed over {times}")
    return book


def _item(book: Book, kind: Kind, row: BookRow, shape: BaseGeometry | None) -> BookItem | None:
    """A row's item, or None with its problems and its name noted."""
    file = book.file
    values: dict[str, object] = {}
    given: set[str] = set()
    is_bad = False
    for column in kind.columns:
        text = row.cells.get(column.name)
        if not text:
            if column.required:
                file.refuse(row.number, column.name, "", f"a value for {column.name}", row.layer)
                is_bad = True
            elif text is not None:
                values[column.name] = column.default
            continue
        try:
            values[column.name] = column.parse(text)
            given.add(column.name)
        except CellError as error:
            file.refuse(row.number, column.name, text, str(error), row.layer)
            is_bad = True
    if shape is None and kind.needs_shape:
        file.refuse(row.number, "geometry", None, f"a {_words(kind)}", row.layer)
        is_bad = True
    key = tuple(part for name in kind.key if isinstance(part := values.get(name), (str, int)))
    if is_bad:
        if len(key) == len(kind.key):
            book.broken[kind.name].append((key, row.number))
        return None
    return BookItem(
        row.number, row.layer, kind.name, key, values, frozenset(given), shape,
        is_right_handed=row.is_right_handed, is_open=row.is_open,
    )  # fmt: skip


def settle_shapes(book: Book) -> None:
    """Refuse shapes of a type that their kind may not have; name the things that are known by their shape.

    Parameters
    ----------
    book
        Items whose shapes are as they will be stored.
    """
    for item in book.good():
        kind = KINDS[item.kind]
        if item.shape is not None and item.shape.geom_type not in kind.shapes:
            book.refuse(item, "geometry", item.shape.geom_type, f"a {_words(kind)}")
        elif item.kind in SHAPE_KEYED and item.shape is not None:
            item.key = (*item.key[: len(kind.key)], fingerprint(item.shape))


def _words(kind: Kind) -> str:
    """Types of shape of a kind, the plain ones."""
    return " or ".join(sorted(name for name in kind.shapes if not name.startswith("Multi")))


def fingerprint(shape: BaseGeometry) -> str:
    """Name of a thing that has none: a hash of its shape in the book's canonical form."""
    return hashlib.sha1(shapely.to_wkb(shape), usedforsecurity=False).hexdigest()


def defaults_of(kind: str) -> dict[str, object]:
    """What stands in a new row where the file says nothing, by column."""
    return {column.name: column.default for column in KINDS[kind].columns if not column.required}


def assumed_columns(kind: str) -> tuple[Column, ...]:
    """Columns whose default is a value of its own, so that it must be marked as assumed."""
    return tuple(column for column in KINDS[kind].columns if column.default not in (None, ""))


def check_day(book: Book, item: BookItem, column: str, today: date) -> None:
    """Refuse a day that has not come yet."""
    value = item.values.get(column)
    if isinstance(value, date) and value > today:
        book.refuse(item, column, value, f"a day up to {today}")
