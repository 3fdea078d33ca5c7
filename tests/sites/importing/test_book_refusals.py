"""What a book is refused for: each problem names file, row, column, value and what was expected."""

from __future__ import annotations

from pathlib import Path

import pytest
import shapely

from sites.models import Change, Site, Zone
from tests.sites.importing.book_files import (
    Feature,
    box,
    bring_in,
    changed,
    feature,
    point,
    redrawn,
    small_book,
    write_geojson,
)
from weather.importing.rows import RowProblem

pytestmark = pytest.mark.django_db

BOOK = small_book()
TIMER = {"site": "CB-14", "controller": "A"}
BOW_TIE = shapely.Polygon([(-104.7, 41.2), (-104.6999, 41.2001), (-104.6999, 41.2), (-104.7, 41.2001)])
SWAPPED_LAWN = shapely.Polygon([(y, x) for x, y in box(0, 2).exterior.coords])


def refusals(tmp_path: Path, features: list[Feature]) -> tuple[RowProblem, ...]:
    """Problems of a book, of which nothing may have been written."""
    report = bring_in(write_geojson(tmp_path / "book.geojson", features))
    assert not report.written
    assert Site.objects.count() == Zone.objects.count() == Change.objects.count() == 0
    return report.problems


@pytest.mark.parametrize(
    ("features", "row", "column", "value", "expected"),
    [
        pytest.param(
            changed(BOOK, "zone", plant="oak"), 4, "plant", "oak", "one of annuals", id="unknown plant"
        ),
        pytest.param(changed(BOOK, "zone", head="hose"), 4, "head", "hose", "bubbler", id="unknown head"),
        pytest.param(changed(BOOK, "zone", soil="mud"), 4, "soil", "mud", "clay_loam", id="unknown soil"),
        pytest.param(changed(BOOK, "zone", plant=None), 4, "plant", "", "a value", id="missing plant"),
        pytest.param(changed(BOOK, "site", name=""), 1, "name", "", "a value", id="empty name"),
        pytest.param(changed(BOOK, "site", timezone="Mars"), 1, "timezone", "Mars", "IANA", id="time zone"),
        pytest.param(changed(BOOK, "site", site="=1+1"), 1, "site", "=1+1", "does not begin", id="formula"),
        pytest.param(changed(BOOK, "site", site="A/B"), 1, "site", "A/B", "without /", id="slash in code"),
        pytest.param(
            changed(BOOK, "site", visit_to="07:00"), 1, "visit_to", "07:00:00", "after visit_from", id="hours"
        ),
        pytest.param(
            changed(BOOK, "controller", day_modes="weekly"),
            3,
            "day_modes",
            "weekly",
            "interval",
            id="day modes",
        ),
        pytest.param(
            changed(BOOK, "zone", distribution_uniformity=62),
            4,
            "distribution_uniformity",
            "62",
            "0.05 to 1",
            id="uniformity in percent",
        ),
        pytest.param(
            changed(BOOK, "zone", station=7), 4, "station", "7", "a station up to 6", id="beyond count"
        ),
        pytest.param(
            changed(BOOK, "zone", station=1.5), 4, "station", "1.5", "whole number", id="half a station"
        ),
        pytest.param(
            changed(BOOK, "zone", station=True), 4, "station", "true", "whole number", id="true station"
        ),
        pytest.param(
            [*BOOK, feature("zone", box(3, 2), **TIMER, station=1, plant="shrubs", head="dripline")],
            15,
            "station",
            "1",
            "each zone once (also row 4)",
            id="duplicate station",
        ),
        pytest.param(
            [*BOOK, feature("site", point(1, 1), site="CB-14", name="again")],
            15,
            "site",
            "CB-14",
            "each site once (also row 1)",
            id="duplicate site",
        ),
        pytest.param(
            [*BOOK, feature("sensor", point(1, 3), **TIMER, station=2)],
            15,
            "controller",
            "A",
            "one sensor a controller (also row 7)",
            id="second sensor",
        ),
        pytest.param(
            changed(BOOK, "sensor", threshold_kpa=10, threshold_steps_kpa=None),
            7,
            "threshold_kpa",
            "10",
            "more than 10 kPa, the tension at field capacity",
            id="at field capacity",
        ),
        pytest.param(
            changed(BOOK, "sensor", threshold_kpa=6, threshold_steps_kpa="6;8"),
            7,
            "threshold_kpa",
            "6",
            "would never block",
            id="wetter than field capacity",
        ),
        pytest.param(
            changed(BOOK, "sensor", threshold_kpa=44),
            7,
            "threshold_kpa",
            "44",
            "32, 42, 55",
            id="no such setting",
        ),
        pytest.param(
            changed(BOOK, "sensor", threshold_steps_kpa="55;42;32"),
            7,
            "threshold_steps_kpa",
            "55;42;32",
            "wettest",
            id="driest first",
        ),
        pytest.param(
            changed(BOOK, "sensor", station=3), 7, "station", "3", "has a zone", id="governs nothing"
        ),
        pytest.param(
            changed(BOOK, "sensor", installed_on="2026-06-16"),
            7,
            "installed_on",
            "2026-06-16",
            "up to 2026-06-15",
            id="installed tomorrow",
        ),
        pytest.param(
            changed(BOOK, "sensor", installed_on="04/01/2025"),
            7,
            "installed_on",
            "04/01/2025",
            "a date as",
            id="date the other way round",
        ),
        pytest.param(
            changed(BOOK, "wire", spare=6), 9, "spare", "6", "at most the 5", id="more spare than wires"
        ),
        pytest.param(changed(BOOK, "structure", type="shed"), 10, "type", "shed", "building", id="structure"),
        pytest.param(
            changed(BOOK, "structure", kind="shed"), 10, "kind", "shed", "one of site", id="unknown kind"
        ),
        pytest.param(
            changed(BOOK, "valve_box", site="XX"), 8, "site", "XX", "a site of the book", id="no such site"
        ),
        pytest.param(
            changed(BOOK, "sprinkler", controller="Z"),
            11,
            "controller",
            "Z",
            "a controller of site CB-14",
            id="no such controller",
        ),
        pytest.param(
            changed(BOOK, "zone", name="\ud800"), 4, "name", "\\ud800", "a plain text", id="half a letter"
        ),
        pytest.param(
            changed(BOOK, "zone", name={"en": "lawn"}),
            4,
            "name",
            "{'en': 'lawn'}",
            "a plain text",
            id="nested value",
        ),
        pytest.param(
            changed(BOOK, "zone", area_m2=400),
            4,
            "area_m2",
            "400",
            "within 5 % of the shape's 93.",
            id="area",
        ),
        pytest.param(
            redrawn(BOOK, "zone", BOW_TIE),
            4,
            "geometry",
            "Self-intersection at -1",
            "does not cross",
            id="bow tie",
        ),
        pytest.param(
            redrawn(BOOK, "zone", SWAPPED_LAWN), 4, "geometry", "latitude -104", "swapped", id="swapped"
        ),
        pytest.param(
            redrawn(BOOK, "site", shapely.Point(41.2, -84.7)),
            1,
            "geometry",
            "longitude 41.2",
            "swapped",
            id="swapped within the globe",
        ),
        pytest.param(
            redrawn(BOOK, "zone", box(900, 900)),
            4,
            "geometry",
            "km away",
            "within 2 km",
            id="far from its site",
        ),
        pytest.param(
            redrawn(BOOK, "zone", shapely.box(523_000, 4_561_000, 523_010, 4_561_010)),
            4,
            "geometry",
            "longitude 523",
            "declared reference system",
            id="undeclared metres",
        ),
        pytest.param(
            redrawn(BOOK, "zone", point(0, 2)), 4, "geometry", "Point", "a Polygon", id="a point lawn"
        ),
        pytest.param(redrawn(BOOK, "zone", None), 4, "area_m2", "", "an area where", id="no shape, no area"),
        pytest.param(
            redrawn(BOOK, "valve_box", None), 8, "geometry", "", "a Point", id="box without a place"
        ),
        pytest.param(
            redrawn(BOOK, "zone", shapely.Polygon()), 4, "geometry", "", "not empty", id="empty shape"
        ),
    ],
)
def test_a_bad_row_is_named_and_nothing_is_written(
    tmp_path: Path, features: list[Feature], row: int, column: str, value: str, expected: str
) -> None:
    problems = refusals(tmp_path, features)

    mine = [problem for problem in problems if problem.row == row and problem.column == column]
    assert len(mine) == 1, [str(problem) for problem in problems]
    assert mine[0].file == "book.geojson"
    assert value in mine[0].value
    assert expected in mine[0].expected


@pytest.mark.parametrize(
    "geometry",
    [
        {"type": "Point", "coordinates": ["-104.7", "41.2"]},
        {"type": "Point", "coordinates": [True, False]},
        {"type": "Point", "coordinates": [-104.7]},
        {"type": "Point", "coordinates": [10**400, 1]},
        {"type": "Polygon", "coordinates": [[[0, 0], [1, 1]]]},
        {"type": "Polygon", "coordinates": []},
        {"type": "GeometryCollection", "geometries": []},
        {"type": ["Point"]},
        "POINT (1 2)",
    ],
)
def test_a_geometry_that_is_none_is_refused(tmp_path: Path, geometry: object) -> None:
    broken = {
        "type": "Feature",
        "properties": {"kind": "site", "site": "a", "name": "b"},
        "geometry": geometry,
    }

    assert [problem.column for problem in refusals(tmp_path, [broken])] == ["geometry"]


def test_all_bad_rows_are_listed_at_once(tmp_path: Path) -> None:
    book = changed(
        changed(changed(BOOK, "zone", plant="oak", head="hose"), "sensor", depth_mm="deep"), "site", name=""
    )

    found = {(problem.row, problem.column) for problem in refusals(tmp_path, book)}

    assert {(1, "name"), (4, "plant"), (4, "head"), (7, "depth_mm")} <= found


def test_what_hangs_on_a_refused_row_is_refused_with_it(tmp_path: Path) -> None:
    path = write_geojson(tmp_path / "book.geojson", changed(BOOK, "controller", station_count=0))

    report = bring_in(path, keep_good=True)

    assert report.written
    assert sorted(Site.objects.values_list("code", flat=True)) == ["CB-14", "CB-15"]
    assert Zone.objects.count() == 0
    assert {problem.row for problem in report.problems} == {3, 4, 5, 6, 7, 11}


def test_a_controller_cannot_lose_stations_that_have_zones(tmp_path: Path) -> None:
    bring_in(write_geojson(tmp_path / "book.geojson", BOOK))

    report = bring_in(
        write_geojson(tmp_path / "book.geojson", changed(BOOK, "controller", station_count=4)[2:3])
    )

    assert [(problem.column, problem.value) for problem in report.problems] == [("station_count", "4")]
    assert "at least 5" in report.problems[0].expected


def test_odd_shapes_are_kept_with_a_word(tmp_path: Path) -> None:
    book = redrawn(BOOK, "zone", box(3, 2, 2, 1))
    book = redrawn(book, "sensor", point(0.5, 3.5))

    report = bring_in(write_geojson(tmp_path / "book.geojson", book))

    assert report.problems == ()
    assert any("50% of it outside the lot" in warning for warning in report.warnings)
    assert any("outside the zone that it governs by" in warning for warning in report.warnings)


def test_zones_over_each_other_are_kept_with_a_word(tmp_path: Path) -> None:
    report = bring_in(write_geojson(tmp_path / "book.geojson", redrawn(BOOK, "zone", box(0.5, 2))))

    assert report.problems == ()
    assert any("50% shared" in warning for warning in report.warnings)


def test_a_name_that_stands_twice_is_never_settled_by_what_is_wrong_with_one_row(tmp_path: Path) -> None:
    """The second zone has a head that nobody knows: the first is not taken all the same, however often."""
    twin = feature("zone", box(3, 2), **TIMER, station=1, plant="shrubs", head="fountain")
    path = write_geojson(tmp_path / "book.geojson", [*BOOK, twin])

    for _ in range(2):
        report = bring_in(path, keep_good=True)

        told = {(one.row, one.column): one.expected for one in report.problems}
        assert told[4, "station"] == "each zone once (also row 15)"
        assert (15, "head") in told
        assert not Zone.objects.filter(station=1).exists()
    assert not bring_in(write_geojson(path, BOOK), keep_good=True).problems
    assert Zone.objects.filter(station=1).exists()
