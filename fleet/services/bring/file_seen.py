"""What a file was seen to hold before anything is mapped, kept beside it for the page of its columns."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

from fleet.services.bring.uploads import Upload
from sites.importing.book.layout import BY_COLUMN, columns_of, layout_by_names
from sites.importing.book.raw_book import RawBook, RawLayer

SAMPLES: Final = 3
SAMPLE_ROWS: Final = 500
FIRST_ROWS: Final = 5
MOST_WORDS: Final = 60
_LONGEST: Final = 60


@dataclass(frozen=True, slots=True)
class ColumnSeen:
    """A column: some of its values, and all of its different values where they are few, else none."""

    name: str
    samples: tuple[str, ...]
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LayerSeen:
    """A layer: its columns, how many rows, types of its shapes, and its first rows."""

    name: str
    rows: int
    shapes: tuple[str, ...]
    lacks_crs: bool
    columns: tuple[ColumnSeen, ...]
    first: tuple[Mapping[str, str], ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of its columns."""
        return tuple(column.name for column in self.columns)


@dataclass(frozen=True, slots=True)
class FileSeen:
    """A file: its form, its layers, what could not be read, and whether all names are the book's own."""

    form: str
    layers: tuple[LayerSeen, ...]
    problems: tuple[str, ...]
    is_ours: bool
    notes: tuple[str, ...] = ()


def seen_in(raw: RawBook) -> FileSeen:
    """What a file holds.

    Parameters
    ----------
    raw
        Its layers.
    """
    layers = tuple(_layer(raw, layer) for layer in raw.layers)
    problems = tuple(str(one) for one in raw.problems[:20])
    return FileSeen(raw.form, layers, problems, _is_ours(raw), tuple(raw.notes))


def keep_seen(*, folder: Path, upload: Upload, seen: FileSeen) -> None:
    """Keep what was seen."""
    path = folder / f"{upload.key}.seen"
    fresh = path.with_suffix(".seen-new")
    fresh.touch(mode=0o600)
    fresh.write_text(json.dumps(asdict(seen)), encoding="utf-8")
    fresh.replace(path)


def kept_seen(*, folder: Path, upload: Upload) -> FileSeen | None:
    """What was seen in a file; None where nobody looked yet."""
    try:
        facts = json.loads((folder / f"{upload.key}.seen").read_text(encoding="utf-8"))
        return FileSeen(
            facts["form"],
            tuple(_of_facts(one) for one in facts["layers"]),
            tuple(facts["problems"]),
            facts["is_ours"],
            tuple(facts["notes"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _of_facts(facts: dict[str, object]) -> LayerSeen:
    """A layer from what was written down."""
    columns = facts.pop("columns")
    assert isinstance(columns, list)  # noqa: S101 (JSON of our own)
    told = tuple(ColumnSeen(one["name"], tuple(one["samples"]), tuple(one["words"])) for one in columns)
    return LayerSeen(**(facts | {"columns": told}))  # type: ignore[arg-type]


def _layer(raw: RawBook, layer: RawLayer) -> LayerSeen:
    """A layer as the page tells it."""
    head = layer.cells[:FIRST_ROWS]
    shapes = tuple(sorted({shape.geom_type for shape in layer.shapes if shape is not None}))
    return LayerSeen(
        name=layer.name,
        rows=len(layer.numbers),
        shapes=shapes,
        lacks_crs=layer.crs is None and raw.form in ("shapefile", "GeoPackage") and bool(shapes),
        columns=tuple(_column(layer.cells, name) for name in layer.columns),
        first=tuple({name: cell[:_LONGEST] for name, cell in row.items()} for row in head),
    )


def _column(cells: Sequence[Mapping[str, str]], name: str) -> ColumnSeen:
    """Some values of a column, and all where they are few."""
    found: dict[str, None] = {}
    samples: dict[str, None] = {}
    for at, row in enumerate(cells):
        value = row.get(name)
        if not value:
            continue
        if at < SAMPLE_ROWS and len(samples) < SAMPLES:
            samples.setdefault(value[:_LONGEST])
        if len(found) <= MOST_WORDS:
            found.setdefault(value.strip()[:200])
        elif len(samples) == SAMPLES or at >= SAMPLE_ROWS:
            break
    return ColumnSeen(name, tuple(samples), tuple(found) if len(found) <= MOST_WORDS else ())


def _is_ours(raw: RawBook) -> bool:
    """Whether every layer and column bears the book's own name already."""
    for layer in raw.layers:
        plan = layout_by_names(layer.name, layer.columns)
        kind = BY_COLUMN if raw.form in ("GeoJSON", "CSV") else plan.kind
        names = {ours for theirs, ours in plan.columns.items() if theirs not in layer.made_up}
        if not kind or (raw.form == "GeoJSON" and "kind" not in names) or not names <= set(columns_of(kind)):
            return False
    return bool(raw.layers)
