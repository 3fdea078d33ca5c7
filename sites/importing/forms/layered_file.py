"""Looks at a GeoPackage or zipped shapefile before GDAL does; hands it over under an honest name."""

from __future__ import annotations

import io
import tempfile
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Final

from sites.importing.book.kinds import kind_named
from sites.importing.forms.gdal import Layer, read_layers
from sites.importing.forms.zip_door import BROKEN_ZIP, ZipNotTaken, members_of

SHAPEFILE_MEMBER_LIMIT: Final = 20
_GEOPACKAGE_IDS: Final = (b"GPKG", b"GP10", b"GP11")
_PARTS: Final = frozenset({".shp", ".shx", ".dbf", ".prj", ".cpg"})
_EXTRAS: Final = frozenset({".qix", ".sbn", ".sbx", ".qpj", ".qmd", ".xml", ".txt"})


class FileNotTaken(ValueError):
    """The file is not what it seems, or too large; says what is wrong."""


def layers_of_geopackage(content: bytes, row_limit: int) -> list[Layer]:
    """Layers of a GeoPackage.

    Parameters
    ----------
    content
        Bytes of the file.
    row_limit
        Most rows that are read.
    """
    if content[68:72] not in _GEOPACKAGE_IDS:
        raise FileNotTaken("a database that is no GeoPackage")
    return _read_as({"book.gpkg": content}, "book.gpkg", row_limit)


def text_of_kmz(content: bytes) -> bytes | None:
    """The KML text of a zip, or None where the zip holds none.

    Parameters
    ----------
    content
        Bytes of the zip file.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = members_of(archive, packed_bytes=len(content))
            texts = [one for one in members if Path(one.filename).suffix.lower() == ".kml"]
            return _unpacked(archive, texts[0]) if texts else None
    except ZipNotTaken as error:
        raise FileNotTaken(str(error)) from error
    except BROKEN_ZIP as error:
        raise FileNotTaken(f"a zip that cannot be unpacked: {error}") from error


def layers_of_shapefile(content: bytes, stem: str, row_limit: int) -> list[Layer]:
    """The one layer of a zipped shapefile, named after the .shp in it, or after the zip.

    Parameters
    ----------
    content
        Bytes of the zip file.
    stem
        Name of the zip file without its ending.
    row_limit
        Most rows that are read.
    """
    parts, name = _zip_parts(content)
    if parts["book.shp"][:4] != b"\x00\x00\x27\x0a":
        raise FileNotTaken("a .shp that is no shapefile")
    layers = _read_as(parts, "book.shp", row_limit)
    known = kind_named(name) or kind_named(stem)
    return [replace(layer, name=known or name) for layer in layers]


def _zip_parts(content: bytes) -> tuple[dict[str, bytes], str]:
    """Parts of the one shapefile in a zip, under a name of our own, and the name that it had."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = members_of(archive, packed_bytes=len(content))
            if len(members) > SHAPEFILE_MEMBER_LIMIT:
                raise FileNotTaken(f"a zip of more than {SHAPEFILE_MEMBER_LIMIT} files")
            parts: dict[str, bytes] = {}
            names: set[str] = set()
            for member in members:
                place = Path(member.filename)
                ending = place.suffix.lower()
                if ending in _EXTRAS or place.name.startswith(".") or "__MACOSX" in place.parts:
                    continue
                if ending not in _PARTS:
                    raise FileNotTaken(f"a zip with {place.name[:60]!r} beside the parts of one shapefile")
                names.add(place.stem)
                parts[f"book{ending}"] = _unpacked(archive, member)
    except ZipNotTaken as error:
        raise FileNotTaken(str(error)) from error
    except BROKEN_ZIP as error:
        raise FileNotTaken(f"a zip that cannot be unpacked: {error}") from error
    if len(names) != 1 or not {"book.shp", "book.shx", "book.dbf"} <= parts.keys():
        raise FileNotTaken("a zip without exactly one shapefile (.shp, .shx, .dbf and .prj)")
    return parts, names.pop()


def _unpacked(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bytes:
    """A member's bytes, never more than it said it had."""
    with archive.open(member) as stream:
        data = stream.read(member.file_size + 1)
    if len(data) > member.file_size:
        raise FileNotTaken("a zip that says less than it holds")
    return data


def _read_as(parts: dict[str, bytes], main: str, row_limit: int) -> list[Layer]:
    """Layers of files written to a folder of their own."""
    with tempfile.TemporaryDirectory(prefix="rootround-book-") as folder:
        for name, data in parts.items():
            (Path(folder) / name).write_bytes(data)
        return read_layers(Path(folder) / main, row_limit=row_limit)
