"""The same book comes in from every form of file, and a file that only pretends brings nothing."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyproj import Transformer
from shapely.geometry import mapping, shape

from sites.importing.book.file import read_book_file
from sites.importing.book.kinds import ALIASES, KINDS
from sites.importing.forms.gdal import load_pyogrio
from sites.models import Controller, Sensor, Site, Zone
from tests.sites.importing.book_files import (
    Feature,
    bring_in,
    changed,
    feature,
    point,
    small_book,
    write_geojson,
    write_layers,
    write_shapefile,
)

SECRET = "site,name\nSTOLEN,a file of the server\n"


def expected_text(path: Path) -> str:
    return "\n".join(str(problem) for problem in read_book_file(path).problems)


@pytest.mark.django_db
@pytest.mark.parametrize(("name", "driver"), [("book.gpkg", "GPKG"), ("book.kml", "LIBKML")])
def test_a_layered_file_says_the_same_as_geojson(tmp_path: Path, name: str, driver: str) -> None:
    bring_in(write_geojson(tmp_path / "book.geojson", small_book()))

    report = bring_in(write_layers(tmp_path / name, small_book(), driver))

    assert report.problems == ()
    assert (report.added, report.changed) == (0, 0)
    assert report.unchanged == len(small_book())


@pytest.mark.django_db
def test_a_zipped_shapefile_with_short_names_in_utm(tmp_path: Path) -> None:
    book = small_book()
    bring_in(
        write_geojson(
            tmp_path / "first.geojson", [one for one in book if one["properties"]["kind"] != "zone"][:3]
        )
    )
    to_utm = Transformer.from_crs("EPSG:4326", "EPSG:32613", always_xy=True)
    zones = [one for one in book if one["properties"]["kind"] == "zone" and one["geometry"]]
    for one in zones:
        moved = shapely.transform(
            shape(one["geometry"]), lambda xy: np.column_stack(to_utm.transform(xy[:, 0], xy[:, 1]))
        )
        one["geometry"] = json.loads(json.dumps(mapping(moved)))
    short = {full: alias for alias, full in ALIASES.items()}

    report = bring_in(write_shapefile(tmp_path / "zone.zip", zones, "zone", short, "EPSG:32613"))

    assert report.problems == ()
    assert report.added == 2
    lawn = Zone.objects.get(station=1)
    assert lawn.precipitation_rate_mm_h == 38.5
    assert lawn.distribution_uniformity == 0.62
    assert lawn.min_lon == pytest.approx(-104.7, abs=1e-7)


def test_every_long_column_has_a_name_of_ten_letters() -> None:
    long = {column.name for kind in KINDS.values() for column in kind.columns if len(column.name) > 10}

    assert long <= set(ALIASES.values())
    assert all(len(alias) <= 10 for alias in ALIASES)
    assert len(ALIASES) == len(set(ALIASES.values()))


def test_the_readme_names_every_short_name() -> None:
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")

    assert [short for short, column in ALIASES.items() if f"`{short}` | `{column}`" not in readme] == []


@pytest.mark.django_db
def test_a_csv_of_sites_updates_them_and_leaves_their_shapes(tmp_path: Path) -> None:
    bring_in(write_geojson(tmp_path / "book.geojson", small_book()))
    path = tmp_path / "sites.csv"
    path.write_text("site,name,phone\nCB-14,Okafor garden,555 0200\nCB-16,Novak garden,'+1 555\n")

    report = bring_in(path)

    assert (report.added, report.changed, report.problems) == (1, 1, ())
    site = Site.objects.get(code="CB-14")
    assert (site.phone, site.customer) == ("555 0200", "T. Okafor")
    assert site.geometry is not None
    new = Site.objects.get(code="CB-16")
    assert (new.phone, new.timezone, new.longitude) == ("+1 555", "America/Denver", None)
    assert any("no place" in warning for warning in report.warnings)


@pytest.mark.django_db
def test_a_geojson_in_a_declared_system_lands_in_the_same_place(tmp_path: Path) -> None:
    to_utm = Transformer.from_crs("EPSG:4326", "EPSG:32613", always_xy=True)
    moved = shapely.Point(to_utm.transform(-104.7, 41.2))
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32613"}}

    report = bring_in(
        write_geojson(tmp_path / "utm.geojson", [feature("site", moved, site="CB-14", name="x")], crs=crs)
    )

    assert report.problems == ()
    site = Site.objects.get()
    assert (site.longitude, site.latitude) == pytest.approx((-104.7, 41.2), abs=1e-7)


def vrt(target: Path) -> str:
    """A virtual file that would make GDAL open another file of the server."""
    return (
        '<OGRVRTDataSource><OGRVRTLayer name="site">'
        f"<SrcDataSource>{target}</SrcDataSource><SrcLayer>secret</SrcLayer>"
        "<GeometryType>wkbNone</GeometryType></OGRVRTLayer></OGRVRTDataSource>"
    )


@pytest.mark.parametrize("name", ["book.geojson", "book.kml", "book.gpkg", "book.csv", "book.vrt"])
def test_a_virtual_file_reads_nothing_whatever_it_calls_itself(tmp_path: Path, name: str) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text(SECRET)
    path = tmp_path / name
    path.write_text(vrt(secret))

    book = read_book_file(path)

    assert book.rows == []
    assert len(book.problems) == 1
    assert "STOLEN" not in expected_text(path)
    assert "OGRVRTDataSource" in expected_text(path)


def test_gdal_itself_knows_no_virtual_format(tmp_path: Path) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text(SECRET)
    path = tmp_path / "book.geojson"
    path.write_text(vrt(secret))
    pyogrio = load_pyogrio()

    with pytest.raises(pyogrio.errors.DataSourceError):
        pyogrio.raw.read(path)


@pytest.mark.parametrize(
    ("name", "content", "word"),
    [
        pytest.param(
            "b.geojson", b'{"type": "FeatureCollection", "features": [', "broken JSON at line 1", id="cut"
        ),
        pytest.param("b.geojson", b"not json", "broken JSON", id="no json"),
        pytest.param("b.geojson", b'{"type": "Feature"}', "not one FeatureCollection", id="one feature"),
        pytest.param("b.geojson", b'{"type": "FeatureCollection"}', "without a list", id="no features"),
        pytest.param(
            "b.geojson", b'{"type": "FeatureCollection", "features": [NaN]}', "NaN is not", id="NaN"
        ),
        pytest.param("b.geojson", b"[" * 100_000, "broken JSON", id="deep"),
        pytest.param("b.geojson", b'{"a": "\xff"}', "UTF-8", id="latin"),
        pytest.param(
            "b.geojson",
            b'{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"EPSG:99999"}},"features":[]}',
            "reference system",
            id="unknown system",
        ),
        pytest.param(
            "b.geojson",
            b'{"type":"FeatureCollection","crs":{"type":"link","properties":{"href":"http://x"}},"features":[]}',
            "names no reference system",
            id="linked system",
        ),
        pytest.param("b.gpkg", b"SQLite format 3\x00" + bytes(200), "no GeoPackage", id="plain database"),
        pytest.param("b.kml", b"<?xml version='1.0'?><gpx/>", "no KML", id="other XML"),
        pytest.param(
            "b.kml", b"<!DOCTYPE k [<!ENTITY a 'b'>]><kml>&a;</kml>", "document type", id="entities"
        ),
        pytest.param("b.kml", b"<kml><NetworkLink/></kml>", "links to other files", id="link"),
        pytest.param("b.kml", b"<kml", "broken XML", id="cut XML"),
        pytest.param("b.zip", b"PK\x03\x04rubbish", "cannot be unpacked", id="broken zip"),
        pytest.param("b.txt", b"hello", "no known form", id="text"),
        pytest.param("b.csv", b"name\nx\n", "a column site", id="no code column"),
        pytest.param("b.csv", b'site,name\n"CB-1,x\n', "GeoJSON", id="unbalanced quotes"),
        pytest.param("b.csv", b"site,name,treshold\nCB-1,x,2\n", "one of the columns", id="misspelt column"),
        pytest.param("b.csv", b"site,name\nCB-1,x,y\n", "2 cells", id="one cell too many"),
    ],
)
def test_an_unreadable_file_is_refused_with_a_word(
    tmp_path: Path, name: str, content: bytes, word: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)

    assert word in expected_text(path)
    assert name in expected_text(path)


def test_a_missing_file_is_a_problem_and_no_crash(tmp_path: Path) -> None:
    assert "a readable file" in expected_text(tmp_path / "none.geojson")


def test_a_zip_that_climbs_out_or_holds_other_files_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "zone.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("../../zone.shp", b"x")

    assert "leads out of its folder" in expected_text(path)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("zone.shp", b"x")
        archive.writestr("run.exe", b"x")
    assert "run.exe" in expected_text(path)
    assert not (tmp_path.parent.parent / "zone.shp").exists()


def test_a_zip_of_too_many_files_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "zone.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for number in range(30):
            archive.writestr(f"{number}.shp", b"x")

    assert "more than 20 files" in expected_text(path)


def test_a_projected_file_with_degrees_in_it_is_refused(tmp_path: Path) -> None:
    crs = {"type": "name", "properties": {"name": "EPSG:26913"}}
    path = write_geojson(tmp_path / "b.geojson", [feature("site", point(0, 0), site="a", name="b")], crs=crs)

    assert "no metres" in expected_text(path)


def test_lists_of_plain_values_are_joined(tmp_path: Path) -> None:
    book = changed(small_book(), "sensor", threshold_steps_kpa=[32, 42.5, 55.0])

    rows = read_book_file(write_geojson(tmp_path / "b.geojson", book)).rows

    cells = next(row.cells for row in rows if row.kind == "sensor")
    assert cells["threshold_steps_kpa"] == "32;42.5;55"


@pytest.mark.django_db
def test_an_unknown_layer_and_an_unknown_column_are_told(tmp_path: Path) -> None:
    book: list[Feature] = changed(small_book(), "controller", colour="red")
    path = write_layers(tmp_path / "book.gpkg", book, "GPKG")
    styles = feature("layer_styles", point(0, 0), style="x")
    write_layers(path, [styles], "GPKG")

    report = bring_in(path)

    assert report.problems == ()
    assert any("layer_styles" in warning for warning in report.warnings)
    assert any("'colour'" in warning for warning in report.warnings)
    assert Controller.objects.count() == 1
    assert Sensor.objects.count() == 1
