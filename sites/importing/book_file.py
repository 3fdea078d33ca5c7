"""Reads a site book from any of its file forms into the same rows: kind, text values, shapes in WGS 84."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry import (
    WGS84,
    Geometries,
    UnknownReferenceSystem,
    as_array,
    reference_system,
    to_wgs84,
    without_tiny_crossings,
)
from sites.importing.gdal import Layer, LayerNotReadable, Value
from sites.importing.geojson import (
    CollectionNotReadable,
    Json,
    ShapeNotReadable,
    collection_features,
    shape_of,
)
from sites.importing.kinds import ALIASES, KINDS
from sites.importing.layered_file import FileNotTaken, kml_layers, layers_of_geopackage, layers_of_shapefile
from weather.calc.csv_cells import plain_cell
from weather.importing.rows import RowProblem

FILE_LIMIT_BYTES: Final = 400_000_000
ROW_LIMIT: Final = 2_000_000
COORDINATE_DECIMALS: Final = 8
"""Places after the point that the book keeps [degrees]: about a millimetre, so that files repeat exactly."""

_FORMS: Final = "GeoJSON, GeoPackage, KML, a zipped shapefile, or CSV of sites"


@dataclass(frozen=True, slots=True)
class BookRow:
    """One thing as its file tells it: `cells` are text, empty where the file has an empty cell.

    `number` counts the features of a collection or layer from 1; in CSV it is the spreadsheet's row.
    """

    number: int
    kind: str
    cells: dict[str, str]
    layer: str = ""


@dataclass(slots=True)
class BookFile:
    """Rows of a book with their shapes in WGS 84, (rows,), and what could not be read."""

    name: str
    rows: list[BookRow] = field(default_factory=list)
    geometries: Geometries = field(default_factory=lambda: as_array([]))
    problems: list[RowProblem] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def refuse(self, row: int, column: str, value: object, expected: str, layer: str = "") -> None:
        """Note a problem; row 0 is the file itself, or its layer."""
        words = "" if value is None else str(value)
        file = f"{self.name}, layer {layer}" if layer else self.name
        self.problems.append(RowProblem(file, row, column, words[:200], expected))


def read_book_file(path: Path) -> BookFile:
    """The rows of a book file, whichever form it has; its content decides, not its name.

    Parameters
    ----------
    path
        The file; above 400 MB it is refused.
    """
    book = BookFile(path.name)
    try:
        size = path.stat().st_size
        if size > FILE_LIMIT_BYTES:
            book.refuse(0, "", f"{size} bytes", f"a file of at most {FILE_LIMIT_BYTES} bytes")
            return book
        _read(book, path, path.read_bytes())
    except OSError as error:
        book.refuse(0, "", error.strerror or "", "a readable file")
    except UnicodeDecodeError:
        book.refuse(0, "", "", "text in UTF-8")
    except (CollectionNotReadable, LayerNotReadable, FileNotTaken, csv.Error) as error:
        book.refuse(0, "", str(error), _FORMS)
    if book.problems and any(problem.row == 0 for problem in book.problems):
        book.rows, book.geometries = [], as_array([])
    return book


def _read(book: BookFile, path: Path, content: bytes) -> None:
    """Hand the content to the reader of its form."""
    start = content[:4096].removeprefix(b"\xef\xbb\xbf").lstrip()
    if content.startswith(b"SQLite format 3\x00"):
        _take_layers(book, layers_of_geopackage(content, ROW_LIMIT))
    elif content.startswith(b"PK\x03\x04"):
        _take_layers(book, layers_of_shapefile(content, path.stem, ROW_LIMIT))
    elif start.startswith(b"<"):
        _take_layers(book, kml_layers(content, ROW_LIMIT))
    elif start.startswith((b"{", b"[")):
        _take_collection(book, content.decode("utf-8-sig"))
    elif path.suffix.lower() in (".geojson", ".json"):
        raise CollectionNotReadable("broken JSON: the text does not begin with {")
    elif path.suffix.lower() == ".csv":
        _take_csv(book, content.decode("utf-8-sig"))
    else:
        raise FileNotTaken("content of no known form")


def _take_collection(book: BookFile, text: str) -> None:
    """Features of a GeoJSON collection."""
    declared, features = collection_features(text)
    if len(features) > ROW_LIMIT:
        raise CollectionNotReadable(f"more than {ROW_LIMIT} features")
    shapes: list[BaseGeometry | None] = []
    for number, feature in enumerate(features, start=1):
        properties = feature.get("properties") if isinstance(feature, dict) else None
        if not isinstance(feature, dict) or not isinstance(properties, dict):
            book.refuse(number, "properties", None, "a Feature with properties")
            continue
        try:
            shape = shape_of(feature.get("geometry"))
        except ShapeNotReadable as error:
            book.refuse(number, "geometry", _short(feature.get("geometry")), str(error))
            continue
        cells = _json_cells(book, number, properties)
        kind = cells.pop("kind", "")
        if kind not in KINDS:
            book.refuse(number, "kind", kind, "one of " + ", ".join(KINDS))
            continue
        book.rows.append(BookRow(number, kind, cells))
        shapes.append(shape)
    book.geometries = _placed(book, book.rows, as_array(shapes), declared)


def _json_cells(book: BookFile, number: int, properties: dict[str, Json]) -> dict[str, str]:
    """Properties as cells of text; a list of plain values is joined by semicolons."""
    cells: dict[str, str] = {}
    for name, value in properties.items():
        parts = value if isinstance(value, list) else [value]
        plain = [part for part in parts if not isinstance(part, (list, dict))]
        cell = ";".join(_text(part) for part in plain)
        if len(plain) < len(parts) or _has_half_letter(name + cell):
            book.refuse(number, ascii(name)[1:-1], ascii(value)[:80], "a plain text, a number, true or false")
            continue
        cells[_column(name)] = cell
    return cells


def _has_half_letter(text: str) -> bool:
    """Whether a text holds half of a surrogate pair, which JSON can spell and no database holds."""
    return any("\ud800" <= letter <= "\udfff" for letter in text)


def _take_csv(book: BookFile, text: str) -> None:
    """Sites of a CSV file, which has no shapes."""
    records = csv.reader(io.StringIO(text, newline=""), strict=True)
    header = [_column(cell) for cell in next(records, [])]
    known = {"kind", *(column.name for column in KINDS["site"].columns)}
    for name in header:
        if name not in known or header.count(name) > 1:
            book.refuse(1, name, name, "one of the columns, once: " + ", ".join(sorted(known - {"kind"})))
    if "site" not in header:
        book.refuse(1, "site", None, "a header line with a column site")
    if book.problems:
        return
    for number, record in enumerate(records, start=2):
        if not any(cell.strip() for cell in record):
            continue
        if len(record) != len(header):
            book.refuse(number, "", len(record), f"{len(header)} cells, as in the header")
            continue
        cells = {name: plain_cell(cell) for name, cell in zip(header, record, strict=True)}
        kind = cells.pop("kind", "") or "site"
        if kind == "site":
            book.rows.append(BookRow(number, kind, cells))
        else:
            book.refuse(number, "kind", kind, "site: other kinds need a form with shapes")
    book.geometries = as_array([None] * len(book.rows))


def _take_layers(book: BookFile, layers: list[Layer]) -> None:
    """Rows of a GeoPackage, KML or shapefile."""
    parts: list[Geometries] = []
    for layer in layers:
        name = layer.name.strip().lower()
        columns = [_column(column) for column in layer.columns]
        if name not in KINDS and "kind" not in columns:
            book.warnings.append(f"layer {layer.name!r} is none of the kinds and was passed over")
            continue
        rows = []
        kept = []
        for at, values in enumerate(layer.rows):
            cells = {column: _text(value) for column, value in zip(columns, values, strict=True)}
            kind = cells.pop("kind", "") or name
            if kind not in KINDS:
                book.refuse(at + 1, "kind", kind, "one of " + ", ".join(KINDS), layer.name)
                continue
            rows.append(BookRow(at + 1, kind, cells, layer.name))
            kept.append(at)
        book.rows += rows
        parts.append(_placed(book, rows, layer.geometries[kept], layer.crs or WGS84))
    if not parts:
        raise FileNotTaken("no layer that is named after a kind")
    book.geometries = np.concatenate(parts)


def _placed(book: BookFile, rows: list[BookRow], shapes: Geometries, declared: str) -> Geometries:
    """Shapes in WGS 84, rounded and in canonical order; what the declared system cannot place is noted."""
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
    for at in np.flatnonzero(~finite):
        row = rows[at]
        book.refuse(row.number, "geometry", shapes[at], f"coordinates that {declared} can place", row.layer)
    moved[~finite] = None
    with_height = int(np.count_nonzero(shapely.has_z(moved)))
    if with_height:
        book.warnings.append(f"{with_height} shapes come with heights; the book keeps the plan only")
    canonical, mended = without_tiny_crossings(canonical_shapes(moved))
    if mended.any():
        numbers = ", ".join(str(rows[at].number) for at in np.flatnonzero(mended)[:10])
        book.warnings.append(f"slips of drawing under 0.1 % of the area were mended in rows {numbers}")
    return np.asarray(shapely.normalize(canonical), dtype=object)


def _look_like_degrees(shapes: Geometries) -> bool:
    """Whether all coordinates of a projected layer are small enough to be longitude and latitude."""
    corners = np.abs(shapely.get_coordinates(shapes))
    return bool(len(corners)) and bool((corners <= (180.0, 90.0)).all())


def canonical_shapes(shapes: Geometries) -> Geometries:
    """Shapes on the book's grid of decimals, in GEOS's normal form; a lone part stands alone."""
    rounded = shapely.transform(shapes, lambda xy: np.round(xy, COORDINATE_DECIMALS) + 0.0, include_z=False)
    single = (shapely.get_num_geometries(rounded) == 1) & (shapely.get_type_id(rounded) > 3)
    rounded[single] = shapely.get_geometry(rounded[single], 0)
    return np.asarray(shapely.normalize(rounded), dtype=object)


def _column(name: str) -> str:
    """A column's full name."""
    short = name.strip().lower()
    return ALIASES.get(short, short)


def _text(value: Value | Json) -> str:
    """A cell as text: whole numbers without a point, no value as an empty cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value).strip()


def _short(value: object) -> str:
    """A value cut to what a line can hold."""
    return str(value)[:80]
