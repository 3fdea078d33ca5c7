"""The whole state in one zip file, the same on every database, and back again."""

from __future__ import annotations

import base64
import json
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, Final

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, models, transaction

FORMAT: Final = 1
APPS: Final = ("fleet", "sites", "weather")
CHUNK: Final = 5_000
# Folders of the data folder that belong to the state, beside the database.
DATA_FOLDERS: Final = ("media", "streets")


class NotABackup(ValueError):
    """The file is no backup of this product, or of a newer version."""


class DatabaseNotEmpty(RuntimeError):
    """The database holds a company already; restoring would lose it."""


@dataclass(frozen=True, slots=True)
class BackupReport:
    """Rows by table name, and files, that went in or out."""

    rows: dict[str, int]
    files: int

    def summary(self, verb: str) -> str:
        """One line for the end of a command."""
        return f"{verb} {sum(self.rows.values())} rows of {len(self.rows)} tables and {self.files} files"


def state_models() -> list[type[models.Model]]:
    """Every table of the three apps, the tables between them included."""
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.app_label in APPS and model._meta.managed and not model._meta.proxy
    ]


def write_backup(*, path: Path, data_dir: Path) -> BackupReport:
    """Write the whole state into a zip file; an existing file is replaced only when all is written.

    Parameters
    ----------
    path
        The zip file.
    data_dir
        The data folder, whose street network and media go along.
    """
    partial = path.with_suffix(path.suffix + ".partial")
    counts: dict[str, int] = {}
    files = list(_data_files(data_dir))
    partial.unlink(missing_ok=True)
    partial.touch(mode=0o600)  # it holds contacts, gate codes, hashes of passwords
    try:
        with _one_moment(), zipfile.ZipFile(partial, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("format.json", json.dumps({"rootround_backup": FORMAT}))
            for model in state_models():
                with archive.open(f"tables/{model._meta.label_lower}.jsonl", "w", force_zip64=True) as table:
                    counts[model._meta.label_lower] = 0
                    for line in _lines(model):
                        table.write(line)
                        counts[model._meta.label_lower] += 1
            for file in files:
                archive.write(file, f"files/{file.relative_to(data_dir)}")
    except BaseException:
        partial.unlink(missing_ok=True)  # nobody takes half a state for a whole one
        raise
    partial.replace(path)
    return BackupReport(counts, len(files))


@contextmanager
def _one_moment() -> Iterator[None]:
    """Show the tables as they are now, whatever is written meanwhile: they belong together."""
    is_outermost = not connection.in_atomic_block
    with transaction.atomic():
        # SQLite's transactions see one moment anyway; PostgreSQL's by default one moment a query.
        if is_outermost and connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield


def restore_backup(*, path: Path, data_dir: Path) -> BackupReport:
    """Fill an empty database from a backup; all or nothing.

    Parameters
    ----------
    path
        The zip file.
    data_dir
        The data folder that gets the files.

    Raises
    ------
    NotABackup
        The file is none, or of a newer format.
    DatabaseNotEmpty
        The database holds rows already.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            found = json.loads(archive.read("format.json")).get("rootround_backup")
            if found != FORMAT:
                raise NotABackup(f"{path.name}: expected backup format {FORMAT}, found {found}")
            return _restore(archive, data_dir)
    except (zipfile.BadZipFile, KeyError, json.JSONDecodeError, FileNotFoundError) as error:
        raise NotABackup(f"{path.name}: expected a backup made by `backup` ({error})") from error


def _restore(archive: zipfile.ZipFile, data_dir: Path) -> BackupReport:
    """Rows and files of an open archive."""
    counts: dict[str, int] = {}
    with transaction.atomic():
        for model in state_models():
            if model._base_manager.exists():
                raise DatabaseNotEmpty(
                    f"{model._meta.verbose_name_plural} are there already; use an empty database"
                )
        for model in state_models():
            with archive.open(f"tables/{model._meta.label_lower}.jsonl") as table:
                counts[model._meta.label_lower] = _load(model, table)
        with connection.cursor() as cursor:
            for statement in connection.ops.sequence_reset_sql(no_style(), state_models()):
                cursor.execute(statement)
    files = 0
    for name in archive.namelist():
        inside = Path(name)
        if inside.parts[0] != "files" or ".." in inside.parts or name.endswith("/"):
            continue
        target = data_dir.joinpath(*inside.parts[1:])
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(archive.read(name))
        files += 1
    return BackupReport(counts, files)


def _data_files(data_dir: Path) -> Iterator[Path]:
    """Files of the data folder that belong to the state."""
    for folder in DATA_FOLDERS:
        if (data_dir / folder).is_dir():
            yield from (file for file in sorted((data_dir / folder).rglob("*")) if file.is_file())


def _lines(model: type[models.Model]) -> Iterator[bytes]:
    """A table's rows as JSON lines; the first one names the columns."""
    names = [field.attname for field in model._meta.concrete_fields]
    yield json.dumps(names).encode() + b"\n"
    for row in model._base_manager.order_by("pk").values_list(*names).iterator(chunk_size=CHUNK):
        yield json.dumps([_plain(value) for value in row]).encode() + b"\n"


def _plain(value: Any) -> Any:
    """A column's value as JSON has it."""
    if isinstance(value, (bytes, memoryview)):
        return {"base64": base64.b64encode(bytes(value)).decode()}
    if isinstance(value, (date, datetime, time)):
        return value.isoformat()
    return value


def _load(model: type[models.Model], table: Any) -> int:
    """Rows of one table's JSON lines into the database; how many lines there were."""
    names = json.loads(table.readline())
    fields = {field.attname: field for field in model._meta.concrete_fields}
    chunk: list[models.Model] = []
    count = 1
    for line in table:
        count += 1
        values = dict(zip(names, json.loads(line), strict=True))
        chunk.append(
            model(**{name: _typed(fields[name], value) for name, value in values.items() if name in fields})
        )
        if len(chunk) == CHUNK:
            model._base_manager.bulk_create(chunk)
            chunk = []
    model._base_manager.bulk_create(chunk)
    return count


def _typed(field: Any, value: Any) -> Any:
    """A JSON value as the column wants it."""
    if isinstance(value, dict) and set(value) == {"base64"} and isinstance(field, models.BinaryField):
        return base64.b64decode(value["base64"])
    if isinstance(field, (models.JSONField, models.ForeignKey)):
        return value
    return field.to_python(value)
