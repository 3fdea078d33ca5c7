"""Looks at a zip by its list of contents before anything in it is unpacked."""

from __future__ import annotations

import stat
import zipfile
from pathlib import PurePosixPath
from typing import Final

ZIP_MEMBER_LIMIT: Final = 2_000
ZIP_CONTENT_LIMIT_BYTES: Final = 1_000_000_000
RATIO_LIMIT: Final = 200
"""Shapes and texts shrink to a twentieth at most; deflate itself can reach a thousandth."""
_RATIO_FROM_BYTES: Final = 10_000_000
_NESTED: Final = frozenset({".zip", ".kmz", ".7z", ".gz", ".bz2", ".xz", ".rar", ".tar", ".tgz", ".zst"})
BROKEN_ZIP: Final = (
    zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError, EOFError, OSError,
)  # fmt: skip


class ZipNotTaken(ValueError):
    """The zip hides something, or would grow too large; says what is wrong."""


def members_of(archive: zipfile.ZipFile, *, packed_bytes: int) -> list[zipfile.ZipInfo]:
    """Files in a zip that may be unpacked.

    Parameters
    ----------
    archive
        The open zip.
    packed_bytes
        Size of the whole file: entries that together claim more of it overlap.

    Raises
    ------
    ZipNotTaken
        Too many files, too large unpacked or in relation to the packed size, a zip in the zip, a name that
        leads out of the folder, a link, a password.
    """
    members = [member for member in archive.infolist() if not member.is_dir()]
    if len(members) > ZIP_MEMBER_LIMIT:
        raise ZipNotTaken(f"a zip of more than {ZIP_MEMBER_LIMIT} files")
    unpacked = sum(member.file_size for member in members)
    if unpacked > ZIP_CONTENT_LIMIT_BYTES:
        raise ZipNotTaken(f"a zip of more than {ZIP_CONTENT_LIMIT_BYTES} bytes unpacked")
    packed = sum(member.compress_size for member in members)
    if packed > packed_bytes:
        raise ZipNotTaken("a zip whose parts overlap")
    if unpacked > _RATIO_FROM_BYTES and unpacked > RATIO_LIMIT * max(packed, 1):
        raise ZipNotTaken(f"a zip that grows more than {RATIO_LIMIT}-fold when it is unpacked")
    for member in members:
        _check_member(member)
    return members


def _check_member(member: zipfile.ZipInfo) -> None:
    """Refuse what has no place in a zip of shapes."""
    name = member.filename
    shown = ascii(name[:60])
    parts = PurePosixPath(name.replace("\\", "/")).parts
    if ".." in parts or name.startswith(("/", "\\")) or ":" in name:
        raise ZipNotTaken(f"a zip with {shown}, a name that leads out of its folder")
    if stat.S_ISLNK(member.external_attr >> 16):
        raise ZipNotTaken(f"a zip with {shown}, a link")
    if member.flag_bits & 1:
        raise ZipNotTaken(f"a zip with {shown} under a password")
    if PurePosixPath(name).suffix.lower() in _NESTED:
        raise ZipNotTaken(f"a zip with {shown}, a packed file of its own: unpack it first")
