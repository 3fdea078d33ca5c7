"""Parts: the ledger whose sum is the stock, what findings use, and the office's pages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.exports.kinds import as_csv
from fleet.exports.stock import COLUMNS, rows
from fleet.models import Company, Finding, Part, StockMinimum, StockMove, StockPlace, Submission, User
from fleet.selectors.finding_checks import said_of
from fleet.selectors.stock import parts_words, stock_of, stock_table, truck_parts
from fleet.services.check_findings import accept_finding, correct_finding, input_of, undo_finding
from fleet.services.finding_input import BadFinding, FindingInput, finding_from_kept
from fleet.services.findings import keep_beside, record_finding
from fleet.services.parts import PartInput, add_depot, add_usual_parts, save_part, set_minima
from fleet.services.record_stock import import_stock
from fleet.services.stock import (
    BadStock,
    CannotUndoStock,
    count_parts,
    move_parts,
    truck_of,
    undo_stock,
    use_parts,
)
from sites.models import Change
from tests.conftest import DAY, NOW
from tests.factories import build_site, build_technician, build_visit
from tests.fleet.test_phone_sending import a_stop, body_of, post

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
def test_a_finding_takes_its_parts_off_the_truck_once(company: Company, technician_user: User) -> None:
    depot = a_place()
    said = a_finding(technician_user)
    person = technician_user.technician
    truck = truck_of(technician_id=person.pk)
    move_parts(source_id=depot.pk, target_id=truck.pk, counts={"sensor": 1, "splice": 6}, **WHO)

    first = record_finding(finding=said, by="ines")
    again = record_finding(finding=said, by="ines")  # the queue sends twice
    straight = use_parts(
        finding_id=first.finding_id, technician_id=person.pk, counts=said.parts, by="ines", at=NOW
    )

    assert holds(truck) == {"splice": 4}
    assert (again.is_new, straight.lines) == (False, 0)
    assert "Off the truck: 2 the splice, 1 the sensor." in first.changes
    row = Finding.objects.get()
    assert row.parts == {"splice": 2, "sensor": 1}
    assert "parts: 1 sensor, 2 splice" in said_of(row)
    assert parts_words()(row.parts, "some tape") == "1 the sensor, 2 the splice, some tape"


@pytest.mark.django_db
def test_parts_go_back_with_the_finding_and_a_correction_takes_the_new_number(
    company: Company, technician_user: User
) -> None:
    depot = a_place()
    said = a_finding(technician_user)
    truck = truck_of(technician_id=technician_user.technician.pk)
    move_parts(source_id=depot.pk, target_id=truck.pk, counts={"sensor": 1, "splice": 6}, **WHO)
    pk = record_finding(finding=said, by="ines").finding_id

    other = input_of(Finding.objects.get())
    assert other.parts == said.parts
    fewer = replace(other, parts={"splice": 5})
    correct_finding(finding_id=pk, finding=fewer, by="hana", now=NOW, day=DAY)
    assert holds(truck) == {"sensor": 1, "splice": 1}

    undo_finding(finding_id=pk, by="hana", now=NOW, day=DAY)
    assert holds(truck) == {"sensor": 1, "splice": 6}
    correct_finding(finding_id=pk, finding=said, by="hana", now=NOW, day=DAY)  # a third time
    assert holds(truck) == {"splice": 4}


@pytest.mark.django_db
def test_a_truck_that_held_fewer_by_the_book_says_count_it(company: Company, technician_user: User) -> None:
    a_place()
    said = a_finding(technician_user)

    done = record_finding(finding=said, by="ines")

    truck = StockPlace.objects.get(technician=technician_user.technician)  # made by itself
    assert holds(truck) == {"sensor": -1, "splice": -2}
    assert any("Count it" in words for words in done.changes)
    assert {one.part.code for one in stock_table().short} == {"sensor", "splice"}


@pytest.mark.django_db
def test_a_finding_kept_beside_uses_parts_only_when_it_is_accepted(
    company: Company, technician_user: User
) -> None:
    a_place()
    said = a_finding(technician_user)
    stop = technician_user.technician.routes.get().stops.get()
    kept = keep_beside(finding=said, visit_id=stop.visit_id or 0, technician_id=technician_user.technician.pk)

    assert not StockMove.objects.filter(kind="use").exists()
    accept_finding(finding_id=kept.finding_id, by="hana", now=NOW)
    assert StockMove.objects.filter(kind="use").count() == 2


@pytest.mark.django_db
def test_a_phone_sends_parts_and_twice_is_once(
    sign_in: SignIn, company: Company, technician_user: User
) -> None:
    a_place()
    stop = a_stop(technician_user)
    client = sign_in(technician_user)
    said = body_of(stop, technician_user)
    said["fields"] = {**said["fields"], "part-splice": "3", "part-sensor": ""}

    assert post(client, said).status_code == 200
    assert post(client, said).status_code == 200

    truck = StockPlace.objects.get(technician=technician_user.technician)
    assert holds(truck) == {"splice": -3}
    assert Submission.objects.get().outcome == "taken"


def test_counts_of_parts_are_whole_and_survive_being_kept() -> None:
    plain = FindingInput(client_key="k", stop_id=1, recorded_at=NOW, parts={"splice": 2})

    assert finding_from_kept(plain.as_kept()).parts == {"splice": 2}
    for count in (0, -1, 1000, 1.5, True, "2"):
        with pytest.raises(BadFinding, match="whole number"):
            FindingInput(client_key="k", stop_id=1, recorded_at=NOW, parts={"splice": count})  # type: ignore[dict-item]


@pytest.mark.django_db
def test_an_unknown_part_is_named(company: Company, technician_user: User) -> None:
    with pytest.raises(BadFinding, match="gold: no such part"):
        record_finding(finding=a_finding(technician_user, parts={"gold": 1}), by="ines")
    assert not Finding.objects.exists()


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
def test_the_stock_pages_load_move_count_and_undo(
    sign_in: SignIn,
    company: Company,
    dispatcher: User,
    django_assert_max_num_queries: Callable[[int], object],
) -> None:
    depot = a_place()
    build_technician()
    client = sign_in(dispatcher)
    client.post(reverse("fleet:stock-start"), {"do": "places"})
    truck = StockPlace.objects.get(technician__code="T1")

    moved = client.post(
        reverse("fleet:stock-move", args=[truck.pk]),
        {"do": "bring", "other": depot.pk, "n-sensor": "4", "n-splice": ""},
    )
    refused = client.post(
        reverse("fleet:stock-move", args=[truck.pk]), {"do": "bring", "other": depot.pk, "n-sensor": "7"}
    )
    client.post(reverse("fleet:stock-move", args=[truck.pk]), {"do": "least", "n-sensor": "6"})
    with django_assert_max_num_queries(22):  # type: ignore[attr-defined]
        page = client.get(reverse("fleet:stock")).content.decode()

    assert moved.status_code == 302
    assert refused.status_code == 422
    assert "Depot holds 6, not 7" in refused.content.decode()
    assert 'value="7"' in refused.content.decode()  # what was typed stays
    assert "Below the minimum" in page
    deed = StockMove.objects.filter(kind="load").values_list("deed", flat=True)[0]
    client.post(reverse("fleet:stock-undo"), {"deed": deed})
    assert holds(truck) == {}
    assert [one.count for one in truck_parts(technician_id=truck.technician_id)] == [0, 0]
    client.post(reverse("fleet:stock-move", args=[truck.pk]), {"do": "least", "n-sensor": "-"})
    assert not StockMinimum.objects.exists()


@pytest.mark.django_db
def test_an_empty_catalogue_says_how_to_begin(sign_in: SignIn, company: Company, dispatcher: User) -> None:
    client = sign_in(dispatcher)

    assert "Begin with the usual parts" in client.get(reverse("fleet:stock")).content.decode()
    client.post(reverse("fleet:stock-start"))
    page = client.get(reverse("fleet:stock")).content.decode()

    assert "watertight splices" in page
    assert "exchange of station wires 2" in page


@pytest.mark.django_db
def test_a_depot_has_its_own_code() -> None:
    add_depot(code="yard", name="Yard", **WHO)
    with pytest.raises(BadStock, match="already"):
        add_depot(code="yard", name="Other", **WHO)
    with pytest.raises(BadStock, match="expected a short code"):
        add_depot(code=" ", name="Other", **WHO)


@pytest.mark.django_db
def test_a_bad_part_is_not_kept_and_says_why(sign_in: SignIn, company: Company, dispatcher: User) -> None:
    client = sign_in(dispatcher)
    url = reverse("fleet:part-new")

    bad = client.post(url, {"code": "a b", "name": "x", "unit": "piece"})
    good = client.post(
        url,
        {
            "code": "tee",
            "name": "pipe tee",
            "unit": "piece",
            "price": "3,5",
            "is_active": "yes",
            "kind-repair": "1",
        },
    )

    assert (bad.status_code, good.status_code) == (422, 302)
    assert Part.objects.get().price == 3.5
    assert client.get(reverse("fleet:part", args=[Part.objects.get().pk])).status_code == 200
