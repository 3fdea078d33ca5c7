"""Edits of a site's drawing as a page sends them, read strictly: problems with thing, field and reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry.repairs import canonical_shapes
from sites.importing.book.kinds import KINDS
from sites.importing.drawing.drawing import FIELDS
from sites.importing.forms.geojson import Json, ShapeNotReadable, shape_of
from weather.importing.rows import CellError, Column

MOST_EDITS: Final = 2_000
MOST_POSITIONS: Final = 2_000
LONGEST_CELL: Final = 4_000
DEEDS: Final = ("add", "change", "remove")
_COLUMNS: Final[dict[str, dict[str, Column]]] = {
    kind: {column.name: column for column in table.columns} for kind, table in KINDS.items()
}


class NotEdits(ValueError):
    """The request is no list of edits at all; says what was expected."""


@dataclass(frozen=True, slots=True)
class EditProblem:
    """What is refused of one thing: its id, the field (`geometry` for its shape), and why."""

    id: str
    field: str
    reason: str


@dataclass(frozen=True, slots=True)
class Edit:
    """One edit of one thing.

    Parameters
    ----------
    id
        The thing; of a new one, a name of the page's own that begins with `new-`.
    kind
        Its kind.
    deed
        add, change or remove.
    fields
        New values by name; what is not named stays.
    shape
        New shape.
    has_shape
        Whether the shape is told; it may be told to be None.
    """

    id: str
    kind: str
    deed: str
    fields: Mapping[str, object] = field(default_factory=dict)
    shape: BaseGeometry | None = None
    has_shape: bool = False


def parse_edits(told: Json) -> tuple[list[Edit], list[EditProblem]]:
    """The edits of a request, and what is wrong with single cells.

    Parameters
    ----------
    told
        A list of objects with `id`, `kind`, `do`, and maybe `fields` and `geometry`.

    Raises
    ------
    NotEdits
        Not such a list.
    """
    if not isinstance(told, list) or len(told) > MOST_EDITS:
        raise NotEdits(f"a list of at most {MOST_EDITS} edits")
    edits: list[Edit] = []
    problems: list[EditProblem] = []
    for one in told:
        identity, kind, deed = _head(one)
        cells = one.get("fields", {}) if isinstance(one, dict) else {}
        if not isinstance(cells, dict) or not set(cells) <= set(FIELDS[kind]) - {"assumed"}:
            raise NotEdits(f"fields of a {kind}: " + ", ".join(sorted(set(FIELDS[kind]) - {"assumed"})))
        values, bad = parse_fields(identity, kind, cells)
        shape, fault = _shape(kind, one.get("geometry")) if isinstance(one, dict) else (None, "")
        problems += bad + ([EditProblem(identity, "geometry", fault)] if fault else [])
        has_shape = isinstance(one, dict) and "geometry" in one
        edits.append(Edit(identity, kind, deed, values, shape, has_shape))
    if len({edit.id for edit in edits}) < len(edits):
        raise NotEdits("each thing once")
    return edits, problems


def parse_fields(
    identity: str, kind: str, cells: Mapping[str, Json]
) -> tuple[dict[str, object], list[EditProblem]]:
    """Values of a thing's cells, and the cells that are not what their field wants.

    Parameters
    ----------
    identity
        The thing, for the problems.
    kind
        Its kind.
    cells
        Texts, numbers, truths or null by field.
    """
    values: dict[str, object] = {}
    problems: list[EditProblem] = []
    for name, cell in cells.items():
        try:
            values[name] = _value(kind, name, cell)
        except CellError as error:
            problems.append(EditProblem(identity, name, f"expected {error}"))
    return values, problems


def _head(one: Json) -> tuple[str, str, str]:
    """Id, kind and deed of an edit."""
    if not isinstance(one, dict) or not set(one) <= {"id", "kind", "do", "fields", "geometry"}:
        raise NotEdits("edits with id, kind, do, fields and geometry")
    identity, kind, deed = one.get("id"), one.get("kind"), one.get("do")
    if not isinstance(identity, str) or not 3 <= len(identity) <= 40:
        raise NotEdits("an id in every edit")
    if not isinstance(kind, str) or kind not in FIELDS:
        raise NotEdits("a kind of the site book in every edit")
    if not isinstance(deed, str) or deed not in DEEDS:
        raise NotEdits("do: add, change or remove")
    if (deed == "add") != identity.startswith("new-"):
        raise NotEdits("an id that begins with new- for what is added, and for nothing else")
    if kind == "site" and deed != "change":
        raise NotEdits("a site that is changed only")
    return identity, kind, deed


def _value(kind: str, name: str, cell: Json) -> object:
    """A cell as its field's value; raises CellError."""
    if kind == "sprinkler" and name == "zone":
        if not isinstance(cell, str) or not 3 <= len(cell) <= 40:
            raise CellError("the zone of the sprinkler")
        return cell
    column = _COLUMNS[kind][name]
    if isinstance(cell, (list, dict)):
        raise CellError("one value")
    text = _text(cell)
    if len(text) > LONGEST_CELL:
        raise CellError("a shorter text")
    if not text:
        if column.required or name == "timezone":
            raise CellError("a value here")
        return column.default
    return column.parse(text)


def _text(cell: bool | int | float | str | None) -> str:
    """A cell as text: whole numbers without a point, no value as empty."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return str(cell).strip()


def _shape(kind: str, geometry: Json) -> tuple[BaseGeometry | None, str]:
    """The shape of a GeoJSON geometry in the book's canonical form, or what was expected."""
    try:
        shape = shape_of(geometry)
    except ShapeNotReadable as error:
        return None, f"expected {error}"
    if shape is None:
        return None, ""
    if shape.geom_type not in KINDS[kind].shapes:
        words = " or ".join(sorted(name for name in KINDS[kind].shapes if not name.startswith("Multi")))
        return None, f"expected a {words}"
    if shapely.get_num_coordinates(shape) > MOST_POSITIONS:
        return None, f"expected at most {MOST_POSITIONS} corners"
    alone = np.empty(1, dtype=object)
    alone[0] = shape
    return canonical_shapes(alone)[0], ""
