"""Parts that findings use: off the truck once, back with the finding, by phone and by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.models import Company, Finding, StockMove, StockPlace, Submission, User
from fleet.selectors.company.stock import parts_words, stock_table
from fleet.selectors.on_site.finding_checks import said_of
from fleet.services.company.stock import (
    move_parts,
    truck_of,
    use_parts,
)
from fleet.services.on_site.check_findings import accept_finding, correct_finding, input_of, undo_finding
from fleet.services.on_site.finding_input import BadFinding, FindingInput
from fleet.services.on_site.findings import keep_beside, record_finding
from tests.conftest import DAY, NOW
from tests.fleet.company.test_stock import WHO, SignIn, a_finding, a_place, holds
from tests.fleet.on_site.test_phone_sending import a_stop, body_of, post


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

    assert plain.as_kept()["parts"] == {"splice": 2}
    for count in (0, -1, 1000, 1.5, True, "2"):
        with pytest.raises(BadFinding, match="whole number"):
            FindingInput(client_key="k", stop_id=1, recorded_at=NOW, parts={"splice": count})  # type: ignore[dict-item]


@pytest.mark.django_db
def test_an_unknown_part_is_named(company: Company, technician_user: User) -> None:
    with pytest.raises(BadFinding, match="gold: no such part"):
        record_finding(finding=a_finding(technician_user, parts={"gold": 1}), by="ines")
    assert not Finding.objects.exists()
