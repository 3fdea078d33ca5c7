"""Files on their way into the book: kept in the data folder until they are saved or thrown away."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Final

from django.conf import settings

from fleet.services.bring.upload_checks import LIMIT_BYTES, FileRefused, weight_of_file
from sites.importing.book.layout import BookLayout, LayerLayout

KEPT_FOR: Final = timedelta(days=7)


class UploadNotTaken(ValueError):
    """The file is too large, or empty; says so."""


class UploadNotThere(LookupError):
    """There is no such upload, or it is somebody else's."""


@dataclass(frozen=True, slots=True)
class Upload:
    """One file that waits: whose it is, since when, what it holds, how it is laid out.

    `is_plain` once its layers and columns were found to need no layout. `asked_by` and `asked_good`:
    who asked to save it, and whether refused rows may stay out. `weight` is its size unpacked.
    `asks_words` while words and units of a layout are not settled.
    """

    key: str
    owner: str
    name: str
    size: int
    at: datetime
    kind: str = ""
    layout: BookLayout | None = None
    accepted: Mapping[str, float | None] = field(default_factory=dict)
    is_plain: bool = False
    asked_by: str = ""
    asked_good: bool = False
    weight: int = 0
    asks_words: bool = False


def upload_folder() -> Path:
    """Where the files wait."""
    return Path(settings.DATA_DIR) / "uploads"


def take_upload(*, folder: Path, name: str, chunks: Iterable[bytes], owner: str, now: datetime) -> Upload:
    """Keep a file for its owner; one that is too large or of no known form is refused and nothing stays.

    Parameters
    ----------
    folder
        Folder of the uploads.
    name
        Name that the person's machine gave it; only shown, never used as a path.
    chunks
        Its bytes, in parts.
    owner, now
        Who brings it, and when.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    upload = Upload(uuid.uuid4().hex, owner, Path(name).name[:120] or "file", 0, now)
    path, size = data_path(folder, upload), 0
    with path.open("wb") as stream:
        path.chmod(0o600)
        for chunk in chunks:
            size += len(chunk)
            if size > LIMIT_BYTES:
                break
            stream.write(chunk)
    if not 0 < size <= LIMIT_BYTES:
        path.unlink()
        limit = f"larger than {LIMIT_BYTES // 1_000_000} MB" if size else "empty"
        raise UploadNotTaken(f"{upload.name} is {limit}. Nothing was kept.")
    try:
        weight = weight_of_file(path)
    except FileRefused as error:
        path.unlink()
        raise UploadNotTaken(f"{upload.name} {error} Nothing was kept.") from error
    upload = replace(upload, size=size, weight=weight)
    keep_upload(folder=folder, upload=upload)
    return upload


def keep_upload(*, folder: Path, upload: Upload) -> None:
    """Write down what is known of an upload."""
    path = _facts_path(folder, upload.key)
    fresh = path.with_suffix(".new")
    facts = asdict(replace(upload, layout=None)) | {"layout": plain_layout(upload.layout)}
    fresh.write_text(json.dumps(facts | {"at": upload.at.isoformat()}), encoding="utf-8")
    fresh.replace(path)


def find_upload(*, folder: Path, key: str, user: str, sees_all: bool) -> Upload:
    """An upload that the person may open.

    Parameters
    ----------
    folder
        Folder of the uploads.
    key
        Its key.
    user, sees_all
        Who asks, and whether other people's files are open too.
    """
    if not (len(key) == 32 and key.isalnum()) or not _facts_path(folder, key).is_file():
        raise UploadNotThere(key)
    upload = _read(_facts_path(folder, key))
    if upload.owner != user and not sees_all:
        raise UploadNotThere(key)
    return upload


def read_upload(*, folder: Path, key: str) -> Upload | None:
    """An upload for the worker that was told its key; None where it was thrown away."""
    path = _facts_path(folder, key)
    return _read(path) if key.isalnum() and path.is_file() else None


def uploads_of(*, folder: Path, user: str, sees_all: bool) -> list[Upload]:
    """The files that wait, newest first."""
    found = [_read(path) for path in folder.glob("*.json")] if folder.is_dir() else []
    mine = [upload for upload in found if sees_all or upload.owner == user]
    return sorted(mine, key=lambda upload: upload.at, reverse=True)


def throw_upload(*, folder: Path, upload: Upload) -> None:
    """Forget a file and all that is known of it."""
    for path in folder.glob(f"{upload.key}.*"):
        path.unlink(missing_ok=True)


def forget_content(*, folder: Path, upload: Upload) -> None:
    """Forget what a file holds, and keep that it was here and what came of it."""
    for ending in ("data", "look", "seen", "progress", "stop"):
        (folder / f"{upload.key}.{ending}").unlink(missing_ok=True)


def forget_outcome(*, folder: Path, upload: Upload) -> None:
    """Forget what came of the last try to save a file that has changed since."""
    (folder / f"{upload.key}.outcome").unlink(missing_ok=True)


def throw_old_uploads(*, folder: Path, now: datetime) -> int:
    """Forget the files that waited for more than a week; how many there were."""
    old = [one for one in uploads_of(folder=folder, user="", sees_all=True) if now - one.at > KEPT_FOR]
    for upload in old:
        throw_upload(folder=folder, upload=upload)
    return len(old)


def remember_layout(*, folder: Path, columns: Iterable[str], layout: LayerLayout) -> None:
    """Keep how a set of column names was laid out, for the next file with the same names."""
    place = folder / "layouts"
    place.mkdir(mode=0o700, parents=True, exist_ok=True)
    (place / f"{_names_key(columns)}.txt").write_text(json.dumps(_plain(layout)), encoding="utf-8")


def remembered_layout(*, folder: Path, columns: Iterable[str]) -> LayerLayout | None:
    """How a set of column names was laid out the last time; None where it never was."""
    path = folder / "layouts" / f"{_names_key(columns)}.txt"
    return _layer(json.loads(path.read_text(encoding="utf-8"))) if path.is_file() else None


def data_path(folder: Path, upload: Upload) -> Path:
    """Where the bytes of an upload lie."""
    return folder / f"{upload.key}.data"


def plain_layout(layout: BookLayout | None) -> dict[str, object] | None:
    """A layout as JSON holds it."""
    if layout is None:
        return None
    return {"crs": layout.crs, "layers": {name: _plain(one) for name, one in layout.layers.items()}}


def _plain(layout: LayerLayout) -> dict[str, object]:
    return {
        "kind": layout.kind,
        "columns": dict(layout.columns),
        "words": {name: dict(words) for name, words in layout.words.items()},
        "units": dict(layout.units),
        "fixed": dict(layout.fixed),
        "has_comma": layout.has_comma,
        "is_settled": layout.is_settled,
    }


def _layer(plain: dict[str, object]) -> LayerLayout:
    return LayerLayout(**plain)  # type: ignore[arg-type]


def _read(path: Path) -> Upload:
    """An upload from what was written down."""
    facts = json.loads(path.read_text(encoding="utf-8"))
    told = facts.pop("layout")
    layout = (
        BookLayout({name: _layer(one) for name, one in told["layers"].items()}, told["crs"]) if told else None
    )
    return Upload(**(facts | {"at": datetime.fromisoformat(facts["at"]), "layout": layout}))


def _facts_path(folder: Path, key: str) -> Path:
    return folder / f"{key}.json"


def _names_key(columns: Iterable[str]) -> str:
    names = sorted(column.strip().lower() for column in columns)
    return sha256(json.dumps(names).encode()).hexdigest()[:32]
