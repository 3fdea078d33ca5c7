"""Files of one book as people have them: foreign columns, faults of every sort, three forms, odd places."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
import shapely
from pyproj import Transformer
from shapely.geometry import mapping, shape

from tests.sites.importing.book_files import Feature, write_shapefile
from tests.sites.importing.test_book_thrown import Garden

COLUMNS = {
    "What": "kind",
    "Account": "site",
    "Title": "name",
    "Clock": "controller",
    "Outputs": "station_count",
    "Valve": "station",
    "Crop": "plant",
    "Nozzle": "head",
}
STATE_PLANE = "EPSG:2232"  # a plane of one state, in survey feet


def gardens(folder: Path, count: int) -> Path:
    """GeoJSON of lots, timers and three zones each; in every twentieth garden zones cross or are swapped."""
    rows: list[Feature] = []
    for number in range(count):
        garden = Garden(number)
        lot, timer, *zones = [
            one
            for one in garden.things()
            if one["properties"]["kind"] in ("site", "controller", "zone")
            and one["properties"].get("station") != "4"
        ]
        ring = zones[0]["geometry"]["coordinates"][0]
        if number % 20 == 3:
            zones[0]["geometry"]["coordinates"] = [[ring[i] for i in (0, 2, 1, 3, 0)]]
        if number % 20 == 7:
            zones[0]["geometry"]["coordinates"] = [[[y, x] for x, y in ring]]
        if number % 20 == 11:
            zones[1]["geometry"]["coordinates"][0].insert(1, zones[1]["geometry"]["coordinates"][0][0])
        if number % 50 == 17:
            zones[2]["properties"]["station"] = "99"
        rows += [lot, timer, *zones]
    named = {ours: theirs for theirs, ours in COLUMNS.items()}
    for row in rows:
        told = row["properties"]
        row["properties"] = {named[name]: value for name, value in told.items() if name in named}
        if told["kind"] == "zone":
            row["properties"] |= {"Crop": "Lawn", "Nozzle": "rotors", "Surveyor": "office"}
    path = folder / "parcels 2026 (final).geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    return path


def more_zones(folder: Path, count: int) -> Path:
    """KML with a folder a garden, a folder of zones in it, and what they are in the text of the balloon."""
    parts = ['<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>Beds</name>']
    for number in range(count):
        garden = Garden(number)
        parts.append(f"<Folder><name>{garden.code}</name><Folder><name>zone</name>")
        for station in (4, 5):
            drawn = garden.ground(0.05 + 0.2 * (station - 4), 0.6, 0.12)
            ring = " ".join(f"{x},{y},1610" for x, y in drawn["coordinates"][0])
            balloon = (
                f"<table><tr><td>Clock:</td><td>A</td></tr><tr><td>Valve:</td><td>{station}</td></tr>"
                "<tr><td>Plant:</td><td>shrubs</td></tr><tr><td>Head:</td><td>dripline</td></tr></table>"
            )
            parts.append(
                f"<Placemark><name>bed {station}</name><description>{escape(balloon)}</description>"
                f"<MultiGeometry><Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing>"
                "</outerBoundaryIs></Polygon></MultiGeometry></Placemark>"
            )
        parts.append("</Folder></Folder>")
    path = folder / "beds.kml"
    path.write_text("".join(parts) + "</Document></kml>", encoding="utf-8")
    return path


def houses(folder: Path, count: int) -> Path:
    """A zipped shapefile of houses in feet of the state's own plane."""
    there = Transformer.from_crs("EPSG:4326", STATE_PLANE, always_xy=True)
    rows = []
    for number in range(count):
        house = copy.deepcopy(Garden(number).things()[-1])
        moved = shapely.transform(
            shape(house["geometry"]), lambda xy: np.column_stack(there.transform(xy[:, 0], xy[:, 1]))
        )
        told = {"ACCT": Garden(number).code, "USE_CODE": "building"}
        rows.append(
            {"type": "Feature", "properties": told, "geometry": json.loads(json.dumps(mapping(moved)))}
        )
    for row in rows:
        row["properties"]["kind"] = "bldg_2019"
    return write_shapefile(folder / "houses.zip", rows, "bldg_2019", {}, STATE_PLANE)
