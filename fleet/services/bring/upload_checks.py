"""What a file is by its first bytes, and whether it may stay: size by kind, and what a zip would grow to."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Final

from sites.importing.forms.zip_door import BROKEN_ZIP, ZipNotTaken, members_of

LIMIT_BYTES: Final = 200_000_000
"""Largest file of any kind."""

LIMITS: Final[dict[str, int]] = {
    "GeoJSON or rules (JSON)": 200_000_000,
    "GeoPackage": 200_000_000,
    "zip": 100_000_000,
    "KML": 100_000_000,
    "table of text": 100_000_000,
}
"""Largest size by form [bytes]."""

_STRANGERS: Final[tuple[tuple[bytes, str], ...]] = (
    (b"%PDF", "is a PDF, which holds pictures of tables. Bring the file that it was made from."),
    (b"\xd0\xcf\x11\xe0", "is a spreadsheet or document of an old form. Save the table as CSV."),
    (b"\x1f\x8b", "is packed with gzip. Unpack it first."),
    (b"Rar!", "is packed with RAR. Unpack it first."),
    (b"7z\xbc\xaf", "is packed with 7-Zip. Unpack it first."),
    (b"BZh", "is packed with bzip2. Unpack it first."),
    (b"\x28\xb5\x2f\xfd", "is packed with zstd. Unpack it first."),
    (b"\x89PNG", "is a picture."),
    (b"\xff\xd8\xff", "is a picture."),
    (b"MZ", "is a program."),
    (b"\x7fELF", "is a program."),
    (b"\x00\x00\x27\x0a", "is the .shp of a shapefile alone. Zip it with its .shx, .dbf and .prj."),
)
_KNOWN: Final = "GeoJSON, GeoPackage, KML or KMZ, a zipped shapefile, CSV, or rules as JSON"


class FileRefused(ValueError):
    """The file may not stay; the words go on from its name."""


def weight_of_file(path: Path) -> int:
    """Size of a file unpacked [bytes], by its first bytes and never by its name.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    FileRefused
        It is nothing that an import reads, too large for its kind, or a zip that hides something.
    """
    with path.open("rb") as stream:
        start = stream.read(65_536)
    size = path.stat().st_size
    form = form_of(start)
    if size > LIMITS[form]:
        raise FileRefused(f"is larger than {LIMITS[form] // 1_000_000} MB, the most for a {form}.")
    return _weight_of_zip(path, size) if form == "zip" else size


def form_of(start: bytes) -> str:
    """The form of a file by its first bytes.

    Parameters
    ----------
    start
        Its first bytes, up to 64 KiB.

    Raises
    ------
    FileRefused
        It is nothing that an import reads.
    """
    if start.startswith(b"PK\x03\x04"):
        return "zip"
    if start.startswith(b"SQLite format 3\x00"):
        return "GeoPackage"
    for sign, words in _STRANGERS:
        if start.startswith(sign):
            raise FileRefused(words)
    if start.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise FileRefused("is text in UTF-16. Save it as UTF-8.")
    if b"\x00" in start:
        raise FileRefused(f"is nothing that can be read here: {_KNOWN}.")
    text = start.removeprefix(b"\xef\xbb\xbf").lstrip()
    if text.startswith((b"{", b"[")):
        return "GeoJSON or rules (JSON)"
    return "KML" if text.startswith(b"<") else "table of text"


def _weight_of_zip(path: Path, size: int) -> int:
    """What a zip grows to."""
    try:
        with zipfile.ZipFile(path) as archive:
            members = members_of(archive, packed_bytes=size)
    except ZipNotTaken as error:
        raise FileRefused(f"is {error}.") from error
    except BROKEN_ZIP as error:
        raise FileRefused("is a zip that cannot be unpacked: it is cut off or damaged.") from error
    names = {member.filename for member in members}
    if "[Content_Types].xml" in names or "content.xml" in names:
        raise FileRefused("is a spreadsheet or document. Save the table as CSV.")
    return sum(member.file_size for member in members)
