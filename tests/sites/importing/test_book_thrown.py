"""Generated rows thrown at the site book in every form of file: nothing breaks or is half written.

Refusals name row and column and say what was expected; what is kept holds the laws of the book; a second run
of the same file changes nothing.
"""

from __future__ import annotations

import csv
import json
import random
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import pytest
from shapely.geometry import shape

from sites.importing.book.kinds import ALIASES, KINDS
from sites.models import Change, Controller, Fixture, Sensor, Site, Sprinkler, Structure, ValveBox, Wire, Zone
from tests.sites.importing.book_files import Feature, bring_in, write_geojson, write_layers, write_shapefile
from weather.importing.rows import ImportReport

pytestmark = pytest.mark.django_db
ROWS_IN_CI = 2_000
ROWS_IN_BENCHMARK = 100_000
STORED = (Site, Controller, Zone, Sensor, ValveBox, Wire, Structure, Sprinkler, Fixture, Change)
LOT_DEG = 0.0005
ODD: tuple[Any, ...] = (
    "", " ", "nan", "inf", "-1", "1e400", "1_000", "0x10", "=1+1", "@x", "'+1", "\u0663", "A/B", "x" * 500,
    "\t", "2026-02-30", "24:00", "9" * 30, "<b>", "${1}", "\u202e", "\u0000", None, True, -5, 10**20, 1.5e300,
    [1, 2], {"a": None},
)  # fmt: skip


class Garden:
    """A corner of the map where a generated garden lies."""

    def __init__(self, number: int) -> None:
        self.code = f"S-{number:05d}"
        self.west = -104.7 + number % 100 * LOT_DEG * 1.2
        self.south = 41.0 + number // 100 * LOT_DEG * 1.2

    def at(self, x: float, y: float) -> list[float]:
        """A position by shares of the lot."""
        return [round(self.west + x * LOT_DEG, 8), round(self.south + y * LOT_DEG, 8)]

    def ground(self, x: float, y: float, side: float) -> dict[str, Any]:
        """A square by shares of the lot."""
        corners = [(x, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y)]
        return {"type": "Polygon", "coordinates": [[self.at(*one) for one in corners]]}

    def things(self) -> list[Feature]:
        """A garden of ten things as they should be."""
        timer = {"site": self.code, "controller": "A"}
        head = {"plant": "cool_turf", "head": "rotor", "precipitation_rate_mm_h": "12.5"}
        point = {"type": "Point", "coordinates": self.at(0.1, 0.1)}
        line = {"type": "LineString", "coordinates": [self.at(0.1, 0.1), self.at(0.6, 0.1)]}
        return [
            one("site", self.ground(0, 0, 1), site=self.code, name="A garden", soil="loam", slope_pct="4"),
            one("controller", point, **timer, station_count="6", minute_step="1"),
            *(
                one("zone", self.ground(0.05 + 0.2 * n, 0.2, 0.15), **timer, **head, station=f"{n + 1}")
                for n in range(4)
            ),
            one("sensor", {"type": "Point", "coordinates": self.at(0.1, 0.25)}, **timer, station="1",
                threshold_kpa="42", installed_on="2025-04-01"),
            one("valve_box", point, site=self.code, name="box 1", spare_wires="2"),
            one("wire", line, site=self.code, conductors="5", spare="1"),
            one("structure", self.ground(0.6, 0.6, 0.3), site=self.code, type="building"),
        ]  # fmt: skip


def one(kind: str, shape: Any, **properties: Any) -> Feature:
    """A feature."""
    return {"type": "Feature", "properties": {"kind": kind, **properties}, "geometry": shape}


def odd_shape(chance: random.Random, shape: dict[str, Any]) -> Any:
    """A shape that is wrong in one of the ways that files have."""
    flat = json.loads(json.dumps(shape))
    ring = flat["coordinates"][0] if flat["type"] == "Polygon" else None
    place = ring[0] if ring else [-104.7, 41.0]
    far = [[place[0] + 9, place[1]], [place[0] + 9.1, place[1]], [place[0] + 9, place[1] + 0.1]]
    tie = [ring[i] for i in (0, 2, 1, 3, 0)] if ring else [place] * 4
    choices: list[Any] = [
        None,
        {"type": "Polygon", "coordinates": [tie]},
        {"type": "Polygon", "coordinates": [[place] * 4]},
        {"type": "Polygon", "coordinates": [[*far, far[0]]]},
        {"type": "Polygon", "coordinates": []},
        {"type": "Polygon", "coordinates": [[[y, x] for x, y in (ring or far)]]},
        {"type": "Polygon", "coordinates": [[[x, y, 1600.0] for x, y in (ring or far)]]},
        {"type": "Polygon", "coordinates": [[(ring or far)[0], *(ring or far)]]},
        {"type": "Point", "coordinates": [500, 500]},
        {"type": "Point", "coordinates": [1e300, -1e300]},
        {"type": "MultiPolygon", "coordinates": [[tie], [[*far, far[0]]]]},
        {"type": "LineString", "coordinates": [place, place]},
    ]
    return chance.choice(choices)


def thrown(count: int, seed: int, *, texts_only: bool) -> list[Feature]:
    """Things of gardens, most of them right, so that every later check is reached too."""
    chance = random.Random(seed)
    found: list[Feature] = []
    while len(found) < count:
        found += Garden(len(found) // 10).things()
    for number, row in enumerate(found[:count]):
        names = sorted(set(row["properties"]) - {"kind"})
        for name in chance.sample(names, chance.choice((0,) * 12 + (1, 1, 2))):
            value = chance.choice(ODD)
            if name == "site" and isinstance(value, str) and value.strip():
                value += str(number)
            row["properties"][name] = value if not texts_only or isinstance(value, str) else ""
        if chance.random() < 0.12:
            row["geometry"] = odd_shape(chance, row["geometry"])
    return found[:count]


def as_geojson(folder: Path, count: int) -> Path:
    return write_geojson(folder / "book.geojson", thrown(count, 7, texts_only=False))


def drawable(features: list[Feature]) -> list[Feature]:
    """Features as a library can write them: no text that a database cannot hold, no empty ring."""
    for row in features:
        shape = row["geometry"]
        if shape and (not shape["coordinates"] or shape["coordinates"] == [[]]):
            row["geometry"] = None
        for name, value in row["properties"].items():
            row["properties"][name] = str(value).replace("\x00", "")
    return features


def as_geopackage(folder: Path, count: int) -> Path:
    return write_layers(folder / "book.gpkg", drawable(thrown(count, 8, texts_only=True)), "GPKG")


def as_kml(folder: Path, count: int) -> Path:
    """Written by hand, since libraries refuse to write what people's files hold."""
    path = folder / "book.kml"
    rows = drawable(thrown(count, 9, texts_only=True))
    with path.open("w", encoding="utf-8") as stream:
        stream.write('<kml xmlns="http://www.opengis.net/kml/2.2"><Document>')
        for kind in dict.fromkeys(row["properties"]["kind"] for row in rows):
            stream.write(f"<Folder><name>{kind}</name>")
            stream.writelines(_placemark(row) for row in rows if row["properties"]["kind"] == kind)
            stream.write("</Folder>")
        stream.write("</Document></kml>")
    return path


def _placemark(row: Feature) -> str:
    cells = "".join(
        f'<Data name="{name}"><value>{escape(value)}</value></Data>'
        for name, value in row["properties"].items()
        if name != "kind" and (value.isprintable() or value.isspace())
    )
    drawn = row["geometry"] and _kml(row["geometry"]["type"], row["geometry"]["coordinates"])
    return f"<Placemark><ExtendedData>{cells}</ExtendedData>{drawn or ''}</Placemark>"


def _kml(kind: str, parts: Any) -> str:
    if kind == "MultiPolygon":
        return f"<MultiGeometry>{''.join(_kml('Polygon', one) for one in parts)}</MultiGeometry>"
    if kind == "Polygon":
        ring = _kml("LinearRing", parts[0])
        return f"<Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>"
    places = [parts] if kind == "Point" else parts
    text = " ".join(",".join(f"{number}" for number in place) for place in places)
    return f"<{kind}><coordinates>{text}</coordinates></{kind}>"


def as_shapefile(folder: Path, count: int) -> Path:
    """Lots alone, since a shapefile holds one kind; what has no ground its writer refuses itself."""
    lots = [
        row
        for row in drawable(thrown(count * 10, 10, texts_only=True))
        if row["properties"]["kind"] == "site" and _has_ground(row["geometry"])
    ]
    short = {full: alias for alias, full in ALIASES.items()}
    return write_shapefile(folder / "site.zip", lots, "site", short, "EPSG:4326")


def _has_ground(geometry: Any) -> bool:
    return geometry is None or (geometry["type"] == "Polygon" and shape(geometry).envelope.area != 0)


def as_table(folder: Path, count: int) -> Path:
    chance = random.Random(11)
    names = [column.name for column in KINDS["site"].columns] + ["longitude", "latitude"]
    path = folder / "sites.csv"
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, names)
        writer.writeheader()
        for number in range(count):
            corner = Garden(number).at(0.5, 0.5)
            row = dict.fromkeys(names, "") | {"site": f"S-{number:05d}", "name": "A garden"}
            row |= {"longitude": str(corner[0]), "latitude": str(corner[1])}
            for name in chance.sample(names, chance.choice((0, 0, 0, 1, 2, 4))):
                row[name] = str(chance.choice(ODD) or "").replace("\x00", "")
            writer.writerow(row)
    return path


FORMS: dict[str, Callable[[Path, int], Path]] = {
    "GeoJSON": as_geojson,
    "GeoPackage": as_geopackage,
    "KML": as_kml,
    "shapefile": as_shapefile,
    "table": as_table,
}


def stored() -> list[int]:
    """How many rows each table has."""
    return [model.objects.count() for model in STORED]


def names_all(report: ImportReport, count: int) -> None:
    """Every refusal names a row of the file and a column of the book, and what was expected."""
    known = {column.name for kind in KINDS.values() for column in kind.columns}
    known |= {"geometry", "kind", "longitude", "latitude"}
    lost = [one for one in report.problems if not 1 <= one.row <= count + 1 or one.column not in known]
    assert lost == []
    assert all(one.expected for one in report.problems)


def throw(form: str, folder: Path, count: int) -> ImportReport:
    path = FORMS[form](folder, count)

    refused = bring_in(path)

    assert refused.problems
    assert not refused.written
    assert stored() == [0] * len(STORED)
    names_all(refused, count)
    kept = bring_in(path, keep_good=True)
    assert kept.written
    assert kept.added > count // 20
    assert Change.objects.count() == kept.added
    _keeps_the_laws_of_the_book()
    again = bring_in(path, keep_good=True)
    assert (again.added, again.changed) == (0, 0)
    return kept


def _keeps_the_laws_of_the_book() -> None:
    for zone in Zone.objects.select_related("controller").iterator():
        assert zone.area_m2 > 0
        assert zone.station <= zone.controller.station_count
        assert zone.shape is None or zone.shape.is_valid
    for site in Site.objects.iterator():
        assert abs(site.longitude or 0.0) <= 180
        assert abs(site.latitude or 0.0) <= 90
        assert site.shape is None or site.shape.is_valid


@pytest.mark.parametrize("form", FORMS)
def test_rows_thrown_at_the_book(form: str, tmp_path: Path) -> None:
    throw(form, tmp_path, ROWS_IN_CI)


@pytest.mark.benchmark
@pytest.mark.parametrize("form", FORMS)
def test_many_rows_thrown_at_the_book(form: str, tmp_path: Path) -> None:
    began = time.perf_counter()
    kept = throw(form, tmp_path, ROWS_IN_BENCHMARK)
    took = time.perf_counter() - began
    print(f"{form}: {ROWS_IN_BENCHMARK:,} rows, three times, {kept.added:,} kept, {took:.0f} s")  # noqa: T201


def test_what_is_thrown_is_odd_in_every_way() -> None:
    """The generator itself: cells of every sort and shapes of every sort are among the rows of CI."""
    rows = thrown(ROWS_IN_CI, 7, texts_only=False)

    cells = {repr(value) for row in rows for value in row["properties"].values()}
    assert {repr(value) for value in ODD} <= cells
    assert {None, "Point", "Polygon", "MultiPolygon", "LineString"} <= {
        row["geometry"] and row["geometry"]["type"] for row in rows if row["properties"]["kind"] == "zone"
    }
