"""A book's file as it stands: layers of rows with the file's own column names, before anything is mapped."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from shapely.geometry.base import BaseGeometry

from sites.calc.geometry.areas import Geometries, as_array
from sites.importing.forms.gdal import Layer, LayerNotReadable, Value
from sites.importing.forms.geojson import (
    CollectionNotReadable,
    Json,
    ShapeNotReadable,
    collection_features,
    has_open_ring,
    shape_of,
)
from sites.importing.forms.kml import KmlLayer, kml_layers
from sites.importing.forms.layered_file import (
    FileNotTaken,
    layers_of_geopackage,
    layers_of_shapefile,
    text_of_kmz,
)
from sites.importing.forms.tables_of_text import TableNotReadable, delimiter_of, text_table
from weather.importing.rows import RowProblem

FILE_LIMIT_BYTES: Final = 400_000_000
ROW_LIMIT: Final = 2_000_000

_FORMS: Final = "GeoJSON, GeoPackage, KML, a zipped shapefile, or CSV of sites"


@dataclass(slots=True)
class RawLayer:
    """One layer as the file tells it.

    Parameters
    ----------
    name
        Name of the layer; empty where the form has none.
    crs
        Reference system that the file declares; None where it declares none.
    columns
        Names of the columns as the file writes them, in its order.
    numbers
        Number of each row: features count from 1, rows of a CSV as in a spreadsheet.
    cells
        Cells of each row as text, by column.
    shapes
        Shapes in the declared system, (rows,).
    is_right_handed
        Whether the form asks for outer rings counter-clockwise.
    open_rings
        Numbers of the rows with a ring whose last position is not the first.
    made_up
        Columns that the form has no name for, such as the folder of a placemark.
    """

    name: str
    crs: str | None
    columns: tuple[str, ...]
    numbers: list[int]
    cells: list[dict[str, str]]
    shapes: Geometries
    is_right_handed: bool = False
    open_rings: frozenset[int] = frozenset()
    made_up: frozenset[str] = frozenset()


@dataclass(slots=True)
class RawBook:
    """Layers of a file, what could not be read, and how it was read. `form` is empty where nothing was."""

    name: str
    form: str = ""
    layers: list[RawLayer] = field(default_factory=list)
    problems: list[RowProblem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def refuse(self, row: int, column: str, value: object, expected: str) -> None:
        """Note a problem; row 0 is the file itself."""
        words = "" if value is None else str(value)
        self.problems.append(RowProblem(self.name, row, column, words[:200], expected))


def read_raw_book(path: Path, *, name: str = "") -> RawBook:
    """The layers of a book file, whichever form it has; its content decides, not its name.

    Parameters
    ----------
    path
        The file; above 400 MB it is refused.
    name
        Name that the person gave it; by default that of the path.
    """
    book = RawBook(name or path.name)
    try:
        size = path.stat().st_size
        if size > FILE_LIMIT_BYTES:
            book.refuse(0, "", f"{size} bytes", f"a file of at most {FILE_LIMIT_BYTES} bytes")
            return book
        _read(book, path.read_bytes())
    except OSError as error:
        book.refuse(0, "", error.strerror or "", "a readable file")
    except UnicodeDecodeError:
        book.refuse(0, "", "", "text in UTF-8")
    except (CollectionNotReadable, LayerNotReadable, FileNotTaken, TableNotReadable, csv.Error) as error:
        book.refuse(0, "", str(error), _FORMS)
    if any(problem.row == 0 for problem in book.problems):
        book.layers = []
    return book


def _read(book: RawBook, content: bytes) -> None:
    """Hand the content to the reader of its form."""
    start = content[:4096].removeprefix(b"\xef\xbb\xbf").lstrip()
    ending = Path(book.name).suffix.lower()
    if content.startswith(b"SQLite format 3\x00"):
        book.form = "GeoPackage"
        book.layers = [_of_gdal(layer) for layer in layers_of_geopackage(content, ROW_LIMIT)]
    elif content.startswith(b"PK\x03\x04"):
        _read_zip(book, content)
    elif start.startswith(b"<"):
        book.form = "KML"
        book.layers = [_of_kml(book, layer) for layer in kml_layers(content, ROW_LIMIT)]
    elif start.startswith((b"{", b"[")):
        book.form = "GeoJSON"
        _take_collection(book, content.decode("utf-8-sig"))
    elif ending in (".geojson", ".json"):
        raise CollectionNotReadable("broken JSON: the text does not begin with {")
    elif ending == ".csv" or _looks_like_table(start):
        book.form = "CSV"
        _take_csv(book, _text_of(book, content))
    else:
        raise FileNotTaken("content of no known form")


def _looks_like_table(start: bytes) -> bool:
    """Whether a text begins with a line of several cells."""
    line = start.partition(b"\n")[0]
    return any(sign in line for sign in (b",", b";", b"\t")) and b"\x00" not in start


def _text_of(book: RawBook, content: bytes) -> str:
    """A table's text; one that is no UTF-8 is read as spreadsheets of old write it, which is told."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("cp1252")
        book.notes.append("its letters are no UTF-8 and were read as Windows-1252: look at those with marks")
        return text


def _read_zip(book: RawBook, content: bytes) -> None:
    """A zip holds a KML text, or one shapefile."""
    text = text_of_kmz(content)
    if text is not None:
        book.form = "KML"
        book.layers = [_of_kml(book, layer) for layer in kml_layers(text, ROW_LIMIT)]
        return
    book.form = "shapefile"
    book.layers = [_of_gdal(layer) for layer in layers_of_shapefile(content, Path(book.name).stem, ROW_LIMIT)]


def _of_gdal(layer: Layer) -> RawLayer:
    """A layer that GDAL read."""
    cells = [
        {column: text_of(value) for column, value in zip(layer.columns, row, strict=True)}
        for row in layer.rows
    ]
    numbers = list(range(1, len(cells) + 1))
    return RawLayer(layer.name, layer.crs, layer.columns, numbers, cells, layer.geometries)


def _of_kml(book: RawBook, layer: KmlLayer) -> RawLayer:
    """A layer of placemarks; those whose shape cannot be read are noted."""
    for mark in layer.marks:
        if mark.unreadable:
            book.refuse(mark.number, "geometry", mark.unreadable[0], mark.unreadable[1])
    good = [mark for mark in layer.marks if not mark.unreadable]
    return RawLayer(
        name=layer.name,
        crs=None,
        columns=tuple(dict.fromkeys(name for mark in good for name in mark.cells)),
        numbers=[mark.number for mark in good],
        cells=[mark.cells for mark in good],
        shapes=as_array([mark.shape for mark in good]),
        is_right_handed=True,
        open_rings=frozenset(mark.number for mark in good if mark.is_open),
        made_up=frozenset({"folder", "description"}),
    )


def _take_collection(book: RawBook, text: str) -> None:
    """Features of a GeoJSON collection."""
    declared, features = collection_features(text)
    if len(features) > ROW_LIMIT:
        raise CollectionNotReadable(f"more than {ROW_LIMIT} features")
    shapes: list[BaseGeometry | None] = []
    numbers: list[int] = []
    rows: list[dict[str, str]] = []
    open_rings: set[int] = set()
    for number, feature in enumerate(features, start=1):
        properties = feature.get("properties") if isinstance(feature, dict) else None
        if not isinstance(feature, dict) or not isinstance(properties, dict):
            book.refuse(number, "properties", None, "a Feature with properties")
            continue
        geometry = feature.get("geometry")
        try:
            shape = shape_of(geometry)
        except ShapeNotReadable as error:
            book.refuse(number, "geometry", str(geometry)[:80], str(error))
            continue
        if shape is not None and has_open_ring(geometry):
            open_rings.add(number)
        numbers.append(number)
        rows.append(_json_cells(book, number, properties))
        shapes.append(shape)
    columns = tuple(dict.fromkeys(name for cells in rows for name in cells))
    layer = RawLayer(
        "", declared, columns, numbers, rows, as_array(shapes), declared is None, frozenset(open_rings)
    )
    book.layers = [layer]


def _json_cells(book: RawBook, number: int, properties: dict[str, Json]) -> dict[str, str]:
    """Properties as cells of text; a list of plain values is joined by semicolons."""
    cells: dict[str, str] = {}
    for name, value in properties.items():
        parts = value if isinstance(value, list) else [value]
        plain = [part for part in parts if not isinstance(part, (list, dict))]
        cell = ";".join(text_of(part) for part in plain)
        if len(plain) < len(parts) or _has_half_letter(name + cell):
            book.refuse(number, ascii(name)[1:-1], ascii(value)[:80], "a plain text, a number, true or false")
            continue
        cells[name] = cell
    return cells


def _has_half_letter(text: str) -> bool:
    """Whether a text holds half of a surrogate pair, which JSON can spell and no database holds."""
    return any("\ud800" <= letter <= "\udfff" for letter in text)


def _take_csv(book: RawBook, text: str) -> None:
    """Rows of a CSV file, which has no shapes."""
    delimiter = delimiter_of(text.partition("\n")[0])
    if delimiter != ",":
        book.notes.append(f"its cells are parted by {'semicolons' if delimiter == ';' else 'tabs'}")
    table = text_table(io.StringIO(text, newline=""), delimiter=delimiter)
    for name in sorted({name for name in table.header if table.header.count(name) > 1}):
        book.refuse(1, name, name, "each column once")
    for number, found in table.too_long:
        book.refuse(number, "", found, f"{len(table.header)} cells, as in the header")
    shapes = as_array([None] * len(table.rows))
    book.layers = [RawLayer("", None, tuple(table.header), table.numbers, table.rows, shapes)]


def text_of(value: Value | Json) -> str:
    """A cell as text: whole numbers without a point, no value as an empty cell.

    Parameters
    ----------
    value
        A cell of any form.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value).strip()


def rows_of(layer: RawLayer) -> int:
    """How many rows a layer has."""
    return len(layer.numbers)
