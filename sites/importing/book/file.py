"""Reads a site book from any of its file forms into the same rows: kind, text values, shapes in WGS 84."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely

from sites.calc.geometry.areas import (
    WGS84,
    Geometries,
    UnknownReferenceSystem,
    as_array,
    reference_system,
    to_wgs84,
)
from sites.importing.book.kinds import KINDS, PLACE_COLUMNS
from sites.importing.book.layout import (
    BY_COLUMN,
    BookLayout,
    LayerLayout,
    columns_of,
    full_name,
    layout_by_names,
)
from sites.importing.book.raw_book import RawBook, RawLayer, read_raw_book
from weather.importing.rows import RowProblem


@dataclass(frozen=True, slots=True)
class BookRow:
    """One thing as its file tells it: `cells` are text, empty where the file has an empty cell.

    `number` counts the features of a collection or layer from 1; in CSV it is the spreadsheet's row.
    """

    number: int
    kind: str
    cells: dict[str, str]
    layer: str = ""
    is_right_handed: bool = False
    is_open: bool = False


@dataclass(slots=True)
class BookFile:
    """Rows of a book with their shapes in WGS 84, (rows,), and what could not be read."""

    name: str
    rows: list[BookRow] = field(default_factory=list)
    geometries: Geometries = field(default_factory=lambda: as_array([]))
    problems: list[RowProblem] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def name_of(self, layer: str) -> str:
        """How a problem names the file, or its layer."""
        return f"{self.name}, layer {layer}" if layer else self.name

    def refuse(self, row: int, column: str, value: object, expected: str, layer: str = "") -> None:
        """Note a problem; row 0 is the file itself, or its layer."""
        words = "" if value is None else str(value)
        self.problems.append(RowProblem(self.name_of(layer), row, column, words[:200], expected))


def read_book_file(path: Path, *, layout: BookLayout | None = None, name: str = "") -> BookFile:
    """The rows of a book file, whichever form it has; its content decides, not its name.

    Parameters
    ----------
    path
        The file; above 400 MB it is refused.
    layout
        What its layers and columns are; by default those that bear the book's own names.
    name
        Name that the person gave it; by default that of the path.
    """
    raw = read_raw_book(path, name=name)
    book = BookFile(raw.name, problems=list(raw.problems), warnings=list(raw.notes))
    _take_layers(book, raw, layout)
    if any(problem.row == 0 for problem in book.problems):
        book.rows, book.geometries = [], as_array([])
    return book


def _take_layers(book: BookFile, raw: RawBook, layout: BookLayout | None) -> None:
    """Rows of every layer that the layout takes."""
    parts: list[Geometries] = []
    for layer in raw.layers:
        plan = _plan_of(book, raw, layer, layout)
        if plan is None:
            continue
        rows: list[BookRow] = []
        kept: list[int] = []
        for at, number in enumerate(layer.numbers):
            cells = plan.cells(layer.cells[at])
            told = cells.pop("kind", "")
            kind = told or ("site" if raw.form == "CSV" else "") if plan.kind == BY_COLUMN else plan.kind
            if kind not in KINDS:
                book.refuse(number, "kind", kind, "one of " + ", ".join(KINDS), layer.name)
                continue
            rows.append(
                BookRow(number, kind, cells, layer.name, layer.is_right_handed, number in layer.open_rings)
            )
            kept.append(at)
        shapes = _points(book, rows) if raw.form == "CSV" else layer.shapes[kept]
        declared = layer.crs or (layout.crs if layout else "") or WGS84
        book.rows += rows
        parts.append(_placed(book, rows, shapes, declared))
    if not parts and not any(problem.row == 0 for problem in book.problems) and not book.problems:
        book.refuse(0, "", None, "a layer that is named after a kind: " + ", ".join(KINDS))
    book.geometries = np.concatenate(parts) if parts else as_array([])


def _plan_of(book: BookFile, raw: RawBook, layer: RawLayer, layout: BookLayout | None) -> LayerLayout | None:
    """The layout of a layer; None where it is left out, which is told."""
    plan = layout.layers.get(layer.name) if layout else layout_by_names(layer.name, layer.columns)
    if layout is None and raw.form == "GeoJSON" and plan is not None:
        plan = LayerLayout(BY_COLUMN, plan.columns)
    if layout is None and raw.form == "CSV" and plan is not None:
        plan = LayerLayout(BY_COLUMN, plan.columns)
        _check_header(book, layer)
    if plan is None or not plan.kind:
        book.warnings.append(f"layer {layer.name!r} is none of the kinds and was passed over")
        return None
    if layout is None:
        plan = LayerLayout(
            plan.kind,
            {theirs: ours for theirs, ours in plan.columns.items() if theirs not in layer.made_up},
        )
    return plan


def _check_header(book: BookFile, layer: RawLayer) -> None:
    """Columns of a CSV that nobody mapped must be the book's own."""
    known = set(columns_of("site")) | {"kind"}
    for theirs in layer.columns:
        if theirs and full_name(theirs) not in known:
            book.refuse(1, theirs, theirs, "one of the columns, once: " + ", ".join(sorted(known - {"kind"})))
    if "site" not in {full_name(theirs) for theirs in layer.columns}:
        book.refuse(1, "site", None, "a header line with a column site")


def _points(book: BookFile, rows: list[BookRow]) -> Geometries:
    """A point of each row that gives longitude and latitude; they are no columns of the book."""
    shapes = as_array([None] * len(rows))
    for at, row in enumerate(rows):
        told = [row.cells.pop(name, "") for name in PLACE_COLUMNS]
        if not any(told):
            continue
        try:
            place = [float(text) for text in told]
        except ValueError:
            place = [np.nan, np.nan]
        if np.isfinite(place).all():
            shapes[at] = shapely.Point(place)
        else:
            bad = next(
                (n for n, text in zip(PLACE_COLUMNS, told, strict=True) if not _is_finite(text)), "longitude"
            )
            book.refuse(
                row.number, bad, told[PLACE_COLUMNS.index(bad)], "degrees as a number, with its partner"
            )
    return shapes


def _is_finite(text: str) -> bool:
    """Whether a text is a number."""
    try:
        return bool(np.isfinite(float(text)))
    except ValueError:
        return False


def _placed(book: BookFile, rows: list[BookRow], shapes: Geometries, declared: str) -> Geometries:
    """Shapes in WGS 84; what the declared system cannot place is noted."""
    try:
        crs = reference_system(declared)
        if crs.is_projected and _look_like_degrees(shapes):
            book.refuse(0, "crs", declared, "a reference system in degrees: these coordinates are no metres")
            return shapes
        moved = to_wgs84(shapes, declared)
    except UnknownReferenceSystem as error:
        book.refuse(0, "crs", declared[:80], f"a reference system such as EPSG:26912; {error}")
        return shapes
    finite = np.isfinite(np.nan_to_num(shapely.bounds(moved).reshape(-1, 4), nan=0.0)).all(axis=1)
    moved = np.array(moved, dtype=object)
    # Moving drops the height; it is put back so that its loss is told.
    high = shapely.has_z(shapes) & ~shapely.has_z(moved)
    moved[high] = shapely.force_3d(moved[high], 0.0)
    for at in np.flatnonzero(~finite):
        row = rows[at]
        book.refuse(row.number, "geometry", shapes[at], f"coordinates that {declared} can place", row.layer)
    moved[~finite] = None
    return moved


def _look_like_degrees(shapes: Geometries) -> bool:
    """Whether all coordinates of a projected layer are small enough to be longitude and latitude."""
    corners = np.abs(shapely.get_coordinates(shapes))
    return bool(len(corners)) and bool((corners <= (180.0, 90.0)).all())
