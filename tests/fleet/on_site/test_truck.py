"""The truck before its stops, and sentences of the book in the reader's units."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from fleet.models import Company, Part, PartForKind
from fleet.quantities import in_us_words
from fleet.selectors.on_site.truck import truck_for
from fleet.services.company.stock import move_parts, truck_of
from tests.factories import build_need, build_site, build_technician, build_visit


@pytest.mark.django_db
def test_a_truck_is_held_against_what_the_needs_want_by_kind_and_by_name(company: Company) -> None:
    person, site = build_technician(), build_site("CB-14")
    visit = build_visit(site)
    need = build_need(site)
    need.parts = "Watertight Splice; a ladder"
    need.save(update_fields=["parts"])
    visit.needs.add(need)
    for code, name in (("splice", "watertight splice"), ("fuse", "fuse"), ("lid", "valve box lid")):
        Part.objects.create(code=code, name=name)
    PartForKind.objects.create(kind=need.kind, part=Part.objects.get(code="fuse"), count=3)
    move_parts(
        source_id=None,
        target_id=truck_of(technician_id=person.pk).pk,
        counts={"fuse": 2, "lid": 4},
        by="hana",
        now=datetime(2026, 6, 14, 18, tzinfo=UTC),
    )

    found = truck_for(technician_id=person.pk, visit_ids=[visit.pk])

    assert [(one.code, one.needed, one.count, one.missing) for one in found.parts] == [
        ("fuse", 3, 2, 1),
        ("splice", 1, 0, 1),
        ("lid", 0, 4, 0),
    ]
    assert found.beside == ("a ladder",)
    assert [one.code for one in found.rest] == ["lid"]
    assert truck_for(technician_id=person.pk, visit_ids=[]).missing == ()


def test_sentences_of_the_book_are_told_in_us_units_and_nothing_else_is_touched() -> None:
    # 1 in = 25.4 mm; 1 US gal = 3.785411784 L, both exact.
    said = "saves 5.0 m3 in four weeks; 12.7 mm fell at 20 degC on 0.8 mm2 of wire, 35 kPa, 3 more m3"
    assert in_us_words(said) == (
        "saves 1,321 gal in four weeks; 0.50 in fell at 68 °F on 0.8 mm2 of wire, 35 kPa, 3 more m3"
    )
