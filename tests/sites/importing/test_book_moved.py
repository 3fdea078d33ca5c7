"""A book that comes again with wires, structures and heads drawn elsewhere: moved, not added again."""

from __future__ import annotations

import copy
from pathlib import Path

import pytest
import shapely
from shapely.affinity import translate
from shapely.geometry import mapping, shape

from sites.models import Change, Fixture, Sprinkler, Structure, Wire
from sites.services.restore import restore_changes
from tests.sites.importing.book_files import (
    DAY,
    NOW,
    STEP,
    Feature,
    box,
    bring_in,
    feature,
    point,
    small_book,
    write_geojson,
)

pytestmark = pytest.mark.django_db
NAMELESS = ("wire", "structure", "sprinkler", "water_meter", "shutoff", "backflow_preventer")
TABLES = (Wire, Structure, Sprinkler, Fixture)


def shifted(book: list[Feature], east: float, kinds: tuple[str, ...] = NAMELESS) -> list[Feature]:
    """The book with things of the kinds moved east by steps of about 8 m."""
    book = copy.deepcopy(book)
    for one in book:
        if one["properties"]["kind"] in kinds:
            one["geometry"] = mapping(translate(shape(one["geometry"]), east * STEP))
    return book


def rows() -> list[list[int]]:
    return [sorted(table.objects.values_list("pk", flat=True)) for table in TABLES]


def test_what_moved_keeps_its_row_and_is_told_before(tmp_path: Path) -> None:
    book = small_book()
    bring_in(write_geojson(tmp_path / "a.geojson", book))
    before, wire = rows(), Wire.objects.get()
    path = write_geojson(tmp_path / "b.geojson", shifted(book, 0.1))

    told = bring_in(path, dry_run=True)
    report = bring_in(path)
    again = bring_in(path)

    assert (told.added, told.changed) == (report.added, report.changed) == (0, len(NAMELESS))
    for kind in NAMELESS:
        assert any(line.startswith(f"{kind}: 1 taken for") for line in told.warnings), kind
    assert rows() == before
    assert (again.added, again.changed) == (0, 0)
    assert not any("taken for" in line for line in again.warnings)
    moved = Wire.objects.get()
    assert moved.fingerprint != wire.fingerprint
    assert wire.min_lon is not None
    assert moved.min_lon == pytest.approx(wire.min_lon + 0.1 * STEP, abs=1e-8)


def test_a_move_stands_in_the_history_and_is_restored(tmp_path: Path) -> None:
    book = small_book()
    bring_in(write_geojson(tmp_path / "a.geojson", book))
    was = bytes(Wire.objects.get().geometry or b"")
    bring_in(write_geojson(tmp_path / "b.geojson", shifted(book, 0.1, ("wire",))))
    entry = Change.objects.get(kind="wire", action=Change.Action.CHANGED)

    assert entry.thing_id == Wire.objects.get().pk
    assert entry.before is not None
    assert entry.after is not None
    assert set(entry.before) == set(entry.after) == {"geometry"}
    restore_changes(change_ids=[entry.pk], by="hana", at=NOW, today=DAY)

    now = shapely.from_wkb(bytes(Wire.objects.get().geometry or b""))
    assert shapely.equals_exact(now, shapely.from_wkb(was), tolerance=1e-9)


def test_a_wire_that_grew_is_the_same_and_one_far_away_is_another(tmp_path: Path) -> None:
    book = [one for one in small_book() if one["properties"]["kind"] == "site"]
    short = shapely.LineString([point(0, 0), point(2, 0)])
    long = shapely.LineString([point(0, 0.05), point(2, 0.05), point(2, 3)])
    far = shapely.LineString([point(0, 3.5), point(1, 3.5)])

    bring_in(write_geojson(tmp_path / "a.geojson", [*book, feature("wire", short, site="CB-14")]))
    first = Wire.objects.get().pk
    grown = bring_in(write_geojson(tmp_path / "b.geojson", [*book, feature("wire", long, site="CB-14")]))
    other = bring_in(write_geojson(tmp_path / "c.geojson", [*book, feature("wire", far, site="CB-14")]))

    assert (grown.added, grown.changed) == (0, 1)
    assert (other.added, other.changed) == (1, 0)
    assert Wire.objects.count() == 2
    assert Wire.objects.filter(pk=first).exists()


def test_a_structure_of_another_type_is_another(tmp_path: Path) -> None:
    book = [one for one in small_book() if one["properties"]["kind"] == "site"]
    house = feature("structure", box(0, 0), site="CB-14", type="building")
    pool = feature("structure", box(0.1, 0), site="CB-14", type="pool")

    bring_in(write_geojson(tmp_path / "a.geojson", [*book, house]))
    bring_in(write_geojson(tmp_path / "b.geojson", [*book, pool]))

    assert sorted(Structure.objects.values_list("type", flat=True)) == ["building", "pool"]


def test_of_heads_in_a_row_each_is_taken_for_its_nearest(tmp_path: Path) -> None:
    book = [one for one in small_book() if one["properties"]["kind"] in ("site", "controller", "zone")]
    heads = [
        feature("sprinkler", point(0.1 + 0.15 * n, 2.5), site="CB-14", controller="A", station=1)
        for n in range(6)
    ]  # 1.25 m apart: nearer to each other than one may have moved

    bring_in(write_geojson(tmp_path / "a.geojson", [*book, *heads]))
    first = rows()
    lons = sorted(Sprinkler.objects.values_list("min_lon", "pk"))
    moved = shifted(heads, 0.04)
    report = bring_in(write_geojson(tmp_path / "b.geojson", [*book, *moved, heads[0]]))

    assert (report.added, report.changed) == (1, 5)
    assert Sprinkler.objects.count() == 7
    assert set(first[2]) <= set(rows()[2])
    now = [pk for _, pk in sorted(Sprinkler.objects.filter(pk__in=first[2]).values_list("min_lon", "pk"))]
    assert now == [pk for _, pk in lons]
