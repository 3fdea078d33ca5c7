"""Bring your sites: upload, columns, preview, repairs, saving, throwing away, and who may."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import shapely
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from shapely.geometry import mapping

from fleet.models import Company, Technician, User
from fleet.services.bring import uploads
from fleet.services.bring.kinds import kind_of_file
from sites.calc.geometry.report import Fault
from sites.models import Change, Site, Zone
from tests.sites.importing.book_files import box, feature, small_book
from tests.sites.importing.test_book_repairs import BOW_TIE, CASES

SignIn = Callable[[User], Client]


def collection(features: list[dict[str, Any]]) -> bytes:
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def bow_tied() -> bytes:
    book = [one for one in small_book() if one["properties"]["kind"] not in ("sensor", "sprinkler")]
    next(one for one in book if one["properties"]["kind"] == "zone")["geometry"] = {
        "type": "Polygon", "coordinates": [BOW_TIE],
    }  # fmt: skip
    return collection(book)


def send(client: Client, content: bytes, name: str = "book.dat") -> str:
    """Address of the file's page."""
    answer = client.post("/bring/", {"file": SimpleUploadedFile(name, content)})
    assert answer.status_code == 302, answer.content
    return str(answer["Location"])


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def without_tokens(text: str) -> str:
    """A page without what is drawn anew for every answer."""
    return re.sub(r'(nonce|value)="[A-Za-z0-9+/=_-]{16,}"', "", text)


def test_a_book_is_looked_at_repaired_and_saved(
    company: Company, dispatcher: User, sign_in: SignIn, tmp_path: Path
) -> None:
    client = sign_in(dispatcher)
    address = send(client, bow_tied())

    first = page(client, address)
    assert "self-crossing" in first
    assert Site.objects.count() == Change.objects.count() == 0

    refused = client.post(f"{address}save/", follow=True).content.decode()
    assert "Nothing was written." in refused
    assert Site.objects.count() == 0

    assert client.post(f"{address}repairs/", {"which": "all"}).status_code == 302
    done = client.post(f"{address}save/", follow=True).content.decode()

    assert "/sites/CB-14/" in done
    assert Zone.objects.count() == 3
    assert set(Change.objects.values_list("by", flat=True)) == {"hana"}
    assert list((tmp_path / "uploads").glob(f"{address.split('/')[2]}.[!jo]*")) == []
    assert "/sites/CB-14/" in page(client, address)
    client.post(f"{address}throw/")
    assert client.get(address).status_code == 404


def test_the_gardens_history_tells_of_the_repair(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    client = sign_in(dispatcher)
    address = send(client, bow_tied())
    client.post(f"{address}repairs/", {"which": "all"})
    client.post(f"{address}save/")

    told = page(client, "/sites/CB-14/")

    assert "zone CB-14/A/1 mended" in told
    assert "self-crossing, area " in told
    assert "zone CB-14/A/2 mended" not in told


def test_a_look_is_kept_until_the_book_or_the_layout_changes(
    company: Company, dispatcher: User, sign_in: SignIn, tmp_path: Path
) -> None:
    client = sign_in(dispatcher)
    address = send(client, bow_tied())
    first = page(client, address)
    beside = next((tmp_path / "uploads").glob("*.look"))
    made = beside.stat().st_mtime_ns

    second = page(client, address)
    client.post(f"{address}repairs/", {"which": "all"})
    third = page(client, address)

    assert beside.stat().st_mtime_ns == made  # accepting a repair checks nothing again
    assert without_tokens(second) == without_tokens(first)
    assert "Take back" in third

    beside.write_text("{")
    client.post(f"{address}again/")
    assert without_tokens(page(client, address)) == without_tokens(third)
    other = send(client, bow_tied())
    client.post(f"{other}repairs/", {"which": "all"})
    client.post(f"{other}save/")
    assert "<b>0</b> new" in page(client, address)
    client.post(f"{address}throw/")
    assert list((tmp_path / "uploads").glob("*.look*")) == []


def test_a_row_with_a_bad_cell_is_on_the_map_and_one_off_the_globe_is_not(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    lots = [feature("site", box(0, 0, 4, 4), site="CB-14", name="Okafor garden", slope_pct="steep")]
    lots.append(feature("site", box(9, 9, 4, 4), site="CB-15", name="Brandt garden"))
    lots.append(feature("site", shapely.Point(500, 500), site="CB-16", name="Ito garden"))
    client = sign_in(dispatcher)

    told = page(client, send(client, collection(lots)))

    assert 'href="#m1"' in told
    assert 'id="m1"' in told
    assert "#m2" not in told
    assert "<b>2</b> rows refused" in told


def test_an_empty_list_of_sites_leads_to_bringing_for_who_may(
    company: Company, dispatcher: User, manager: User, sign_in: SignIn
) -> None:
    assert "Bring your sites</a>" in page(sign_in(dispatcher), "/sites/")
    assert "Bring your sites</a>" not in page(sign_in(manager), "/sites/")


def test_one_repair_and_its_word_taken_back(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    client = sign_in(dispatcher)
    address = send(client, bow_tied())

    client.post(f"{address}repairs/", {"which": "|4|self-crossing"})
    assert "Take back" in page(client, address)
    client.post(f"{address}repairs/", {"which": "|4|self-crossing", "do": "back"})

    assert "Take back" not in page(client, address)
    client.post(f"{address}save/", {"good": "yes"})
    assert not Zone.objects.filter(station=1).exists()
    assert Zone.objects.filter(station=2).exists()


@pytest.mark.parametrize("case", [*CASES, "overlap", "beyond the lot"])
def test_every_repair_is_listed_before_saving_and_none_is_silent(
    company: Company, dispatcher: User, sign_in: SignIn, case: str
) -> None:
    book = [one for one in small_book() if one["properties"]["kind"] in ("site", "controller", "zone")]
    zone = next(one for one in book if one["properties"]["kind"] == "zone")
    if case in CASES:
        fault, rings = CASES[case]
        zone["geometry"] = {"type": "Polygon", "coordinates": rings}
    else:
        fault = Fault.OVERLAP if case == "overlap" else Fault.OUTSIDE_LOT
        zone["geometry"] = mapping(box(0, 0.5, 3, 2.5) if case == "overlap" else box(-0.5, 2))
    client = sign_in(dispatcher)
    address = send(client, collection(book))

    told = page(client, address)

    assert f"<td>{fault}</td>" in told
    assert f"fault:{fault}" in told
    assert Site.objects.count() == Change.objects.count() == 0
    client.post(f"{address}save/", {"good": "yes"})  # with no repair accepted
    assert not any("mended" in reason for reason in Change.objects.values_list("reason", flat=True))


def test_foreign_columns_are_asked_for_once_and_remembered(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    client = sign_in(dispatcher)
    lot = feature("x", box(0, 0, 4, 4), Account="CB-14", Client="T. Okafor", Garden="Okafor garden")
    del lot["properties"]["kind"]
    address = send(client, collection([lot]), "parcels.json")

    asked = page(client, address)
    assert "What do its columns mean?" in asked
    assert "Okafor garden" in asked
    told = {"kind-0": "site", "column-0-0": "site", "column-0-1": "customer", "column-0-2": "name"}
    client.post(f"{address}columns/", told)
    assert "<b>1</b> new" in page(client, address)
    client.post(f"{address}save/")

    assert Site.objects.get().customer == "T. Okafor"
    again = page(client, send(client, collection([lot]), "parcels.json"))
    assert "laid out as the last time" in again
    assert '<option value="customer" selected>' in again


def test_a_table_of_people_comes_in(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    client = sign_in(dispatcher)
    head = "technician,name,start_latitude,start_longitude,shift_start,shift_end,workdays\n"
    bad = send(client, (head + "T1,Ines,91,-104.7,07:30,16:30,mon\n").encode(), "people.geojson")
    good = send(client, (head + "T1,Ines,41,-104.7,07:30,16:30,mon\n").encode(), "people.geojson")

    told = page(client, bad)
    assert "start_latitude" in told
    assert "a number from -90 to 90" in told
    client.post(f"{bad}save/")
    assert Technician.objects.count() == 0
    client.post(f"{good}save/")
    assert Technician.objects.count() == 1


def test_what_is_thrown_away_leaves_nothing(
    company: Company, dispatcher: User, sign_in: SignIn, tmp_path: Path
) -> None:
    client = sign_in(dispatcher)
    address = send(client, bow_tied())

    client.post(f"{address}throw/")

    assert client.get(address).status_code == 404
    assert list((tmp_path / "uploads").glob("*.*")) == []
    assert Change.objects.count() == 0


@pytest.mark.parametrize(
    "content",
    [b"{", b"[]", b"<kml", b"a,b\n1,2\n", b"\xff\n"],
)
def test_rubbish_is_told_and_nothing_breaks(
    company: Company, dispatcher: User, sign_in: SignIn, content: bytes
) -> None:
    client = sign_in(dispatcher)

    address = send(client, content, "../../etc/book.csv")

    assert client.get(address).status_code == 200
    assert client.post(f"{address}save/", follow=True).status_code == 200
    assert Site.objects.count() == 0


def test_others_see_neither_page_nor_file(
    company: Company, dispatcher: User, technician_user: User, manager: User, sign_in: SignIn
) -> None:
    address = send(sign_in(dispatcher), bow_tied())
    other = User.objects.create_user(username="otto", role=User.Role.DISPATCHER)

    assert sign_in(other).get(address).status_code == 404
    assert sign_in(technician_user).get("/bring/").status_code == 403
    assert sign_in(manager).get(address).status_code == 403


def test_a_file_too_large_or_too_old_is_not_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = datetime(2026, 6, 15, tzinfo=UTC)
    monkeypatch.setattr(uploads, "LIMIT_BYTES", 10)

    with pytest.raises(uploads.UploadNotTaken):
        uploads.take_upload(folder=tmp_path, name="a", chunks=[b"123456", b"789012"], owner="hana", now=now)
    assert list(tmp_path.glob("*.data")) == []
    uploads.take_upload(folder=tmp_path, name="a", chunks=[b"1"], owner="hana", now=now)

    assert uploads.throw_old_uploads(folder=tmp_path, now=now + timedelta(days=6)) == 0
    assert uploads.throw_old_uploads(folder=tmp_path, now=now + timedelta(days=8)) == 1


def test_the_content_says_what_a_table_is() -> None:
    assert kind_of_file(b"site,start,end,volume,unit\n") == "meter"
    assert kind_of_file(b"supplier,from,price_per_m3,currency\n") == "tariffs"
    assert kind_of_file(b'{"rule_sets": []}') == "rules"
    assert kind_of_file(b"site,name\n") == "book"


def test_the_first_page_of_an_empty_product_leads_here(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    client = sign_in(dispatcher)

    assert client.get("/")["Location"] == "/first-steps/"
    assert 'href="/bring/"' in page(client, "/first-steps/")
