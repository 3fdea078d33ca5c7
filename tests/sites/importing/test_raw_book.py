"""Files as people have them: nested folders, names in odd fields, reference systems of all sorts, layouts."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyproj import Transformer

from sites.importing.book.file import read_book_file
from sites.importing.book.layout import BookLayout, LayerLayout
from sites.importing.book.raw_book import read_raw_book
from tests.sites.importing.book_files import Feature, box, feature, write_geojson, write_shapefile

NESTED = """<?xml version="1.0"?><k:kml xmlns:k="urn:x"><k:Document><k:name>All</k:name>
<k:Folder><k:name>CB-14</k:name>
 <k:Folder><k:name>Zones</k:name>
  <k:Placemark><k:name>front lawn</k:name><k:description><![CDATA[<table>
   <tr><td>Station:</td><td>1</td></tr>
   <tr><td>Plant</td><td>cool_turf</td></tr></table>]]></k:description>
   <k:Polygon><k:outerBoundaryIs><k:LinearRing><k:coordinates>
   -104.7,41.2,0
   -104.6999,41.2,0 -104.6999,41.2001,0
   -104.7,41.2,0</k:coordinates></k:LinearRing></k:outerBoundaryIs></k:Polygon></k:Placemark>
 </k:Folder>
 <k:Folder><k:name>pipes</k:name><k:Placemark><k:LineString>
   <k:coordinates>1,2 3,x</k:coordinates></k:LineString>
 </k:Placemark></k:Folder>
</k:Folder>
<k:Folder><k:name>CB-15</k:name><k:Folder><k:name>zone</k:name>
  <k:Placemark><k:description>Station: 2&lt;br&gt;Plant: shrubs</k:description></k:Placemark>
</k:Folder></k:Folder></k:Document></k:kml>"""


def test_nested_folders_give_layers_and_the_folder_above_a_column(tmp_path: Path) -> None:
    path = tmp_path / "a.kml"
    path.write_text(NESTED)

    raw = read_raw_book(path)

    zone = next(layer for layer in raw.layers if layer.name == "zone")
    assert zone.cells == [
        {"Station": "1", "Plant": "cool_turf", "name": "front lawn", "folder": "CB-14"},
        {"Station": "2", "Plant": "shrubs", "folder": "CB-15"},
    ]
    assert zone.numbers == [1, 2]
    assert zone.shapes[0].geom_type == "Polygon"
    assert [(problem.row, problem.column) for problem in raw.problems] == [(1, "geometry")]


def test_a_zipped_kml_reads_as_its_text(tmp_path: Path) -> None:
    plain, zipped = tmp_path / "a.kml", tmp_path / "a.kmz"
    plain.write_text(NESTED)
    with zipfile.ZipFile(zipped, "w") as archive:
        archive.writestr("doc.kml", NESTED)

    assert [layer.cells for layer in read_raw_book(zipped).layers] == [
        layer.cells for layer in read_raw_book(plain).layers
    ]


def test_a_layout_maps_folder_columns_words_and_units(tmp_path: Path) -> None:
    path = tmp_path / "beds.geojson"
    one: Feature = feature(
        "x", box(0, 0), Account="CB-14", Clock="A", Nr=3, Cover="Lawn", Heads="Spray", Size=215.28
    )
    del one["properties"]["kind"]
    layout = LayerLayout(
        "zone",
        {
            "Account": "site", "Clock": "controller", "Nr": "station", "Cover": "plant", "Heads": "head",
            "Size": "area_m2",
        },
        {"plant": {"lawn": "warm_turf"}, "head": {"spray": "fixed_spray"}},
        {"area_m2": "ft2"},
    )  # fmt: skip

    book = read_book_file(write_geojson(path, [one]), layout=BookLayout({"": layout}))

    assert book.problems == []
    cells = dict(book.rows[0].cells)
    assert float(cells.pop("area_m2")) == pytest.approx(20.0, abs=0.01)  # 1 ft2 = 0.09290304 m2, exactly
    assert cells == {
        "site": "CB-14", "controller": "A", "station": "3", "plant": "warm_turf", "head": "fixed_spray",
    }  # fmt: skip


@pytest.mark.parametrize(
    "crs", ["EPSG:2232", "EPSG:26913", "EPSG:3857", "EPSG:5070", "ESRI:102003", "EPSG:4269", "EPSG:32613"]
)
def test_a_zipped_shapefile_lands_in_the_same_place_from_any_projection(tmp_path: Path, crs: str) -> None:
    there = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    lot = box(0, 0, 4, 4)
    moved = shapely.transform(lot, lambda xy: np.column_stack(there.transform(xy[:, 0], xy[:, 1])))
    features = [feature("site", moved, site="CB-14", name="Okafor")]

    book = read_book_file(write_shapefile(tmp_path / "site.zip", features, "site", {}, crs))

    assert book.problems == []
    drawn = book.geometries[0]
    # The datum of North America is taken for WGS 84 to within 2 m, as everywhere without a grid of shifts.
    assert drawn.centroid.distance(lot.centroid) < 2 / 111_000
    assert drawn.area == pytest.approx(lot.area, rel=1e-5)


def test_web_mercator_as_printed(tmp_path: Path) -> None:
    """IOGP Guidance Note 7-2, Popular Visualisation Pseudo Mercator, worked example (from memory)."""
    crs = {"type": "name", "properties": {"name": "EPSG:3857"}}
    place = shapely.Point(-11169055.58, 2800000.00)
    path = write_geojson(tmp_path / "a.geojson", [feature("site", place, site="a", name="b")], crs=crs)

    drawn = read_book_file(path).geometries[0]

    assert drawn.x == pytest.approx(-(100 + 20 / 60), abs=1e-7)
    assert drawn.y == pytest.approx(24 + 22 / 60 + 54.433 / 3600, abs=1e-7)


def test_a_csv_may_give_a_point(tmp_path: Path) -> None:
    path = tmp_path / "sites.csv"
    path.write_text("site,name,longitude,latitude\nCB-1,a,-104.7,41.2\nCB-2,b,,\nCB-3,c,west,41.2\n")

    book = read_book_file(path)

    assert book.geometries[0].coords[0] == (-104.7, 41.2)
    assert book.geometries[1] is None
    assert [(problem.row, problem.column, problem.value) for problem in book.problems] == [
        (4, "longitude", "west")
    ]
