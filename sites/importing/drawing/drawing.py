"""One site as a drawing to edit: everything that stands there, typed, and a mark of how it stands now."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, time
from typing import Final

import shapely
from django.db.models import Max, Model, QuerySet
from shapely.geometry.base import BaseGeometry

from sites.importing.book.tables import TABLES, BookTable, Fields
from sites.models import Change, Controller, Fixture, Site

TABLE_OF: Final[dict[str, BookTable]] = {table.kind: table for table in TABLES}
KIND_OF_ID: Final[dict[str, str]] = {kind.replace("_", ""): kind for kind in TABLE_OF}
EXCHANGE: Final = "station_exchange"
HISTORY_KINDS: Final = (*TABLE_OF, EXCHANGE)
"""Kinds of history entries that tell of a change of the drawing."""

_OWNER: Final[dict[str, tuple[str, ...]]] = {
    "controller": ("controller",),
    "zone": ("controller", "station"),
    "sensor": ("controller",),
    "valve_box": ("name",),
    "sprinkler": ("zone",),
}
FIELDS: Final[dict[str, tuple[str, ...]]] = {
    kind: (*_OWNER.get(kind, ()), *table.fields, *(("assumed",) if kind == "controller" else ()))
    for kind, table in TABLE_OF.items()
}
"""What a thing of each kind says of itself; `zone` of a sprinkler is the id of its zone's thing."""


@dataclass(frozen=True, slots=True)
class DrawnThing:
    """One thing of the drawing.

    Parameters
    ----------
    id
        `zone-12` for a row of the book, `new-1` for one that is not there yet.
    kind
        Kind in the words of the book.
    fields
        Its values by name, as `FIELDS` lists them.
    shape
        Its shape in WGS 84, or None.
    """

    id: str
    kind: str
    fields: Mapping[str, object]
    shape: BaseGeometry | None

    @property
    def pk(self) -> int | None:
        """Its row in the book; None for a new thing."""
        head, _, number = self.id.rpartition("-")
        return int(number) if head in KIND_OF_ID else None

    def text(self, name: str) -> str:
        """A value as text, empty for none."""
        value = self.fields.get(name)
        return "" if value is None else str(value)

    def whole(self, name: str) -> int:
        """A value as a whole number, 0 for none."""
        value = self.fields.get(name)
        return value if isinstance(value, int) else 0


@dataclass(frozen=True, slots=True)
class Drawing:
    """Everything of one site by id, and the version that a save must name."""

    site_id: int
    code: str
    version: str
    things: Mapping[str, DrawnThing]

    def of(self, *kinds: str) -> list[DrawnThing]:
        """Things of the kinds."""
        return [thing for thing in self.things.values() if thing.kind in kinds]

    def zone_at(self, controller: str, station: int) -> DrawnThing | None:
        """The zone on a controller's station."""
        return next(
            (
                zone
                for zone in self.of("zone")
                if zone.text("controller") == controller and zone.whole("station") == station
            ),
            None,
        )

    def key_of(self, thing: DrawnThing) -> str:
        """Natural key of a thing, as the history names it."""
        if thing.kind == "site":
            return self.code
        if thing.kind == "sprinkler":
            zone = self.things.get(thing.text("zone"))
            parts = [zone.text("controller"), zone.text("station")] if zone else ["?"]
        else:
            parts = [thing.text(name) for name in _OWNER.get(thing.kind, ())]
        if TABLE_OF[thing.kind].own_key == "fingerprint":
            parts.append(fingerprint_of(thing.shape))
        return "/".join([self.code, *(part[:60] for part in parts)])


def thing_id(kind: str, pk: int) -> str:
    """Id of a row in the drawing."""
    return f"{kind.replace('_', '')}-{pk}"


def fingerprint_of(shape: BaseGeometry | None) -> str:
    """Name of a thing that has none: a hash of its shape."""
    return hashlib.sha1(shapely.to_wkb(shape), usedforsecurity=False).hexdigest() if shape is not None else ""


def site_drawing(*, site: Site) -> Drawing:
    """A site's drawing as the book holds it now."""
    controllers = dict(Controller.objects.filter(site=site).values_list("pk", "code"))
    things: dict[str, DrawnThing] = {}
    for kind in TABLE_OF:
        if kind in {"shutoff", "backflow_preventer"}:
            continue  # read with the water meter: one table
        for row in _rows(kind, site):
            own = str(getattr(row, "kind", kind)) if isinstance(row, Fixture) else kind
            thing = _thing(own, row, controllers)
            things[thing.id] = thing
    newest = Change.objects.filter(site_code=site.code, kind__in=HISTORY_KINDS).aggregate(top=Max("pk"))[
        "top"
    ]
    drawing = Drawing(site.pk, site.code, "", things)
    return replace(drawing, version=f"{newest or 0}.{_digest(drawing)}")


def _rows(kind: str, site: Site) -> QuerySet[Model]:
    """Rows of a kind's table at a site."""
    table = TABLE_OF[kind]
    rows: QuerySet[Model] = QuerySet(table.model)
    if kind == "site":
        return rows.filter(pk=site.pk)
    where = table.parent_key[0].removesuffix("__code")
    return rows.filter(**{where: site}).order_by("pk")


def _thing(kind: str, row: Model, controllers: Mapping[int, str]) -> DrawnThing:
    """A row as a thing."""
    fields: Fields = {}
    for name in FIELDS[kind]:
        if name == "controller" and isinstance(row, Controller):
            fields[name] = row.code
        elif name == "controller":
            fields[name] = controllers[getattr(row, "controller_id")]  # noqa: B009 - any of three models
        elif name == "zone":
            fields[name] = thing_id("zone", getattr(row, "zone_id"))  # noqa: B009 - models with a zone
        else:
            fields[name] = getattr(row, name)
    return DrawnThing(thing_id(kind, int(row.pk)), kind, fields, getattr(row, "shape", None))


def _digest(drawing: Drawing) -> str:
    """A hash of all that the drawing says."""
    told = json.dumps(
        [
            [one.id, [plain(value) for value in one.fields.values()], plain(one.shape)]
            for one in drawing.things.values()
        ]
    )
    return hashlib.sha1(told.encode(), usedforsecurity=False).hexdigest()[:12]


def plain(value: object) -> object:
    """A value as JSON holds it: shapes as hexadecimal WKB, days and times in ISO 8601."""
    if isinstance(value, BaseGeometry):
        return shapely.to_wkb(value).hex()
    return value.isoformat() if isinstance(value, (date, time)) else value


def as_json(drawing: Drawing) -> dict[str, object]:
    """The drawing as the page's script reads it."""
    return {
        "version": drawing.version,
        "things": [
            {
                "id": thing.id,
                "kind": thing.kind,
                "fields": {name: _for_page(value) for name, value in thing.fields.items()},
                "geometry": None if thing.shape is None else shapely.geometry.mapping(thing.shape),
            }
            for thing in drawing.things.values()
        ],
    }


def _for_page(value: object) -> object:
    """A value as a form holds it: times without seconds."""
    return f"{value:%H:%M}" if isinstance(value, time) else plain(value)
