"""Writing the book: upserts by natural key, repeatable, with a history; and back out again unchanged."""

from __future__ import annotations

import json
from datetime import date
from itertools import pairwise
from pathlib import Path

import pytest
from django.core.management import call_command
from pytest_django import DjangoAssertNumQueries

from fleet.models import Company
from sites.calc.geometry.areas import area_m2, as_array
from sites.exports import book as book_export
from sites.exports import history as history_export
from sites.exports.geopackage import write_geopackage
from sites.models import (
    Change,
    Controller,
    Fixture,
    Sensor,
    Site,
    Sprinkler,
    Structure,
    ValveBox,
    Wire,
    Zone,
)
from tests.sites.importing.book_files import (
    DAY,
    box,
    bring_in,
    changed,
    feature,
    point,
    redrawn,
    small_book,
    write_geojson,
)

pytestmark = pytest.mark.django_db
BOOK = small_book()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return write_geojson(tmp_path / "book.geojson", BOOK)


def test_every_kind_arrives(path: Path) -> None:
    report = bring_in(path)

    assert (report.added, report.changed, report.unchanged, report.problems) == (len(BOOK), 0, 0, ())
    site = Site.objects.get(code="CB-14")
    assert (site.gate_code, site.soil, site.slope_pct, str(site.visit_from)) == (
        "4711",
        "clay_loam",
        4,
        "08:00:00",
    )
    assert site.imported_on == DAY
    assert (site.longitude, site.latitude) == pytest.approx((-104.6998, 41.2002))
    zone = Zone.objects.get(station=1)
    assert zone.area_m2 == pytest.approx(area_m2(as_array([box(0, 2)]))[0], abs=5e-4)
    assert (zone.plant, zone.sun, zone.planted_on) == ("cool_turf", "part", date(2024, 5, 1))
    assert Zone.objects.get(station=5).geometry is None
    sensor = Sensor.objects.get()
    assert (sensor.threshold_kpa, sensor.threshold_steps) == (42, (32, 42, 55))
    assert ValveBox.objects.get().spare_wires == 2
    assert (Wire.objects.get().conductors, Wire.objects.get().spare) == (5, 1)
    assert Structure.objects.get().type == "building"
    assert Sprinkler.objects.get().zone == zone
    assert sorted(Fixture.objects.values_list("kind", flat=True)) == [
        "backflow_preventer",
        "shutoff",
        "water_meter",
    ]


def test_defaults_are_marked_assumed_and_a_sensor_governs(path: Path) -> None:
    bring_in(path)

    controller = Controller.objects.get()
    assert controller.governed
    assert controller.gating == "at_start"
    assert (controller.program_count, controller.starts_per_program, controller.max_run_min) == (3, 4, 240)
    assert set(controller.assumed.split()) == {
        "program_count", "starts_per_program", "max_run_min", "day_modes", "station_order", "governed",
        "stations_at_once",
    }  # fmt: skip


def test_a_second_run_changes_nothing(path: Path) -> None:
    bring_in(path)
    stamp = list(Change.objects.values_list("id", flat=True))

    report = bring_in(path)

    assert (report.added, report.changed, report.unchanged) == (0, 0, len(BOOK))
    assert list(Change.objects.values_list("id", flat=True)) == stamp


def test_only_what_differs_is_written_and_kept_in_the_history(path: Path, tmp_path: Path) -> None:
    bring_in(path)
    ids = dict(Zone.objects.values_list("station", "pk"))
    Site.objects.filter(code="CB-14").update(imported_on=date(2020, 1, 1), program_frozen=True)
    other = changed(changed(BOOK, "zone", plant="warm_turf"), "site", gate_code="9999")

    report = bring_in(write_geojson(tmp_path / "new.geojson", other))

    assert (report.added, report.changed) == (0, 2)
    assert dict(Zone.objects.values_list("station", "pk")) == ids
    site = Site.objects.get(code="CB-14")
    assert (site.gate_code, site.imported_on, site.program_frozen) == ("9999", date(2020, 1, 1), True)
    change = Change.objects.get(kind="zone", action="changed")
    assert (change.key, change.site_code, change.by) == ("CB-14/A/1", "CB-14", "test")
    assert (change.before, change.after) == ({"plant": "cool_turf"}, {"plant": "warm_turf"})


def test_a_column_that_is_absent_stays_and_an_empty_one_is_cleared(path: Path, tmp_path: Path) -> None:
    bring_in(path)
    lawn = dict(BOOK[3]["properties"])
    del lawn["name"]
    lawn["precipitation_rate_mm_h"] = None
    one = {"type": "Feature", "properties": lawn, "geometry": None}

    bring_in(write_geojson(tmp_path / "part.geojson", [one]))

    zone = Zone.objects.get(station=1)
    assert (zone.name, zone.precipitation_rate_mm_h) == ("front lawn", None)
    assert zone.geometry is not None
    assert zone.area_m2 == pytest.approx(93.2, abs=0.5)


def test_a_moved_lawn_takes_its_area_along(path: Path, tmp_path: Path) -> None:
    bring_in(path)

    bring_in(write_geojson(tmp_path / "new.geojson", redrawn(BOOK, "zone", box(0, 2, 1, 2))))

    zone = Zone.objects.get(station=1)
    assert zone.area_m2 == pytest.approx(area_m2(as_array([box(0, 2, 1, 2)]))[0], abs=5e-4)
    assert zone.max_lat == pytest.approx(41.2004)
    assert set(Change.objects.get(kind="zone", action="changed").before or {}) == {"area_m2", "geometry"}


def test_a_dry_run_reports_and_writes_nothing(path: Path) -> None:
    report = bring_in(path, dry_run=True)

    assert (report.added, report.written) == (len(BOOK), False)
    assert Site.objects.count() == Change.objects.count() == 0


def test_a_sensor_that_comes_later_governs_its_controller(tmp_path: Path) -> None:
    without = [one for one in BOOK if one["properties"]["kind"] != "sensor"]
    bring_in(write_geojson(tmp_path / "first.geojson", without))
    assert not Controller.objects.get().governed

    bring_in(write_geojson(tmp_path / "later.geojson", [one for one in BOOK if one not in without]))

    assert Controller.objects.get().governed
    assert bring_in(write_geojson(tmp_path / "later.geojson", BOOK)).changed == 0


@pytest.mark.parametrize(
    "name", ["${1}", "<script>alert(1)</script>", "=HYPERLINK(1)", 'O\'Brien; "x"', "草地 🌱"]
)
def test_a_name_is_text_whatever_it_looks_like(tmp_path: Path, name: str) -> None:
    bring_in(write_geojson(tmp_path / "b.geojson", [feature("site", point(0, 0), site="CB-14", name=name)]))

    assert Site.objects.get().name == name
    assert next(iter(book_export.features()))["properties"]["name"] == name  # type: ignore[index]


@pytest.mark.parametrize("private", [True, False])
def test_the_exported_book_comes_in_again_unchanged(path: Path, tmp_path: Path, private: bool) -> None:
    bring_in(path)
    assumed = Controller.objects.get().assumed
    features = json.loads(json.dumps(list(book_export.features(private=private))))

    as_json = bring_in(write_geojson(tmp_path / "out.geojson", features))
    counts = write_geopackage(path=tmp_path / "out.gpkg", features=book_export.features(private=private))
    as_package = bring_in(tmp_path / "out.gpkg")

    for report in (as_json, as_package):
        assert (report.added, report.changed, report.unchanged, report.problems) == (0, 0, len(BOOK), ())
    assert sum(counts.values()) == len(BOOK)
    assert Controller.objects.get().assumed == assumed
    assert Site.objects.get(code="CB-14").gate_code == "4711"


def test_the_exported_book_builds_the_same_book_elsewhere(path: Path, tmp_path: Path) -> None:
    bring_in(path)
    before = list(book_export.features(private=True))
    out = write_geojson(tmp_path / "out.geojson", json.loads(json.dumps(before)))
    Site.objects.all().delete()

    bring_in(out)

    assert list(book_export.features(private=True)) == before


def test_contacts_and_codes_leave_only_when_asked_for(path: Path, tmp_path: Path) -> None:
    bring_in(path)
    bring_in(write_geojson(tmp_path / "new.geojson", changed(BOOK, "site", phone="555 0999")))
    secrets = ("T. Okafor", "0114", "0999", "okafor@", "Ring first", "4711")

    public = repr(list(book_export.features())) + repr(list(book_export.rows()))
    public += repr(list(history_export.rows()))
    private = repr(list(book_export.features(private=True))) + repr(list(history_export.rows(private=True)))

    assert not [secret for secret in secrets if secret in public]
    assert not [secret for secret in secrets if secret not in private]
    assert set(history_export.COLUMNS) == set(next(iter(history_export.rows())))


def test_geojson_rings_follow_the_right_hand_rule(path: Path) -> None:
    bring_in(path)

    lot = next(iter(book_export.features()))["geometry"]

    assert isinstance(lot, dict)
    ring = lot["coordinates"][0]
    turn = sum((b[0] - a[0]) * (b[1] + a[1] - 2 * 41.2) for a, b in pairwise(ring))
    assert turn < 0  # counter-clockwise


def test_the_csv_of_sites_comes_in_again(path: Path, tmp_path: Path) -> None:
    bring_in(path)
    rows = list(book_export.rows(private=True))
    lines = [
        ",".join(book_export.COLUMNS),
        *(",".join(f'"{row[name]}"' for name in book_export.COLUMNS) for row in rows),
    ]
    (tmp_path / "sites.csv").write_text("\n".join(lines))

    report = bring_in(tmp_path / "sites.csv")

    assert (report.added, report.changed, report.unchanged, report.problems) == (0, 0, 2, ())


def test_an_import_asks_the_database_a_fixed_number_of_times(
    path: Path, tmp_path: Path, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    many = [feature("site", point(n % 100, n // 100), site=f"S-{n}", name=f"garden {n}") for n in range(300)]

    with django_assert_max_num_queries(40):
        bring_in(write_geojson(tmp_path / "many.geojson", many))

    assert Site.objects.count() == 300


def test_the_command_lists_problems_and_leaves_with_1(
    company: Company, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = write_geojson(tmp_path / "bad.geojson", changed(BOOK, "zone", plant="oak"))

    with pytest.raises(SystemExit) as left:
        call_command("import_book", str(bad))

    said = capsys.readouterr()
    assert left.value.code == 1
    assert "bad.geojson: row 4, column plant: 'oak': expected one of" in said.err
    assert "nothing was written" in said.out.splitlines()[-1]


def test_the_command_ends_with_one_line(
    company: Company, path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("import_book", str(path))

    assert (
        capsys.readouterr().out.splitlines()[-1] == f"book.geojson: {len(BOOK)} added, 0 changed, 0 unchanged"
    )
    assert Site.objects.get(code="CB-15").timezone == company.timezone
