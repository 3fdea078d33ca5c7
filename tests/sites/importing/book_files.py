"""A small invented book in every form of file."""

from __future__ import annotations

import copy
import json
import zipfile
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry import mapping, shape
from shapely.geometry.base import BaseGeometry

from sites.importing.forms.gdal import load_pyogrio
from sites.services.book import import_book
from weather.importing.rows import ImportReport

DAY = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 13, 30, tzinfo=UTC)
LON, LAT = -104.7, 41.2
STEP = 0.0001  # about 8 m east, 11 m north
Feature = dict[str, Any]


def box(east: float, north: float, width: float = 1.0, depth: float = 1.0) -> shapely.Polygon:
    """A rectangle in steps from the corner of the lot."""
    west, south = LON + east * STEP, LAT + north * STEP
    return shapely.box(
        round(west, 8), round(south, 8), round(west + width * STEP, 8), round(south + depth * STEP, 8)
    )


def point(east: float, north: float) -> shapely.Point:
    """A point in steps from the corner of the lot."""
    return shapely.Point(round(LON + east * STEP, 8), round(LAT + north * STEP, 8))


def feature(kind: str, drawn: BaseGeometry | None, /, **properties: object) -> Feature:
    """A GeoJSON feature."""
    geometry = None if drawn is None else json.loads(json.dumps(mapping(drawn)))
    return {"type": "Feature", "properties": {"kind": kind, **properties}, "geometry": geometry}


def small_book() -> list[Feature]:
    """One garden with something of every kind, and one that has only a place."""
    timer: dict[str, object] = {"site": "CB-14", "controller": "A"}
    return [
        feature(
            "site", box(0, 0, 4, 4), site="CB-14", name="Okafor garden", address="9 Kiln Lane",
            customer="T. Okafor", phone="+1 555 0114", email="okafor@example.org", access_notes="Ring first",
            gate_code="4711", timezone="America/Denver", soil="clay_loam", slope_pct=4, rule_set="wend",
            supplier="Wend Valley Water", visit_from="08:00", visit_to="17:30",
        ),
        feature("site", point(20, 20), site="CB-15", name="Brandt garden"),
        feature("controller", point(0.5, 0.5), **timer, station_count=6, minute_step=1, gating="at_start"),
        feature(
            "zone", box(0, 2), **timer, station=1, name="front lawn", plant="cool_turf", head="fixed_spray",
            precipitation_rate_mm_h=38.5, distribution_uniformity=0.62, sun="part", planted_on="2024-05-01",
        ),
        feature("zone", box(1, 2), **timer, station=2, plant="shrubs", head="dripline", root_depth_mm=300),
        feature("zone", None, **timer, station=5, plant="trees", head="bubbler", area_m2=12.5, flow_l_min=7),
        feature(
            "sensor", point(0.5, 2.5), **timer, station=1, depth_mm=100, threshold_kpa=42,
            threshold_steps_kpa="32;42;55", installed_on="2025-04-01",
        ),
        feature("valve_box", point(2, 1), site="CB-14", name="box 1", spare_wires=2),
        feature(
            "wire", shapely.LineString([point(0.5, 0.5).coords[0], point(2, 1).coords[0]]), site="CB-14",
            conductors=5, spare=1,
        ),
        feature("structure", box(2, 2), site="CB-14", type="building"),
        feature("sprinkler", point(0.1, 2.1), **timer, station=1),
        feature("water_meter", point(0, 0), site="CB-14", note="under the lid"),
        feature("shutoff", point(0.1, 0), site="CB-14"),
        feature("backflow_preventer", point(0.2, 0), site="CB-14"),
    ]  # fmt: skip


def changed(features: list[Feature], kind: str, /, **properties: object) -> list[Feature]:
    """The features with properties of the first one of a kind set anew; None takes one out."""
    copied = copy.deepcopy(features)
    chosen = next(one for one in copied if one["properties"]["kind"] == kind)
    for name, value in properties.items():
        if value is None:
            chosen["properties"].pop(name, None)
        else:
            chosen["properties"][name] = value
    return copied


def redrawn(features: list[Feature], kind: str, drawn: BaseGeometry | None) -> list[Feature]:
    """The features with another shape of the first one of a kind."""
    copied = copy.deepcopy(features)
    chosen = next(one for one in copied if one["properties"]["kind"] == kind)
    chosen["geometry"] = None if drawn is None else json.loads(json.dumps(mapping(drawn)))
    return copied


def write_geojson(path: Path, features: list[Feature], **members: object) -> Path:
    """A GeoJSON file."""
    path.write_text(json.dumps({"type": "FeatureCollection", **members, "features": features}))
    return path


def write_layers(path: Path, features: list[Feature], driver: str) -> Path:
    """A file with one layer a kind: GeoPackage or KML."""
    for kind in dict.fromkeys(one["properties"]["kind"] for one in features):
        write_layer(path, [one for one in features if one["properties"]["kind"] == kind], driver, kind)
    return path


def write_layer(path: Path, features: list[Feature], driver: str, layer: str, crs: str = "EPSG:4326") -> None:
    """One layer of text columns."""
    names = list(dict.fromkeys(name for one in features for name in one["properties"] if name != "kind"))
    columns = [
        np.array([_cell(one["properties"].get(name)) for one in features], dtype=object) for name in names
    ]
    wkb = [shapely.to_wkb(shape(one["geometry"])) if one["geometry"] else None for one in features]
    load_pyogrio().raw.write(
        path, np.array(wkb, dtype=object), columns, fields=np.array(names, dtype=object), layer=layer,
        driver=driver, geometry_type="Unknown" if driver != "ESRI Shapefile" else "Polygon", crs=crs,
        append=path.exists(),
    )  # fmt: skip


def write_shapefile(path: Path, features: list[Feature], kind: str, short: dict[str, str], crs: str) -> Path:
    """A zipped shapefile of one kind with its short column names."""
    renamed = copy.deepcopy(features)
    for one in renamed:
        one["properties"] = {short.get(name, name): value for name, value in one["properties"].items()}
    shp = path.with_name(f"{kind}.shp")
    write_layer(shp, renamed, "ESRI Shapefile", kind, crs)
    with zipfile.ZipFile(path, "w") as archive:
        for part in sorted(path.parent.glob(f"{kind}.*")):
            if part.suffix in (".shp", ".shx", ".dbf", ".prj", ".cpg"):
                archive.write(part, part.name)
    return path


def _cell(value: object) -> str | None:
    """A property as text."""
    return None if value is None else str(value)


def bring_in(path: Path, *, dry_run: bool = False, keep_good: bool = False) -> ImportReport:
    """Import a book as of the fixed day."""
    return import_book(
        path=path, today=DAY, now=NOW, by="test", timezone="America/Denver", dry_run=dry_run,
        keep_good=keep_good,
    )  # fmt: skip
