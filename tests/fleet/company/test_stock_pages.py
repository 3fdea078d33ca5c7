"""The office's pages of parts: load, move, count, undo, an empty catalogue, a bad part."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.urls import reverse

from fleet.models import Company, Part, StockMinimum, StockMove, StockPlace, User
from fleet.selectors.company.stock import truck_parts
from tests.factories import build_technician
from tests.fleet.company.test_stock import SignIn, a_place, holds


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
