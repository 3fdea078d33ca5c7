"""The site book as it can be imported again: features of every kind, and a CSV of sites."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, time
from typing import Final

import shapely
from shapely.geometry import mapping

from sites.importing.book.items import Key
from sites.importing.book.kinds import KINDS
from sites.importing.book.tables import TABLES, BookTable, Fields, stored_rows

PRIVATE: Final = frozenset({"customer", "phone", "email", "access_notes", "gate_code"})
COLUMNS: Final = tuple(column.name for column in KINDS["site"].columns)


def columns(*, private: bool) -> tuple[str, ...]:
    """Columns of the CSV of sites; contacts, access notes and gate codes only where private is wanted."""
    return tuple(name for name in COLUMNS if private or name not in PRIVATE)


def rows(*, private: bool = False) -> Iterator[dict[str, object]]:
    """Sites without geometry, in order of their codes.

    Parameters
    ----------
    private
        Whether contacts, access notes and gate codes are among the columns.
    """
    table = TABLES[0]
    names = columns(private=private)
    for key, fields in sorted(stored_rows(table, None).items()):
        properties = _properties(table, key, fields, private=private)
        yield {name: properties.get(name, "") for name in names}


def features(*, private: bool = False) -> Iterator[dict[str, object]]:
    """GeoJSON features (RFC 7946) of the whole book, parents before what hangs on them.

    Parameters
    ----------
    private
        Whether contacts, access notes and gate codes are among the properties.

    Notes
    -----
    Positions carry the eight decimals that the book keeps; rings follow the right-hand rule. A column that
    the book only assumes is left out, so that an import does not take it for known.
    """
    for table in TABLES:
        for key, fields in sorted(stored_rows(table, None).items(), key=lambda entry: _order(entry[0])):
            yield {
                "type": "Feature",
                "properties": {"kind": table.kind, **_properties(table, key, fields, private=private)},
                "geometry": _geometry(fields["geometry"]),
            }


def _properties(table: BookTable, key: Key, fields: Fields, *, private: bool) -> dict[str, object]:
    """What the book knows of a thing, by column; empty ones are left out."""
    assumed = str(fields.get("assumed", "")).split()
    names = KINDS[table.kind].key
    known: dict[str, object] = dict(zip(names, key, strict=False))
    for name in table.fields:
        value = fields[name]
        hidden = (name in PRIVATE and not private) or name in assumed
        if value is not None and value != "" and not hidden:
            known[name] = _plain(value)
    return known


def _plain(value: object) -> object:
    """A value as JSON holds it."""
    if isinstance(value, time):
        return value.isoformat(timespec="minutes")
    return value.isoformat() if isinstance(value, date) else value


def _geometry(stored: object) -> dict[str, object] | None:
    """A stored shape as a GeoJSON geometry."""
    if not isinstance(stored, bytes):
        return None
    shape = shapely.from_wkb(stored)
    geometry: dict[str, object] = mapping(shapely.orient_polygons(shape, exterior_cw=False))
    return geometry


def _order(key: Key) -> tuple[str, ...]:
    """Sort key of a natural key: stations by number."""
    return tuple(f"{part:09d}" if isinstance(part, int) else part for part in key)
