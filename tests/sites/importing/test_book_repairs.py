"""Repairs are offered with their areas, made only where accepted, and leave valid shapes (OGC)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import shapely
from pyproj import Geod

from sites.calc.geometry.report import Fault
from sites.importing.book.offers import EVERY, OF_FORM, Repair, RepairChoice
from sites.models import Change, Zone
from sites.services.book import BookLook, look_at_book
from tests.sites.importing.book_files import (
    DAY,
    NOW,
    STEP,
    box,
    bring_in,
    redrawn,
    small_book,
    write_geojson,
    write_layers,
)

pytestmark = pytest.mark.django_db
GEOD = Geod(ellps="WGS84")
WEST, SOUTH = -104.7, 41.2


def look(path: Path, choice: RepairChoice, *, write: bool = True) -> BookLook:
    return look_at_book(
        path=path, today=DAY, now=NOW, by="test", timezone="America/Denver", dry_run=not write,
        keep_good=False, layout=None, choice=choice, name="",
    )  # fmt: skip


def ring(*steps: tuple[float, float]) -> list[list[float]]:
    return [[round(WEST + x * STEP, 8), round(SOUTH + y * STEP, 8)] for x, y in steps]


def lawn(folder: Path, *rings: list[list[float]]) -> Path:
    """The small book with its first zone drawn by the rings as they are."""
    book = small_book()
    zone = next(one for one in book if one["properties"]["kind"] == "zone")
    zone["geometry"] = {"type": "Polygon", "coordinates": list(rings)}
    book = [one for one in book if one["properties"]["kind"] not in ("sensor", "sprinkler")]
    return write_geojson(folder / "book.geojson", book)


def offered(found: BookLook, fault: Fault) -> Repair:
    return next(repair for repair in found.repairs if repair.fault is fault)


BOW_TIE = ring((0, 2), (1, 3), (1, 2), (0, 3), (0, 2))
CASES = {
    "crossing": (Fault.SELF_CROSSING, [BOW_TIE]),
    "hole outside": (
        Fault.HOLE,
        [ring((0, 2), (1, 2), (1, 3), (0, 3), (0, 2)), ring((2, 2), (2, 2.5), (2.5, 2.5), (2.5, 2), (2, 2))],
    ),
    "open": (Fault.OPEN_RING, [ring((0, 2), (1, 2), (1, 3), (0, 3))]),
    "twice": (Fault.REPEATED, [ring((0, 2), (1, 2), (1, 2), (1, 3), (0, 3), (0, 2))]),
    "clockwise": (Fault.RING_ORDER, [ring((0, 2), (0, 3), (1, 3), (1, 2), (0, 2))]),
    "height": (Fault.HAS_HEIGHT, [[[*xy, 1600] for xy in ring((0, 2), (1, 2), (1, 3), (0, 3), (0, 2))]]),
    "swapped": (Fault.SWAPPED, [[[y, x] for x, y in ring((0, 2), (1, 2), (1, 3), (0, 3), (0, 2))]]),
    "thin hole": (
        Fault.SLIVER,
        [
            ring((0, 2), (1, 2), (1, 3), (0, 3), (0, 2)),
            ring((0.2, 2.2), (0.2, 2.8), (0.205, 2.8), (0.205, 2.2), (0.2, 2.2)),
        ],
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_an_accepted_repair_gives_a_valid_shape_of_the_area_that_was_told(tmp_path: Path, case: str) -> None:
    fault, rings = CASES[case]

    found = look(lawn(tmp_path, *rings), EVERY)

    assert found.report.problems == ()
    repair = offered(found, fault)
    assert repair.is_made
    shape = Zone.objects.get(station=1).shape
    assert shape is not None
    assert shape.is_valid
    geodesic, _ = GEOD.geometry_area_perimeter(shapely.orient_polygons(shape))
    assert repair.after_m2 == pytest.approx(abs(geodesic), rel=1e-4)
    assert any(str(fault) in line for line in found.report.warnings)


@pytest.mark.parametrize("case", ["crossing", "swapped", "open", "twice", "clockwise", "height"])
def test_nothing_that_needs_a_repair_goes_in_without_it(tmp_path: Path, case: str) -> None:
    fault, rings = CASES[case]

    found = look(lawn(tmp_path, *rings), RepairChoice())

    assert not offered(found, fault).is_made
    assert [(problem.row, problem.column) for problem in found.report.problems] == [(4, "geometry")]
    assert Zone.objects.count() == 0


def test_a_repair_accepted_alone_is_made_and_another_is_not(tmp_path: Path) -> None:
    path = lawn(tmp_path, BOW_TIE)
    repair = offered(look(path, EVERY, write=False), Fault.SELF_CROSSING)

    wrong = look(path, RepairChoice(keys={repair.key: (repair.after_m2 or 0) * 2}))
    right = look(path, RepairChoice(keys={repair.key: repair.after_m2}))

    assert wrong.report.problems
    assert not wrong.report.written
    assert right.report.written
    assert look(path, RepairChoice(keys={repair.key: repair.after_m2})).report.changed == 0


def test_the_history_names_the_repair_with_its_areas_and_nothing_else(tmp_path: Path) -> None:
    found = look(lawn(tmp_path, BOW_TIE), EVERY)

    repair = offered(found, Fault.SELF_CROSSING)
    reasons = dict(Change.objects.filter(kind="zone").values_list("key", "reason"))
    before, after = f"{repair.before_m2:.1f} m²", f"{repair.after_m2:.1f} m²"
    mended = f"site book imported; mended: self-crossing, area {before} before, {after} after"
    assert reasons["CB-14/A/1"] == mended
    assert reasons["CB-14/A/2"] == "site book imported"


def test_shared_ground_goes_to_the_smaller_zone_only_when_accepted(tmp_path: Path) -> None:
    book = redrawn(small_book(), "zone", box(0, 2, 1.5, 1))
    path = write_geojson(tmp_path / "book.geojson", book)

    as_drawn = look(path, OF_FORM, write=False)
    cut = look(path, EVERY)

    assert as_drawn.report.problems == cut.report.problems == ()
    assert not offered(as_drawn, Fault.OVERLAP).is_made
    lawn_, bed = (Zone.objects.get(station=number).shape for number in (1, 2))
    assert lawn_ is not None
    assert bed is not None
    assert lawn_.intersection(bed).area < 1e-14
    assert any("overlap" in line for line in as_drawn.report.warnings)


def test_a_zone_beyond_its_lot_is_cut_at_the_edge_when_accepted(tmp_path: Path) -> None:
    path = write_geojson(tmp_path / "book.geojson", redrawn(small_book(), "zone", box(-1, 2, 2, 1)))

    repair = offered(look(path, EVERY), Fault.OUTSIDE_LOT)

    assert repair.before_m2 == pytest.approx(2 * (repair.after_m2 or 0), rel=1e-3)
    assert Zone.objects.get(station=1).min_lon == pytest.approx(WEST, abs=1e-8)


def test_a_mixed_shape_keeps_the_ground(tmp_path: Path) -> None:
    kml = """<kml><Document><Folder><name>Sites</name><Placemark><name>Okafor</name><ExtendedData>
    <Data name="SITE"><value>CB-14</value></Data></ExtendedData><MultiGeometry><Point><coordinates>
    -104.7,41.2</coordinates></Point><MultiGeometry><Polygon><outerBoundaryIs><LinearRing><coordinates>
    -104.7,41.2 -104.699, 41.2 -104.699,41.201 -104.7,41.201 -104.7,41.2</coordinates></LinearRing>
    </outerBoundaryIs></Polygon></MultiGeometry></MultiGeometry></Placemark></Folder></Document></kml>"""
    path = tmp_path / "book.kml"
    path.write_text(kml)

    assert look(path, OF_FORM).report.problems
    found = look(path, EVERY)

    assert found.report.problems == ()
    assert offered(found, Fault.MIXED).is_made
    assert json.dumps(found.report.warnings).count("mixed shape") == 1


FLAT = shapely.Polygon([(WEST, SOUTH)] * 5)


@pytest.mark.parametrize(
    ("drawn", "stations"), [(FLAT, [2, 5]), (shapely.MultiPolygon([FLAT, box(0, 2)]), [1, 2, 5])]
)
def test_a_shape_that_is_one_point_many_times_stops_no_other(
    tmp_path: Path, drawn: shapely.Polygon | shapely.MultiPolygon, stations: list[int]
) -> None:
    path = write_layers(tmp_path / "book.gpkg", redrawn(small_book(), "zone", drawn), "GPKG")

    found = bring_in(path, keep_good=True)

    assert list(Zone.objects.order_by("station").values_list("station", flat=True)) == stations
    if 1 in stations:
        assert any("mended in 1 shapes, rows zone 1" in line for line in found.warnings)
    else:
        assert ("geometry", 1) in {(problem.column, problem.row) for problem in found.problems}
