"""Parts: the ledger whose sum is the stock, what findings use, and the office's pages."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.exports.kinds import as_csv
from fleet.exports.stock import COLUMNS, rows
from fleet.models import Company, Finding, Part, StockMinimum, StockMove, StockPlace, User
from fleet.selectors.company.stock import stock_of, stock_table
from fleet.services.bring.record_stock import import_stock
from fleet.services.company.parts import PartInput, add_depot, add_usual_parts, save_part, set_minima
from fleet.services.company.stock import (
    BadStock,
    CannotUndoStock,
    count_parts,
    move_parts,
    truck_of,
    undo_stock,
    use_parts,
)
from fleet.services.on_site.finding_input import FindingInput
from sites.models import Change
from tests.conftest import NOW
from tests.factories import build_site, build_technician, build_visit
from tests.fleet.on_site.test_phone_sending import a_stop

SignIn = Callable[[User], Client]
WHO: dict[str, Any] = {"by": "hana", "now": NOW}


def a_place(code: str = "depot") -> StockPlace:
    """A depot with ten sensors and twenty splices."""
    place = StockPlace.objects.create(code=code, name=code.capitalize())
    for part in ("sensor", "splice"):
        Part.objects.get_or_create(code=part, defaults={"name": f"the {part}"})
    move_parts(source_id=None, target_id=place.pk, counts={"sensor": 10, "splice": 20}, **WHO)
    return place


def holds(place: StockPlace) -> dict[str, int]:
    """Stock of a place by part."""
    stock = stock_of(place_ids=[place.pk])
    found = {part.code: stock.get((place.pk, part.pk), 0) for part in Part.objects.all()}
    return {code: count for code, count in found.items() if count}


def a_finding(user: User, **other: object) -> FindingInput:
    """Two splices and a sensor used at a stop of today."""
    stop = a_stop(user)
    given: dict[str, object] = {
        "client_key": "used", "stop_id": stop.pk, "recorded_at": NOW, "need_is_met": False,
        "parts": {"splice": 2, "sensor": 1}, **other,
    }  # fmt: skip
    return FindingInput(**given)  # type: ignore[arg-type]


@pytest.mark.django_db
@settings(max_examples=12)
@given(
    st.lists(st.tuples(st.sampled_from(["load", "return", "count", "undo"]), st.integers(0, 6)), max_size=8)
)
def test_the_ledger_adds_up_whatever_is_moved_and_undone(deeds: list[tuple[str, int]]) -> None:
    """Every stock is the sum of its lines, loading makes nothing, and each undo is exact."""
    with transaction.atomic():
        depot = a_place()
        truck = truck_of(technician_id=build_technician().pk)
        done: list[tuple[str, dict[tuple[int, int], int]]] = []
        for deed, count in deeds:
            before = stock_of()
            try:
                if deed == "load":
                    moved = move_parts(
                        source_id=depot.pk, target_id=truck.pk, counts={"sensor": count}, **WHO
                    )
                elif deed == "return":
                    moved = move_parts(
                        source_id=truck.pk, target_id=depot.pk, counts={"sensor": count}, **WHO
                    )
                elif deed == "count":
                    moved = count_parts(place_id=truck.pk, counts={"sensor": count}, **WHO)
                elif done:
                    name, earlier = done.pop()
                    undo_stock(deed=name, **WHO)
                    assert {k: v for k, v in stock_of().items() if v} == {
                        k: v for k, v in earlier.items() if v
                    }
                    continue
                else:
                    continue
            except BadStock:
                assert stock_of() == before
                continue
            if moved.lines:
                done.append((moved.deed, before))
            if deed in ("load", "return"):
                assert sum(stock_of().values()) == sum(before.values())
        lines = StockMove.objects.values_list("place_id", "part_id", "change")
        for key, count in stock_of().items():
            assert count == sum(change for place, part, change in lines if (place, part) == key)
        transaction.set_rollback(True)


@pytest.mark.django_db
@settings(max_examples=10)
@given(
    st.lists(
        st.tuples(st.sampled_from(["load", "use", "return", "undo"]), st.integers(1, 9)),
        min_size=2,
        max_size=9,
    )
)
def test_no_stock_falls_below_nothing_unnoticed_and_parts_are_never_made(
    deeds: list[tuple[str, int]],
) -> None:
    """What is bought lies somewhere or was used; a truck below nothing is named at once and on the list."""
    with transaction.atomic():
        depot, person = a_place(), build_technician()
        truck = truck_of(technician_id=person.pk)
        visit = build_visit(build_site())
        sensor = Part.objects.get(code="sensor")
        done: list[str] = []
        used: dict[str, int] = {}
        for number, (deed, count) in enumerate(deeds):
            ways = {"load": (depot.pk, truck.pk), "return": (truck.pk, depot.pk)}
            if deed in ways:
                held = stock_of().get((ways[deed][0], sensor.pk), 0)
                if count > held:
                    with pytest.raises(BadStock, match="count it first"):
                        move_parts(
                            source_id=ways[deed][0], target_id=ways[deed][1], counts={"sensor": count}, **WHO
                        )
                    continue
                moved = move_parts(
                    source_id=ways[deed][0], target_id=ways[deed][1], counts={"sensor": count}, **WHO
                )
                done.append(moved.deed)
            elif deed == "use":
                finding = Finding.objects.create(client_key=f"f{number}", visit=visit, recorded_at=NOW)
                given_counts = {"counts": {"sensor": count}, "by": "ines", "at": NOW}
                taken = use_parts(finding_id=finding.pk, technician_id=person.pk, **given_counts)  # type: ignore[arg-type]
                assert use_parts(finding_id=finding.pk, technician_id=person.pk, **given_counts).lines == 0  # type: ignore[arg-type]
                is_below = stock_of()[truck.pk, sensor.pk] < 0
                assert taken.short == (("the sensor",) if is_below else ())
                done.append(taken.deed)
                used[taken.deed] = count
            elif done:
                name = done.pop()
                undo_stock(deed=name, **WHO)
                used.pop(name, None)
            stock = stock_of()
            lying = sum(total for (_, part), total in stock.items() if part == sensor.pk)
            assert lying + sum(used.values()) == 10
            below = {key[0] for key, total in stock.items() if total < 0}
            assert below <= {one.place.pk for one in stock_table().short}
        transaction.set_rollback(True)


@pytest.mark.django_db
def test_nobody_takes_what_is_not_there() -> None:
    depot = a_place()
    truck = truck_of(technician_id=build_technician().pk)

    with pytest.raises(BadStock, match="Depot holds 10, not 11; count it first"):
        move_parts(source_id=depot.pk, target_id=truck.pk, counts={"sensor": 11}, **WHO)
    with pytest.raises(BadStock, match="same place"):
        move_parts(source_id=depot.pk, target_id=depot.pk, counts={"sensor": 1}, **WHO)
    with pytest.raises(BadStock, match="no such part"):
        move_parts(source_id=depot.pk, target_id=truck.pk, counts={"gold": 1}, **WHO)

    move_parts(source_id=depot.pk, target_id=truck.pk, counts={"sensor": 10}, **WHO)
    assert (holds(depot), holds(truck)) == ({"splice": 20}, {"sensor": 10})


@pytest.mark.django_db
def test_a_deed_is_undone_once_and_an_undo_never() -> None:
    depot = a_place()
    deed = count_parts(place_id=depot.pk, counts={"sensor": 7, "splice": 20}, **WHO)

    assert (deed.lines, holds(depot)["sensor"]) == (1, 7)  # what was right needs no line
    undo_stock(deed=deed.deed, **WHO)
    assert holds(depot)["sensor"] == 10
    for name in (deed.deed, f"undo/{deed.deed}", "nothing"):
        with pytest.raises(CannotUndoStock):
            undo_stock(deed=name, **WHO)
    assert holds(depot)["sensor"] == 10


@pytest.mark.django_db
def test_a_line_is_written_once_a_deed_and_moves_something() -> None:
    depot = a_place()
    line = StockMove.objects.filter(place=depot).first()
    assert line is not None

    for columns in ({"change": 3}, {"deed": "other", "change": 0}):
        with pytest.raises(IntegrityError), transaction.atomic():
            StockMove.objects.create(
                **{
                    "deed": line.deed,
                    "kind": "load",
                    "place": depot,
                    "part": line.part,
                    "at": NOW,
                    "by": "x",
                    **columns,
                }
            )


@pytest.mark.django_db
def test_usual_parts_come_once_and_keep_what_is_there(company: Company) -> None:
    build_technician()
    Part.objects.create(code="my-sensor", name="sensor")

    new = add_usual_parts(**WHO)

    assert new > 8
    assert add_usual_parts(**WHO) == 0
    assert Part.objects.filter(name="sensor").get().code == "my-sensor"
    assert StockMinimum.objects.filter(place__technician__code="T1").count() == new
    assert Change.objects.filter(kind="part").count() == new


@pytest.mark.django_db
def test_a_part_is_kept_with_its_kinds_and_names_are_taken_once() -> None:
    sensor = PartInput("sensor", "sensor", "piece", 80.0, is_active=True, kinds={"sensor_install": 1})
    pk = save_part(part_id=None, part=sensor, **WHO).part_id

    assert not save_part(part_id=pk, part=sensor, **WHO).changed
    with pytest.raises(BadStock, match="another part"):
        save_part(
            part_id=None, part=PartInput("s2", "Sensor", "piece", None, is_active=True, kinds={}), **WHO
        )
    with pytest.raises(BadStock, match="needed for party"):
        PartInput("s2", "s2", "piece", None, is_active=True, kinds={"party": 1})
    other = PartInput("sensor", "sensor", "piece", 80.0, is_active=False, kinds={"dig": 2})
    assert save_part(part_id=pk, part=other, **WHO).changed
    assert [(one.kind, one.count) for one in Part.objects.get().for_kinds.all()] == [("dig", 2)]
    changed = Change.objects.get(kind="part", action="changed")
    assert (changed.before or {})["kinds"] == {"sensor_install": 1}


@pytest.mark.django_db
def test_a_stock_file_goes_out_and_comes_back_unchanged(tmp_path: Path) -> None:
    depot = a_place()
    set_minima(place_id=depot.pk, least={"sensor": 4}, **WHO)
    path = tmp_path / "stock.csv"
    path.write_text(as_csv(COLUMNS, rows()))

    report = import_stock(path=path, **WHO)
    assert (report.added, report.changed, report.unchanged) == (0, 0, 2)

    path.write_text("place,part,stock,minimum\ndepot,sensor,3,5\ndepot,splice,20,\n")
    report = import_stock(path=path, **WHO)
    assert (report.added, report.changed, report.unchanged) == (0, 1, 1)
    assert (holds(depot)["sensor"], StockMinimum.objects.get().least) == (3, 5)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("cellar,sensor,1,", "a depot or truck: depot"),
        ("depot,gold,1,", "a part of the catalogue: sensor, splice"),
        ("depot,sensor,-1,", "row 2, column stock"),
        ("depot,sensor,1.5,", "row 2, column stock"),
        ("depot,sensor,1,x", "row 2, column minimum"),
        ("depot,sensor,1,\ndepot,sensor,2,", "each part once a place (also row 2)"),
    ],
)
def test_a_bad_row_of_a_stock_file_is_named_and_nothing_is_written(
    tmp_path: Path, line: str, words: str
) -> None:
    depot = a_place()
    before = holds(depot)
    path = tmp_path / "stock.csv"
    path.write_text(f"place,part,stock,minimum\n{line}\n")

    report = import_stock(path=path, **WHO)

    assert any(words in str(problem) for problem in report.problems), report.problems
    assert (report.written, holds(depot)) == (False, before)


@pytest.mark.django_db
def test_a_depot_has_its_own_code() -> None:
    add_depot(code="yard", name="Yard", **WHO)
    with pytest.raises(BadStock, match="already"):
        add_depot(code="yard", name="Other", **WHO)
    with pytest.raises(BadStock, match="expected a short code"):
        add_depot(code=" ", name="Other", **WHO)
