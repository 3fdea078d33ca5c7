"""Who may draw, and what the addresses answer."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import Client

from fleet.models import Company, User
from sites.importing.drawing.drawing import site_drawing
from sites.models import Change, Controller, Site, Zone
from sites.services.exchange_stations import exchange_stations
from tests.factories import build_controller, build_sensor, build_site, build_zone

SignIn = Callable[[User], Client]
SAVE = "/sites/CB-14/draw/save/"


@pytest.fixture
def garden(company: Company) -> Site:
    """A site with a zone and a sensor."""
    site = build_site()
    controller = build_controller(site)
    build_zone(controller, 1)
    build_zone(controller, 2)
    build_sensor(controller, 1)
    return site


def post(client: Client, told: Any, address: str = SAVE) -> Any:
    return client.post(address, data=json.dumps(told), content_type="application/json")


def edit(site: Site, **fields: Any) -> dict[str, Any]:
    zone = Zone.objects.get(station=1)
    one = {"id": f"zone-{zone.pk}", "kind": "zone", "do": "change", "fields": fields}
    return {"version": site_drawing(site=site).version, "edits": [one]}


def test_a_dispatcher_draws_and_others_may_not(
    garden: Site, dispatcher: User, manager: User, technician_user: User, sign_in: SignIn
) -> None:
    told = edit(garden, name="lawn")
    for person in (manager, technician_user):
        client = sign_in(person)
        assert client.get("/sites/CB-14/draw/").status_code == 403
        assert post(client, told).status_code == 403
        assert client.post("/sites/CB-14/restore/", {"entries": "1"}).status_code == 403
        assert client.post("/sites/CB-14/A/exchange/", {"first": 1, "second": 2}).status_code == 403
    client = sign_in(dispatcher)
    page = client.get("/sites/CB-14/draw/")

    assert b"draw-config" in page.content
    answer = post(client, told)
    assert (answer.status_code, answer.json()["changes"]) == (200, 1)
    assert Zone.objects.get(station=1).name == "lawn"


def test_a_garden_that_is_not_there_says_so(garden: Site, dispatcher: User, sign_in: SignIn) -> None:
    client = sign_in(dispatcher)
    for address in ("/sites/XX-1/draw/", "/sites/CB-14/Q/label/", "/sites/CB-14/Q/exchange/"):
        assert client.get(address).status_code == 404


@pytest.mark.parametrize(
    "body", ["", "[]", "{", '{"version": 1, "edits": []}', '{"version": "1", "edits": {}}']
)
def test_what_cannot_be_read_is_told_and_changes_nothing(
    garden: Site, dispatcher: User, sign_in: SignIn, body: str
) -> None:
    answer = sign_in(dispatcher).post(SAVE, data=body, content_type="application/json")

    assert answer.status_code == 400
    assert "expected" in answer.json()["error"]
    assert Change.objects.count() == 0


def test_refusals_name_thing_field_and_reason(garden: Site, dispatcher: User, sign_in: SignIn) -> None:
    client = sign_in(dispatcher)
    told = edit(garden, distribution_uniformity="55")
    answer = post(client, told)

    assert answer.status_code == 422
    assert answer.json()["problems"] == [
        {
            "id": told["edits"][0]["id"],
            "field": "distribution_uniformity",
            "reason": "expected a number from 0.05 to 1",
        }
    ]


def test_the_second_is_told_who_when_and_what(garden: Site, dispatcher: User, sign_in: SignIn) -> None:
    client = sign_in(dispatcher)
    mine, theirs = edit(garden, name="mine"), edit(garden, name="theirs")
    assert post(client, theirs).status_code == 200
    answer = post(client, mine)

    assert answer.status_code == 409
    (since,) = answer.json()["since"]
    assert (since["by"], since["fields"]) == ("hana", [["name", "zone 1", "theirs"]])
    assert answer.json()["drawing"]["version"] != mine["version"]


def test_an_entry_of_another_garden_is_not_restored_here(
    garden: Site, dispatcher: User, sign_in: SignIn
) -> None:
    other = build_site("CB-15")
    client = sign_in(dispatcher)
    post(client, edit(garden, name="lawn"))
    entry = Change.objects.get()
    client.post(f"/sites/{other.code}/restore/", {"entries": str(entry.pk)})
    assert Zone.objects.get(station=1).name == "lawn"

    client.post("/sites/CB-14/restore/", {"entries": str(entry.pk)})

    assert Zone.objects.get(station=1).name == "zone 1"


def test_the_label_names_every_station_and_hides_nothing(
    garden: Site, technician_user: User, manager: User, sign_in: SignIn
) -> None:
    page = sign_in(manager).get("/sites/CB-14/A/label/").content.decode()

    assert "zone 1" in page
    assert "zone 2" in page
    assert page.count("sensor here") == 1


def test_names_of_users_do_not_break_out_of_the_page(garden: Site, dispatcher: User, sign_in: SignIn) -> None:
    Zone.objects.update(name="</script><script>alert(1)</script>")
    page = sign_in(dispatcher).get("/sites/CB-14/draw/").content.decode()

    assert "<script>alert" not in page


def test_label_form_and_history_tell_an_evening_by_the_companys_clock(
    garden: Site, dispatcher: User, sign_in: SignIn
) -> None:
    """At 21:10 of 14 June in Denver it is the 15th by UTC, and at the garden's own clock farther east."""
    Site.objects.update(timezone="Europe/Berlin")
    controller = Controller.objects.get()
    evening = datetime(2026, 6, 15, 3, 10, tzinfo=UTC)
    exchange_stations(
        controller_id=controller.pk, first=1, second=2, minutes_keyed=True, by="hana", at=evening,
        today=date(2026, 6, 14),
    )  # fmt: skip
    client = sign_in(dispatcher)

    label = client.get("/sites/CB-14/A/label/").content.decode()
    form = client.get("/sites/CB-14/A/exchange/").content.decode()
    garden_page = client.get("/sites/CB-14/").content.decode()

    day = "14\u00a0Jun\u00a02026"
    assert f"wires exchanged {day}" in label
    assert f"Take back the exchange of 1 and 2 ({day})" in form
    line = next(one for one in garden_page.split("<tr>") if "exchanged" in one)
    assert day in line
    for page in (label, form, line):
        assert "15\u00a0Jun" not in page.replace("as of 15\u00a0Jun", "")
