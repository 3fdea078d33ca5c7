"""Which rows of the database an item of the book becomes, and how it differs from what stands there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import shapely
from django.db.models import Model, QuerySet
from shapely.geometry.base import BaseGeometry

from sites.importing.book.items import BookItem, Key, assumed_columns, defaults_of
from sites.models import Controller, Fixture, Sensor, Site, Sprinkler, Structure, ValveBox, Wire, Zone
from sites.models.geometry import bounding_box

BOX: Final = ("min_lon", "min_lat", "max_lon", "max_lat")

Fields = dict[str, object]


@dataclass(frozen=True, slots=True)
class BookTable:
    """One kind's table.

    Parameters
    ----------
    kind
        Kind of the book.
    model
        Its model.
    parent
        Field that points to its parent; empty for a site.
    parent_key
        Lookups of the parent's natural key.
    own_key
        Field that names it within its parent; empty where the parent has only one.
    fields
        Fields that a file can set, named as its columns.
    """

    kind: str
    model: type[Model]
    parent: str
    parent_key: tuple[str, ...]
    own_key: str
    fields: tuple[str, ...]

    @property
    def written(self) -> tuple[str, ...]:
        """Every field that an import writes in an existing row."""
        extra = {"site": ("longitude", "latitude"), "controller": ("assumed",)}.get(self.kind, ())
        return (*self.fields, *extra, "geometry", *BOX)

    @property
    def unique(self) -> list[str]:
        """Fields of the natural key."""
        fixture = ["kind"] if self.model is Fixture else []
        return [*([self.parent] if self.parent else []), *fixture, *([self.own_key] if self.own_key else [])]


_SITE: Final = ("site__code",)
_CONTROLLER: Final = ("controller__site__code", "controller__code")
_ZONE: Final = ("zone__controller__site__code", "zone__controller__code", "zone__station")
TABLES: Final = (
    BookTable(
        "site", Site, "", (), "code",
        ("name", "address", "customer", "phone", "email", "access_notes", "gate_code", "timezone", "soil",
         "slope_pct", "rule_set", "supplier", "visit_from", "visit_to"),
    ),
    BookTable(
        "controller", Controller, "site", _SITE, "code",
        ("station_count", "program_count", "starts_per_program", "max_run_min", "minute_step", "day_modes",
         "station_order", "stations_at_once", "flow_limit_l_min", "governed", "gating"),
    ),
    BookTable(
        "zone", Zone, "controller", _CONTROLLER, "station",
        ("name", "plant", "head", "area_m2", "precipitation_rate_mm_h", "flow_l_min",
         "distribution_uniformity", "soil", "slope_pct", "root_depth_mm", "sun", "landscape_coefficient",
         "planted_on"),
    ),
    BookTable(
        "sensor", Sensor, "controller", _CONTROLLER, "",
        ("station", "depth_mm", "threshold_kpa", "threshold_steps_kpa", "installed_on"),
    ),
    BookTable("valve_box", ValveBox, "site", _SITE, "name", ("spare_wires",)),
    BookTable("wire", Wire, "site", _SITE, "fingerprint", ("conductors", "spare")),
    BookTable("structure", Structure, "site", _SITE, "fingerprint", ("type",)),
    BookTable("sprinkler", Sprinkler, "zone", _ZONE, "fingerprint", ()),
    BookTable("water_meter", Fixture, "site", _SITE, "fingerprint", ("note",)),
    BookTable("shutoff", Fixture, "site", _SITE, "fingerprint", ("note",)),
    BookTable("backflow_preventer", Fixture, "site", _SITE, "fingerprint", ("note",)),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class RowChange:
    """A row to write: its fields as they will be, and what stood in those that differ (None: new).

    `key_now` is another key that it has from now on, as a thing that is known by its shape and has moved.
    """

    key: Key
    fields: Fields
    before: Fields | None
    key_now: Key | None = None

    @property
    def after(self) -> Fields:
        """What a history keeps of the new state: of a new row all that is known, but its shape."""
        if self.before is not None:
            return {name: self.fields[name] for name in self.before}
        hidden = {"geometry", "longitude", "latitude", *BOX}
        return {
            name: value
            for name, value in self.fields.items()
            if name not in hidden and value is not None and value != ""
        }


def stored_rows(table: BookTable, sites: list[str] | None) -> dict[Key, Fields]:
    """Rows of a table by natural key; of the sites only, or all.

    Parameters
    ----------
    table
        The table.
    sites
        Codes of sites; None for all.
    """
    rows: QuerySet[Model] = QuerySet(table.model)
    if table.model is Fixture:
        rows = rows.filter(kind=table.kind)
    if sites is not None:
        rows = rows.filter(**{f"{table.parent_key[0] if table.parent_key else 'code'}__in": sites})
    names = (*table.parent_key, *([table.own_key] if table.own_key else []))
    found: dict[Key, Fields] = {}
    for record in rows.values_list(*names, *table.written).iterator(chunk_size=5_000):
        found[tuple(record[: len(names)])] = dict(zip(table.written, record[len(names) :], strict=True))
    return found


def change_of(table: BookTable, item: BookItem, stored: Fields | None, *, timezone: str) -> RowChange | None:
    """What an item changes in its row; None where nothing.

    Parameters
    ----------
    table
        Table of its kind.
    item
        The item.
    stored
        The row as it stands; None where there is none.
    timezone
        The company's time zone, for a site that gives none.
    """
    said = {name: item.values[name] for name in table.fields if name in item.values}
    if said.get("timezone") == "":
        said["timezone"] = timezone
    if item.shape is not None:
        said |= _placed(table, item.shape)
    if stored is None:
        defaults = {name: value for name, value in defaults_of(item.kind).items() if name in table.fields}
        empty: Fields = {"timezone": timezone} if table.kind == "site" else {}
        marks: Fields = {"assumed": _assumed(item, None)} if table.kind == "controller" else {}
        fields = dict.fromkeys(table.written) | defaults | empty | said | marks
        return RowChange(item.key, fields, None)
    if table.kind == "controller":
        said["assumed"] = _assumed(item, str(stored["assumed"]))
    before = {name: stored[name] for name, value in said.items() if stored[name] != value}
    return RowChange(item.key, stored | said, before) if before else None


def _placed(table: BookTable, shape: BaseGeometry) -> Fields:
    """Geometry, its box, and a site's point."""
    fields: Fields = {"geometry": shapely.to_wkb(shape), **bounding_box(shape)}
    if table.kind == "site":
        inside = shapely.point_on_surface(shape)
        fields |= {"longitude": float(inside.x), "latitude": float(inside.y)}
    return fields


def _assumed(item: BookItem, stored: str | None) -> str:
    """Names of a controller's columns that nobody has given, separated by blanks."""
    may_be = {column.name for column in assumed_columns(item.kind)}
    before = may_be if stored is None else set(stored.split())
    emptied = {name for name in item.values if name in may_be and name not in item.given}
    return " ".join(sorted((before - item.given) | emptied))
