"""Placemarks of a KML text, read by hand: nested folders, nested multi-geometries, names wherever they stand.

Nothing but the text itself is looked at: a text that declares entities or links to other files is refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Final
from xml.parsers import expat

import shapely
from shapely.geometry.base import BaseGeometry

from sites.importing.book.kinds import kind_named
from sites.importing.forms.geojson import ShapeNotReadable
from sites.importing.forms.layered_file import FileNotTaken

_SHAPES: Final = ("Point", "LineString", "LinearRing", "Polygon", "MultiGeometry")
_PAIR: Final = re.compile(r"^\s*([^:=<>]{1,60}?)\s*[:=]\s*(.*?)\s*$")
_ROW: Final = re.compile(r"<tr[^>]*>(.*?)</tr>", re.IGNORECASE | re.DOTALL)
_CELL: Final = re.compile(r"<t[dh][^>]*>(.*?)</t[dh]>", re.IGNORECASE | re.DOTALL)
_TAG: Final = re.compile(r"<[^>]*>")
_DEEPEST: Final = 100


@dataclass(slots=True)
class Placemark:
    """One placemark: number in its layer, cells, shape; `unreadable` is (value, what was expected)."""

    number: int
    cells: dict[str, str]
    shape: BaseGeometry | None = None
    is_open: bool = False
    unreadable: tuple[str, str] | None = None


@dataclass(slots=True)
class KmlLayer:
    """Placemarks of the folders that bear the same kind, or the same name."""

    name: str
    marks: list[Placemark] = field(default_factory=list)


@dataclass(slots=True)
class _Node:
    """An element inside a placemark."""

    tag: str
    attributes: dict[str, str]
    text: str = ""
    children: list[_Node] = field(default_factory=list)

    def first(self, tag: str) -> _Node | None:
        return next((child for child in self.children if child.tag == tag), None)

    def all(self, tag: str) -> list[_Node]:
        return [child for child in self.children if child.tag == tag]


def kml_layers(content: bytes, row_limit: int) -> list[KmlLayer]:
    """The placemarks of a KML text by layer: the nearest folder that is named after a kind, else the nearest.

    Parameters
    ----------
    content
        Bytes of the text.
    row_limit
        Most placemarks that are read.

    Raises
    ------
    FileNotTaken
        No KML, broken XML, entities of its own, links to other files, or too many placemarks.
    """
    reader = _Reader(row_limit)
    try:
        reader.parser.Parse(content, True)
    except expat.ExpatError as error:
        raise FileNotTaken(f"broken XML: {error}") from error
    return list(reader.layers.values())


class _Reader:
    """Follows the elements of a text: folders on the way down, one placemark at a time."""

    def __init__(self, row_limit: int) -> None:
        self.layers: dict[str, KmlLayer] = {}
        self.left = row_limit
        self.folders: list[str] = []
        self.path: list[str] = []
        self.nodes: list[_Node] = []
        self.text: list[str] = []
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self.text.append
        self.parser.StartDoctypeDeclHandler = _refuse_doctype

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        tag = name.rpartition(":")[2]
        if not self.path and tag != "kml":
            raise FileNotTaken(f"an XML text <{name[:40]}> that is no KML")
        if tag == "NetworkLink":
            raise FileNotTaken("a KML with links to other files")
        if len(self.path) > _DEEPEST:
            raise FileNotTaken(f"a KML nested deeper than {_DEEPEST} elements")
        self.path.append(tag)
        self.text.clear()
        if tag in ("Folder", "Document"):
            self.folders.append("")
        if tag == "Placemark" or self.nodes:
            node = _Node(tag, attributes)
            if self.nodes:
                self.nodes[-1].children.append(node)
            self.nodes.append(node)

    def _end(self, name: str) -> None:
        tag = name.rpartition(":")[2]
        self.path.pop()
        text = "".join(self.text).strip()
        self.text.clear()
        if self.nodes:
            node = self.nodes.pop()
            node.text = text
            if tag == "Placemark":
                self._take(node)
        elif tag == "name" and self.path and self.path[-1] in ("Folder", "Document"):
            self.folders[-1] = text
        elif tag in ("Folder", "Document"):
            self.folders.pop()

    def _take(self, node: _Node) -> None:
        """One placemark into its layer."""
        self.left -= 1
        if self.left < 0:
            raise FileNotTaken("more placemarks than are read at once")
        names = [name for name in reversed(self.folders) if name]
        kind = next((name for name in names if kind_named(name)), "")
        layer_name = kind_named(kind) or (names[0] if names else "")
        layer = self.layers.setdefault(layer_name, KmlLayer(layer_name))
        mark = Placemark(len(layer.marks) + 1, _cells(node))
        folder = next((name for name in names if name != kind), "")
        if folder and "folder" not in mark.cells:
            mark.cells["folder"] = folder
        _shape_into(mark, node)
        layer.marks.append(mark)


def _refuse_doctype(*declared: object) -> None:
    """A text may declare no entities."""
    del declared
    raise FileNotTaken("an XML text with a document type of its own")


def _cells(node: _Node) -> dict[str, str]:
    """What a placemark says: its extended data, then pairs of its description, then its own name."""
    cells: dict[str, str] = {}
    for data in (child for block in node.all("ExtendedData") for child in block.children):
        if data.tag == "Data":
            value = data.first("value")
            _put(cells, data.attributes.get("name", ""), value.text if value else "")
        elif data.tag == "SchemaData":
            for simple in data.all("SimpleData"):
                _put(cells, simple.attributes.get("name", ""), simple.text)
    description = node.first("description")
    if description is not None and description.text:
        pairs = _pairs(description.text)
        for key, told in pairs:
            _put(cells, key, told)
        if not pairs:
            _put(cells, "description", _plain(description.text)[:2_000])
    label = node.first("name")
    if label is not None:
        _put(cells, "name", label.text)
    return cells


def _put(cells: dict[str, str], name: str, value: str) -> None:
    """A cell, unless the same column, however it is written, has one already."""
    if name.strip() and name.strip().lower() not in {known.lower() for known in cells if cells[known]}:
        cells[name.strip()] = value.strip()


def _pairs(text: str) -> list[tuple[str, str]]:
    """Names and values of a description: a table of two columns, or lines as `name: value`."""
    rows = [[_plain(cell) for cell in _CELL.findall(row)] for row in _ROW.findall(text)]
    if rows:
        return [(row[0].rstrip(":"), row[1]) for row in rows if len(row) == 2 and 0 < len(row[0]) <= 60]
    lines = [line for part in re.split(r"<br\s*/?>|</p>", text) for line in _plain(part).splitlines()]
    found = [_PAIR.match(line) for line in lines if line.strip()]
    return [(match[1], match[2]) for match in found if match] if found and all(found) else []


def _plain(text: str) -> str:
    """Text without its markup."""
    bare = _TAG.sub(" ", text).replace("&nbsp;", " ").replace("&lt;", "<").replace("&gt;", ">")
    return bare.replace("&quot;", '"').replace("&amp;", "&").strip()


def _shape_into(mark: Placemark, node: _Node) -> None:
    """The placemark's shape, or why it cannot be read."""
    drawn = [child for child in node.children if child.tag in _SHAPES]
    parts: list[BaseGeometry] = []
    try:
        for child in drawn:
            mark.is_open |= _collect(child, parts)
        mark.shape = _together(parts)
    except ShapeNotReadable as error:
        mark.unreadable = ("a shape", str(error))
    except shapely.errors.GEOSException as error:
        mark.unreadable = (str(error)[:80], "a shape that can be built")


def _collect(node: _Node, parts: list[BaseGeometry]) -> bool:
    """Append a shape, or the members of a multi-geometry at any depth; whether a ring was left open."""
    if node.tag == "MultiGeometry":
        is_open = False
        for child in node.children:
            is_open |= child.tag in _SHAPES and _collect(child, parts)
        return is_open
    if node.tag == "Polygon":
        shell = _ring(node.first("outerBoundaryIs"))
        holes = [_ring(inner) for inner in node.all("innerBoundaryIs")]
        rings = [shell, *holes]
        parts.append(shapely.Polygon(shell, holes))
        return any(ring[0] != ring[-1] for ring in rings)
    positions = _positions(node.first("coordinates"), 1 if node.tag == "Point" else 2)
    if node.tag == "Point":
        parts.append(shapely.Point(positions[0]))
    else:
        parts.append(shapely.LineString(positions))
    return False


def _ring(boundary: _Node | None) -> list[tuple[float, ...]]:
    """Positions of a boundary's ring."""
    ring = boundary.first("LinearRing") if boundary is not None else None
    return _positions(ring.first("coordinates") if ring is not None else None, 3)


def _positions(node: _Node | None, at_least: int) -> list[tuple[float, ...]]:
    """Positions of a coordinates text, all with or all without height."""
    text = node.text if node is not None else ""
    positions: list[tuple[float, ...]] = []
    for word in re.sub(r"\s*,\s*", ",", text).split():
        try:
            numbers = tuple(float(part) for part in word.split(",")[:3] if part)
        except ValueError:
            numbers = ()
        if len(numbers) < 2 or any(abs(number) > 1e9 or number != number for number in numbers):
            raise ShapeNotReadable(f"positions as longitude,latitude; not {word[:40]!r}")
        positions.append(numbers)
    if len(set(positions)) < at_least:
        raise ShapeNotReadable(f"at least {at_least} different positions")
    if len({len(position) for position in positions}) > 1:
        positions = [position[:2] for position in positions]
    return positions


def _together(parts: list[BaseGeometry]) -> BaseGeometry | None:
    """Parts as one shape: alone, as many of one type, or as a collection."""
    if len(parts) < 2:
        return parts[0] if parts else None
    if any(part.has_z for part in parts) and not all(part.has_z for part in parts):
        parts = [shapely.force_2d(part) for part in parts]
    types = {part.geom_type for part in parts}
    many: dict[str, type[BaseGeometry]] = {
        "Point": shapely.MultiPoint,
        "LineString": shapely.MultiLineString,
        "Polygon": shapely.MultiPolygon,
    }
    return (many[types.pop()] if len(types) == 1 else shapely.GeometryCollection)(parts)  # type: ignore[call-arg]
