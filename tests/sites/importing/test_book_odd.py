"""Odd rows thrown at the book: it refuses or takes them, but never breaks and never writes half."""

from __future__ import annotations

import copy
import json
import tempfile
from pathlib import Path
from typing import Any

import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sites.importing.book.file import read_book_file
from sites.models import Change, Controller, Sensor, Site, Zone
from tests.sites.importing.book_files import Feature, bring_in, small_book

pytestmark = pytest.mark.django_db
BOOK = small_book()
COLUMNS = sorted({name for one in BOOK for name in one["properties"]})

odd_text = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        [
            "",
            " ",
            "=1+1",
            "${1}",
            "<script>",
            "nan",
            "inf",
            "-inf",
            "1e400",
            "1_000",
            "0x10",
            "-1",
            "A/B",
            "\x00",
            "٣",
        ]
    ),
)
odd_value = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(allow_nan=False, allow_infinity=False),
    odd_text,
    st.lists(odd_text, max_size=3),
    st.dictionaries(st.text(max_size=3), st.none(), max_size=2),
)
odd_position = st.lists(
    st.one_of(st.floats(-400, 400), st.integers(-200, 200), odd_text, st.none()), max_size=4
)
odd_geometry = st.one_of(
    st.none(),
    odd_value,
    st.fixed_dictionaries({"type": st.sampled_from(["Point", "Nothing"]), "coordinates": odd_position}),
    st.fixed_dictionaries(
        {
            "type": st.sampled_from(["LineString", "MultiPoint", "Polygon"]),
            "coordinates": st.lists(st.one_of(odd_position, st.lists(odd_position, max_size=5)), max_size=5),
        }
    ),
    st.fixed_dictionaries(
        {
            "type": st.just("Polygon"),
            "coordinates": st.lists(
                st.lists(st.tuples(st.floats(-104.701, -104.699), st.floats(41.199, 41.201)), max_size=7),
                max_size=3,
            ),
        }
    ),
)
damage = st.tuples(
    st.integers(0, len(BOOK) - 1), st.sampled_from([*COLUMNS, "GEOMETRY"]), odd_value, odd_geometry
)


def damaged(damages: list[tuple[int, str, Any, Any]]) -> list[Feature]:
    """The small book with some of its values and shapes replaced."""
    book = copy.deepcopy(BOOK)
    for row, column, value, geometry in damages:
        if column == "GEOMETRY":
            book[row]["geometry"] = geometry
        else:
            book[row]["properties"][column] = value
    return book


def as_file(folder: str, features: list[Feature]) -> Path:
    path = Path(folder) / "book.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def clear() -> None:
    Site.objects.all().delete()
    Change.objects.all().delete()


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(damages=st.lists(damage, min_size=1, max_size=6), keep_good=st.booleans())
def test_a_damaged_book_is_refused_whole_or_kept_in_part(
    damages: list[tuple[int, str, Any, Any]], keep_good: bool
) -> None:
    clear()
    with tempfile.TemporaryDirectory() as folder:
        path = as_file(folder, damaged(damages))

        report = bring_in(path, keep_good=keep_good)

        if report.problems and not keep_good:
            assert Site.objects.count() == Zone.objects.count() == Change.objects.count() == 0
            return
        assert Change.objects.count() == report.added
        again = bring_in(path, keep_good=keep_good)
        assert (again.added, again.changed) == (0, 0)
    for zone in Zone.objects.select_related("controller"):
        assert zone.area_m2 > 0
        assert zone.station <= zone.controller.station_count
        assert zone.shape is None or zone.shape.is_valid
    for sensor in Sensor.objects.all():
        assert sensor.threshold_kpa is None or sensor.threshold_kpa > 10
        assert Zone.objects.filter(controller=sensor.controller, station=sensor.station).exists()
    assert Controller.objects.filter(station_count__lt=1).count() == 0
    for site in Site.objects.exclude(geometry=None):
        assert site.shape is not None
        assert site.longitude is not None
        assert site.latitude is not None
        assert site.shape.intersects(shapely.Point(site.longitude, site.latitude).buffer(1e-6))


@settings(max_examples=150, deadline=None)
@given(
    content=st.one_of(st.binary(max_size=300), st.text(max_size=300).map(str.encode)),
    start=st.sampled_from(
        [
            b"",
            b"SQLite format 3\x00",
            b"PK\x03\x04",
            b"<",
            b"<kml>",
            b"{",
            b'{"type":"FeatureCollection","features":[',
        ]
    ),
    ending=st.sampled_from([".geojson", ".csv", ".kml", ".zip", ".gpkg"]),
)
def test_any_bytes_are_read_or_refused(content: bytes, start: bytes, ending: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"book{ending}"
        path.write_bytes(start + content)

        book = read_book_file(path)

    assert len(book.rows) == len(book.geometries)
    assert book.rows or book.problems or not content.strip()


@settings(max_examples=60, deadline=None)
@given(rows=st.lists(st.lists(odd_text, max_size=6), max_size=5))
def test_any_table_of_sites_is_read_or_refused(rows: list[list[str]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sites.csv"
        path.write_text("site,name,slope_pct\n" + "\n".join(",".join(row) for row in rows), encoding="utf-8")

        report = bring_in(path, dry_run=True)

    assert not report.written
