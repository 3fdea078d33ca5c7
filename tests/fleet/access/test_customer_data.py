"""The audit log, and a customer's data handed out and erased."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fleet.access import ROLES
from fleet.customer_trail import CHANGES, SHOWS, TAKES
from fleet.models import AuditEntry, Company, Finding, LedgerMonth, Photo, ReportLink, Stop, User, VisitNeed
from fleet.selectors.on_site.photo_files import photo_folder, photo_path
from fleet.services.company.audit import throw_old_audit
from sites.models import Change, Recommendation, Site
from tests.conftest import DAY, NOW
from tests.fleet.access.every_address import every_address, things_of

SignIn = Callable[[User], Client]
pytestmark = pytest.mark.django_db
SECRETS = (
    "T. Okafor",
    "9 Kiln Lane",
    "555 0100",
    "4471",
    "0815",
    "dog bites",
    "beware of the aunt",
    "Okafor",
)


@pytest.fixture
def administrator(db: None) -> User:
    """Leah keeps the installation."""
    return User.objects.create_user("leah", password="garden-water-42", role=User.Role.ADMINISTRATOR)


@pytest.fixture
def garden(company: Company, technician_user: User) -> Site:
    """A garden with everything that says something of its customer."""
    things_of(technician_user, "CB-14")
    site = Site.objects.get()
    Site.objects.update(access_notes="dog bites", name="Okafor garden")
    Finding.objects.update(note="beware of the aunt")
    VisitNeed.objects.update(note="beware of the aunt")
    Photo.objects.update(caption="beware of the aunt")
    Change.objects.create(
        at=NOW, by="hana", kind="site", key="CB-14", site_code="CB-14", action="changed",
        before={"gate_code": "0815", "soil": "clay"}, after={"gate_code": "4471", "soil": "loam"},
        reason="T. Okafor rang",
    )  # fmt: skip
    LedgerMonth.objects.create(site=site, month=DAY.replace(day=1), used_l=12_345.0)
    return site


def test_who_opens_a_garden_leaves_one_entry_and_a_refusal_none(
    sign_in: SignIn, garden: Site, dispatcher: User, stranger: User
) -> None:
    client = sign_in(dispatcher)
    answer = client.get(reverse("fleet:site", args=["CB-14"]))

    entry = AuditEntry.objects.get()
    assert (entry.by, entry.kind, entry.site_code) == ("hana", "seen", "CB-14")
    assert entry.request_id == answer["X-Request-ID"]
    assert sign_in(stranger).get(reverse("fleet:site", args=["CB-14"])).status_code == 404
    assert AuditEntry.objects.count() == 1


def test_a_stop_names_its_garden_and_a_search_its_words(
    sign_in: SignIn, garden: Site, technician_user: User, dispatcher: User
) -> None:
    stop = Stop.objects.filter(visit__site=garden, route__technician__user=technician_user).earliest("pk")
    sign_in(technician_user).get(reverse("fleet:stop", args=[stop.pk]))
    sign_in(dispatcher).get(reverse("fleet:search"), {"q": "kiln lane"})

    assert list(AuditEntry.objects.order_by("id").values_list("by", "site_code")) == [
        ("ines", "CB-14"),
        ("hana", ""),
    ]
    assert "kiln lane" in AuditEntry.objects.latest("id").what


def test_every_page_that_shows_a_contact_is_in_the_trail(
    sign_in: SignIn, garden: Site, administrator: User, technician_user: User
) -> None:
    """Whatever page shows an address, a contact, the way in or the gate code must leave an entry."""
    client, words = (
        sign_in(administrator),
        things_of(User.objects.create(username="o", role="technician"), "Q-2"),
    )
    told = {"customer": "Zyx Quill", "phone": "555 0199", "gate_code": "9731", "email": "zyx@quill.example"}
    told |= {"address": "77 Quagmire Row", "access_notes": "zither behind the gate", "name": "Zyx garden"}
    Site.objects.filter(code="Q-2").update(rule_set="rules-Q-2", **told)
    Recommendation.objects.update(is_change=True)
    silent = []
    for address in every_address():
        if "key" in address.words or address.name.startswith(("login", "logout")):
            continue
        AuditEntry.objects.all().delete()
        answer = client.get(reverse(address.name, kwargs=words[address.name]))
        body = answer.getvalue()
        shows = answer.status_code == 200 and any(told[one].encode() in body for one in told if one != "name")
        if shows and not AuditEntry.objects.exists():
            silent.append(address.name)
    assert silent == []
    names = {address.name for address in every_address()}
    assert (set(SHOWS) | set(TAKES) | set(CHANGES)) - names == set()


def test_the_page_filters_and_old_entries_go(sign_in: SignIn, company: Company, administrator: User) -> None:
    now = timezone.now()
    for by, code, days in (("hana", "CB-14", 0), ("ines", "QT-02", 1), ("ruth", "", 800)):
        AuditEntry.objects.create(
            at=now - timedelta(days=days), by=by, what="page", kind="seen", site_code=code
        )
    client = sign_in(administrator)

    assert "QT-02" not in client.get(reverse("fleet:audit-log"), {"by": "hana"}).content.decode()
    assert "ines" in client.get(reverse("fleet:audit-log"), {"site": "QT-02"}).content.decode()
    yesterday = (now - timedelta(days=2)).date().isoformat()
    page = client.get(reverse("fleet:audit-log"), {"since": yesterday, "until": "nonsense"}).content.decode()
    assert "2 entries" in page
    assert throw_old_audit(now=now, kept_days=730) == 1
    assert AuditEntry.objects.count() == 2


def test_all_data_are_handed_out_as_json_and_csv(
    sign_in: SignIn, garden: Site, administrator: User, tmp_path: Path
) -> None:
    Site.objects.update(customer="=HYPERLINK(1)")
    answer = sign_in(administrator).get(reverse("fleet:customer-data", args=["CB-14"]))

    archive = zipfile.ZipFile(io.BytesIO(answer.content))
    said = json.loads(archive.read("customer.json"))
    assert said["contact"][0]["gate_code"] == "4471"
    assert said["water_by_month"][0]["used_l"] == 12_345.0
    assert said["history"][0]["before"]["gate_code"] == "0815"
    rows = list(csv.DictReader(io.StringIO(archive.read("contact.csv").decode())))
    assert rows[0]["customer"] == "'=HYPERLINK(1)"
    assert [name for name in archive.namelist() if name.startswith("photos/")] == [f"photos/{'0' * 16}.jpg"]
    assert AuditEntry.objects.filter(kind="taken", site_code="CB-14").count() == 1


def test_an_erasure_takes_the_person_and_leaves_the_water(
    sign_in: SignIn, garden: Site, administrator: User, dispatcher: User, settings: Any,
    django_capture_on_commit_callbacks: Any,
) -> None:  # fmt: skip
    client, place = sign_in(administrator), reverse("fleet:customer", args=["CB-14"])
    path = photo_path(folder=photo_folder(data_dir=settings.DATA_DIR), sha256="0" * 64)
    before = client.get(place).content.decode()
    assert "entries of the history" in before
    client.post(place, {"code": "QT-02"})
    assert Site.objects.get().gate_code == "4471"

    with django_capture_on_commit_callbacks(execute=True):
        client.post(place, {"code": "CB-14"})

    kept = client.get(reverse("fleet:customer-data", args=["CB-14"])).content
    archive = zipfile.ZipFile(io.BytesIO(kept))
    text = b"".join(archive.read(name) for name in archive.namelist()).decode()
    text += client.get(reverse("fleet:site", args=["CB-14"])).content.decode()
    assert [word for word in SECRETS if word in text] == []
    assert LedgerMonth.objects.get().used_l == 12_345.0
    change = Change.objects.get(kind="site")
    assert (change.before, change.after) == ({"soil": "clay"}, {"soil": "loam"})
    assert not Photo.objects.exists()
    assert not path.exists()
    assert ReportLink.objects.get().revoked_at is not None
    assert "Nothing is left to erase" in client.get(place).content.decode()
    assert AuditEntry.objects.filter(what__startswith="personal data erased", by="leah").count() == 1


def test_a_photo_that_another_garden_needs_stays(
    garden: Site, stranger: User, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    from fleet.services.company.erase_customer import erase_customer

    things_of(stranger, "QT-02")
    folder = photo_folder(data_dir=settings.DATA_DIR)
    with django_capture_on_commit_callbacks(execute=True):
        erase_customer(site_id=garden.pk, by="leah", at=NOW, folder=folder)

    assert photo_path(folder=folder, sha256="0" * 64).is_file()
    assert Photo.objects.count() == 1


def test_only_administrators_hand_out_and_erase() -> None:
    assert {ROLES[name] for name in ("fleet:customer", "fleet:customer-data", "fleet:audit-log")} == {
        frozenset({"administrator"})
    }
