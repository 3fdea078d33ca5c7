"""Saving a drawing: what is written, what is refused, who wins, and what can be put back."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sites.calc.geometry.areas import area_m2, as_array
from sites.importing.drawing.drawing import Drawing, site_drawing
from sites.importing.drawing.edits import NotEdits, parse_edits
from sites.models import Change, Controller, ProgramSet, Sensor, Site, Sprinkler, Zone
from sites.services.restore import NothingToRestore, restore_changes
from sites.services.site_edit import EditConflict, EditRefused, SiteEdited, save_site_edits
from tests.conftest import DAY, NOW
from tests.factories import build_controller, build_sensor, build_site, build_zone, square


@pytest.fixture
def garden(db: None) -> Site:
    """A site with one controller, two zones and a sensor in the first."""
    site = build_site()
    controller = build_controller(site)
    build_zone(controller, 1)
    build_zone(controller, 2)
    build_sensor(controller, 1)
    return site


def drawn(site: Site) -> Drawing:
    return site_drawing(site=site)


def save(site: Site, told: list[dict[str, Any]], version: str = "", by: str = "hana") -> SiteEdited:
    edits, problems = parse_edits(json.loads(json.dumps(told)))
    if problems:
        raise EditRefused(problems)
    return save_site_edits(
        site_id=site.pk, edits=edits, version=version or drawn(site).version, by=by, at=NOW, today=DAY
    )


def change(thing: str, kind: str, **more: Any) -> dict[str, Any]:
    return {"id": thing, "kind": kind, "do": "change", **more}


def add(kind: str, geometry: Any = None, **fields: Any) -> dict[str, Any]:
    told = None if geometry is None else shapely.geometry.mapping(geometry)
    return {"id": "new-1", "kind": kind, "do": "add", "fields": fields, "geometry": told}


def zone_id(station: int) -> str:
    return f"zone-{Zone.objects.get(station=station).pk}"


def told_of(error: pytest.ExceptionInfo[EditRefused]) -> list[tuple[str, str]]:
    return [(one.field, one.reason) for one in error.value.problems]


LAWN = square(-104.6990, 41.2)
NEW_ZONE = {"controller": "A", "station": 3, "plant": "shrubs", "head": "dripline", "name": "hedge"}


def test_a_drawn_zone_has_the_area_of_its_shape_and_an_entry_in_the_history(garden: Site) -> None:
    done = save(garden, [add("zone", LAWN, **NEW_ZONE)])

    zone = Zone.objects.get(station=3)
    assert zone.area_m2 == pytest.approx(float(area_m2(as_array([LAWN]))[0]), abs=0.001)
    assert zone.min_lon == pytest.approx(-104.6990)
    assert done.ids == {"new-1": f"zone-{zone.pk}"}
    entry = Change.objects.get(kind="zone")
    assert (entry.by, entry.action, entry.key, entry.before) == ("hana", "added", "CB-14/A/3", None)
    garden.refresh_from_db()
    assert garden.stale_from == DAY


def test_a_save_without_a_difference_writes_nothing(garden: Site) -> None:
    done = save(garden, [change(zone_id(1), "zone", fields={"plant": "cool_turf"})])

    assert (done.changes, Change.objects.count()) == (0, 0)
    garden.refresh_from_db()
    assert garden.stale_from is None


def test_a_value_keeps_what_stood_there_before(garden: Site) -> None:
    save(garden, [change(zone_id(2), "zone", fields={"precipitation_rate_mm_h": "31.5", "sun": "shade"})])

    entry = Change.objects.get()
    assert entry.before == {"precipitation_rate_mm_h": None, "sun": "full"}
    assert entry.after == {"precipitation_rate_mm_h": 31.5, "sun": "shade"}


def test_the_second_of_two_is_told_who_changed_what_and_nothing_of_his_is_written(garden: Site) -> None:
    loaded = drawn(garden).version
    save(garden, [change(zone_id(1), "zone", fields={"name": "front lawn"})], loaded, by="hana")

    with pytest.raises(EditConflict) as conflict:
        save(garden, [change(zone_id(2), "zone", fields={"name": "side strip"})], loaded, by="omar")

    assert [(one.by, one.key, one.after) for one in conflict.value.since] == [
        ("hana", "CB-14/A/1", {"name": "front lawn"})
    ]
    assert conflict.value.drawing.things[zone_id(1)].fields["name"] == "front lawn"
    assert Zone.objects.get(station=2).name == "zone 2"
    save(
        garden,
        [change(zone_id(2), "zone", fields={"name": "side strip"})],
        conflict.value.drawing.version,
        by="omar",
    )
    assert [zone.name for zone in Zone.objects.order_by("station")] == ["front lawn", "side strip"]


def test_a_write_without_an_entry_still_stops_the_second(garden: Site) -> None:
    loaded = drawn(garden).version
    Zone.objects.filter(station=1).update(head="rotor")

    with pytest.raises(EditConflict):
        save(garden, [change(zone_id(1), "zone", fields={"head": "bubbler"})], loaded)


@pytest.mark.parametrize(
    ("told", "field", "words"),
    [
        pytest.param(
            add(
                "zone",
                shapely.Polygon([(-104.7, 41.2), (-104.6999, 41.2001), (-104.6999, 41.2), (-104.7, 41.2001)]),
                **NEW_ZONE,
            ),
            "geometry",
            "self-crossing",
            id="bow tie",
        ),
        pytest.param(
            add("zone", LAWN, **NEW_ZONE | {"station": 7}), "station", "up to 6", id="no such station"
        ),
        pytest.param(add("zone", LAWN, **NEW_ZONE | {"station": 1}), "station", "once", id="station taken"),
        pytest.param(
            add("zone", LAWN, **NEW_ZONE | {"controller": "Q"}), "controller", "of this site", id="no timer"
        ),
        pytest.param(add("zone", None, **NEW_ZONE), "area_m2", "no shape", id="no area"),
        pytest.param(add("zone", LAWN, **NEW_ZONE | {"head": ""}), "head", "a value", id="no head"),
        pytest.param(
            add("zone", LAWN, **NEW_ZONE | {"planted_on": "2026-06-16"}), "planted_on", "up to", id="tomorrow"
        ),
        pytest.param(add("zone", square(10.0, 41.2), **NEW_ZONE), "geometry", "km", id="elsewhere"),
        pytest.param(add("valve_box", LAWN, name="box 1"), "geometry", "Point", id="box as an area"),
        pytest.param(
            add("wire", shapely.LineString([(-104.7, 41.2), (-104.69, 41.2)]), conductors=3, spare=4),
            "spare",
            "3",
            id="spares",
        ),
        pytest.param(
            add("sprinkler", shapely.Point(-104.7, 41.2), zone="zone-0"),
            "zone",
            "of this site",
            id="head of no zone",
        ),
    ],
)
def test_what_cannot_stand_is_refused_with_field_and_reason(
    garden: Site, told: dict[str, Any], field: str, words: str
) -> None:
    with pytest.raises(EditRefused) as refused:
        save(garden, [told])

    assert any(name == field and words in reason for name, reason in told_of(refused)), told_of(refused)
    assert Change.objects.count() == 0
    assert Zone.objects.count() == 2


def test_a_wet_threshold_and_one_that_the_unit_has_not_are_refused(garden: Site) -> None:
    sensor = f"sensor-{Sensor.objects.get().pk}"
    for cells, words in (
        ({"threshold_kpa": 5}, "field capacity"),
        ({"threshold_kpa": 33, "threshold_steps_kpa": "20;28;40"}, "20, 28, 40"),
    ):
        with pytest.raises(EditRefused, match=words):
            save(garden, [change(sensor, "sensor", fields=cells)])


def test_the_governing_zone_cannot_go_before_its_sensor(garden: Site) -> None:
    with pytest.raises(EditRefused, match="a station that has a zone"):
        save(garden, [{"id": zone_id(1), "kind": "zone", "do": "remove"}])


def test_a_controller_with_programs_is_not_lost_with_a_click(garden: Site) -> None:
    extra = build_controller(garden, "B")
    ProgramSet.objects.create(controller=extra, as_of=date(2026, 4, 1))

    with pytest.raises(EditRefused, match="1 programs would be lost"):
        save(garden, [{"id": f"controller-{extra.pk}", "kind": "controller", "do": "remove"}])
    assert Controller.objects.filter(pk=extra.pk).exists()


def test_two_zones_may_change_their_stations_in_one_save(garden: Site) -> None:
    one, two = zone_id(1), zone_id(2)
    save(
        garden,
        [change(one, "zone", fields={"station": 2}), change(two, "zone", fields={"station": 1})],
    )

    assert (zone_id(1), zone_id(2)) == (two, one)


def test_a_value_that_somebody_gives_is_not_assumed_any_longer(garden: Site) -> None:
    controller = Controller.objects.get()
    Controller.objects.update(assumed="gating max_run_min")
    save(garden, [change(f"controller-{controller.pk}", "controller", fields={"gating": "any_time"})])

    controller.refresh_from_db()
    assert controller.assumed == "max_run_min"


def test_a_sensor_makes_its_controller_governed(garden: Site) -> None:
    Sensor.objects.all().delete()
    Controller.objects.update(governed=False)
    save(garden, [add("sensor", shapely.Point(-104.69975, 41.20005), controller="A", station=1)])

    assert Controller.objects.get().governed


def test_overlap_and_a_sensor_outside_are_told_and_kept(garden: Site) -> None:
    over = square(-104.7 + 0.00023, 41.2)
    done = save(garden, [add("zone", over, **NEW_ZONE)])
    sensor = Sensor.objects.get()
    moved = shapely.geometry.mapping(shapely.Point(-104.7, 41.2003))
    strayed = save(garden, [change(f"sensor-{sensor.pk}", "sensor", geometry=moved)])

    assert any("zone 1" in one.reason and "70%" in one.reason for one in done.warnings)
    assert any("outside the zone" in one.reason for one in strayed.warnings)
    assert Zone.objects.filter(station=3).exists()


def test_a_removed_zone_comes_back_with_its_row_and_its_heads(garden: Site) -> None:
    head = add("sprinkler", shapely.Point(-104.69955, 41.20005), zone=zone_id(2))
    save(garden, [head])
    pk = Zone.objects.get(station=2).pk
    save(garden, [{"id": zone_id(2), "kind": "zone", "do": "remove"}])
    assert (Zone.objects.count(), Sprinkler.objects.count()) == (1, 0)

    gone = list(Change.objects.filter(action="removed").values_list("pk", flat=True))
    restore_changes(change_ids=gone, by="ruth", at=NOW, today=DAY)

    back = Zone.objects.get(station=2)
    assert (back.pk, back.name) == (pk, "zone 2")
    assert back.area_m2 == pytest.approx(93.0, rel=0.01)
    assert Sprinkler.objects.get().zone_id == pk
    newest = Change.objects.filter(by="ruth")
    assert {one.action for one in newest} == {"added"}
    assert all("restored as before the change" in one.reason for one in newest)


def test_a_changed_value_and_shape_come_back_even_when_the_zone_has_another_number(garden: Site) -> None:
    before = Zone.objects.get(station=1).geometry
    moved = shapely.geometry.mapping(square(-104.6995, 41.2003))
    save(garden, [change(zone_id(1), "zone", fields={"name": "other"}, geometry=moved)])
    entry = Change.objects.get()
    sensor = f"sensor-{Sensor.objects.get().pk}"
    save(
        garden,
        [change(zone_id(1), "zone", fields={"station": 5}), change(sensor, "sensor", fields={"station": 5})],
    )

    restore_changes(change_ids=[entry.pk], by="ruth", at=NOW, today=DAY)

    zone = Zone.objects.get(station=5)
    assert zone.name == "zone 1"
    assert shapely.equals(shapely.from_wkb(zone.geometry), shapely.from_wkb(before))
    with pytest.raises(NothingToRestore):
        restore_changes(change_ids=[entry.pk], by="ruth", at=NOW, today=DAY)


def test_an_added_thing_is_taken_back_and_that_can_be_taken_back_too(garden: Site) -> None:
    save(garden, [add("structure", square(-104.7, 41.2002), type="paving")])
    entry = Change.objects.get()
    restore_changes(change_ids=[entry.pk], by="ruth", at=NOW, today=DAY)
    assert drawn(garden).of("structure") == []

    removal = Change.objects.get(action="removed")
    restore_changes(change_ids=[removal.pk], by="ruth", at=NOW, today=DAY)

    assert [thing.text("type") for thing in drawn(garden).of("structure")] == ["paving"]


@pytest.mark.parametrize(
    "told",
    [
        pytest.param({"edits": []}, id="no list"),
        pytest.param([{"id": "zone-1", "kind": "tree", "do": "change"}], id="no kind"),
        pytest.param([{"id": "zone-1", "kind": "zone", "do": "drop"}], id="no deed"),
        pytest.param([{"id": "zone-1", "kind": "zone", "do": "add"}], id="added under an old name"),
        pytest.param(
            [{"id": "zone-1", "kind": "zone", "do": "change", "fields": {"margin_factor": 9}}],
            id="hidden field",
        ),
        pytest.param(
            [{"id": "controller-1", "kind": "controller", "do": "change", "fields": {"assumed": ""}}],
            id="marks",
        ),
        pytest.param([{"id": "site-1", "kind": "site", "do": "remove"}], id="site gone"),
        pytest.param([{"id": "zone-1", "kind": "zone", "do": "change"}] * 2, id="twice"),
    ],
)
def test_what_is_no_list_of_edits_is_not_read(told: Any) -> None:
    with pytest.raises(NotEdits):
        parse_edits(told)


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)
edit_like = st.fixed_dictionaries(
    {
        "id": st.sampled_from(["new-1", "zone-1"]),
        "kind": st.sampled_from(["zone", "wire", "sensor"]),
        "do": st.sampled_from(["add", "change"]),
    },
    optional={
        "fields": st.dictionaries(
            st.sampled_from(["station", "depth_mm", "spare", "name", "sun"]), anything, max_size=4
        ),
        "geometry": st.fixed_dictionaries(
            {"type": st.sampled_from(["Point", "Polygon"]), "coordinates": anything}
        )
        | anything,
    },
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(told=st.lists(edit_like, max_size=2))
def test_any_request_is_read_or_refused_by_name(told: Any) -> None:
    try:
        edits, problems = parse_edits(told)
    except NotEdits:
        return

    assert len(edits) == len(told)
    assert all(problem.reason.startswith("expected") for problem in problems)
