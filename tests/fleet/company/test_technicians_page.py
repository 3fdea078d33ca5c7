"""Technicians by hand: checked, kept with history, put back, and read by the plan."""

from __future__ import annotations

from collections.abc import Callable
from datetime import time, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from fleet.calc.plan.workdays import days_words
from fleet.models import Certificate, Company, Route, StockPlace, Technician, User
from fleet.services.company.technicians import BadTechnician, put_back_technician, save_technician
from fleet.services.plan.plan_routes import plan_routes
from sites.models import Change
from tests.conftest import DAY, NOW
from tests.factories import build_need, build_site, build_technician

SignIn = Callable[[User], Client]
WHO: dict[str, Any] = {"by": "hana", "now": NOW}
FORM: dict[str, Any] = {
    "code": "T9", "name": "Lena Marsh", "shift_start": "08:00", "shift_end": "12:00",
    "workdays": ["tue", "wed"],
    "break_min": "0", "days_off": "2026-06-16", "start_latitude": "41,2", "start_longitude": "-104.7",
    "skills": "Wiring; dig", "is_active": "yes",
}  # fmt: skip


@pytest.mark.django_db
def test_nobody_on_the_road_is_said_and_a_person_is_entered(
    sign_in: SignIn, company: Company, dispatcher: User
) -> None:
    client = sign_in(dispatcher)

    assert "No technician yet" in client.get(reverse("fleet:technicians")).content.decode()
    made = client.post(reverse("fleet:technician-new"), FORM)

    assert made.status_code == 302
    row = Technician.objects.get()
    assert (row.skills, row.workdays, row.days_off, row.end_latitude) == (
        "dig;wiring",
        "tue,wed",
        "2026-06-16",
        41.2,
    )
    assert StockPlace.objects.get().technician == row
    assert Change.objects.get(kind="technician").action == "added"
    assert "Lena Marsh" in client.get(reverse("fleet:technicians")).content.decode()
    page = client.get(reverse("fleet:technician", args=[row.pk])).content.decode()
    assert 'value="dig;wiring"' in page
    assert "<dt>Skills</dt><dd>dig, wiring</dd>" in page
    assert "<dt>Workdays</dt><dd>Tue, Wed</dd>" in page


def test_working_days_in_a_row_are_a_span() -> None:
    said = [
        days_words(days) for days in ("mon,tue,wed,thu,fri", "mon;wed;thu;fri", "sat,sun", "mon,tue,fri", "")
    ]

    assert said == ["Mon to Fri", "Mon, Wed to Fri", "Sat, Sun", "Mon, Tue, Fri", ""]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("shift_end", "07:00", "ends before it starts"),
        ("shift_start", "late", "a time such as 07:30"),
        ("workdays", [], "at least one"),
        ("break_min", "-5", "whole minutes"),
        ("days_off", "2026-06-16;soon", "days as 2026-07-04"),
        ("start_latitude", "91", "degrees from -90 to 90"),
        ("start_longitude", "west", "degrees from -180 to 180"),
        ("name", " ", "name"),
        ("code", "", "code"),
        ("user", "1", "role technician"),
    ],
)
def test_what_cannot_be_is_named_and_what_was_typed_stays(
    sign_in: SignIn, company: Company, dispatcher: User, field: str, value: object, words: str
) -> None:
    answer = sign_in(dispatcher).post(reverse("fleet:technician-new"), {**FORM, field: value})

    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert "Lena Marsh" in answer.content.decode() or field == "name"
    assert not Technician.objects.exists()


@pytest.mark.django_db
def test_a_change_is_put_back_and_the_plan_reads_hours_days_off_and_breaks(company: Company) -> None:
    person = build_technician()
    need = build_need(build_site())
    values = {
        "shift_start": time(13, 0),
        "days_off": ";".join((DAY + timedelta(days=n)).isoformat() for n in range(3)),
    }

    save_technician(technician_id=person.pk, code="", values=values, **WHO)
    plan_routes(now=NOW, week=DAY, iterations=20)

    route = Route.objects.get(stops__visit__needs=need)
    assert route.day >= DAY + timedelta(days=3)
    put_back_technician(change_id=Change.objects.get(kind="technician").pk, **WHO)
    person.refresh_from_db()
    assert (person.shift_start, person.days_off) == (time(7, 30), "")
    with pytest.raises(BadTechnician, match="already"):
        put_back_technician(change_id=Change.objects.filter(kind="technician").earliest("pk").pk, **WHO)


@pytest.mark.django_db
def test_certificates_are_noted_renewed_and_taken_out(
    sign_in: SignIn, company: Company, dispatcher: User
) -> None:
    person = build_technician(skills="backflow")
    Certificate.objects.all().delete()
    client = sign_in(dispatcher)
    url = reverse("fleet:technician-certificate", args=[person.pk])

    assert "does not count" in client.get(reverse("fleet:technicians")).content.decode()
    client.post(url, {"skill": "backflow", "number": "B-1", "valid_until": "2026-06-15"})
    client.post(url, {"skill": "backflow", "number": "B-1", "valid_until": "2027-06-15"})
    bad = client.post(url, {"skill": "backflow", "number": "", "valid_until": "2027-06-15"}, follow=True)

    assert "Nothing was changed" in bad.content.decode()
    assert Certificate.objects.get().valid_until.year == 2027
    assert "does not count" not in client.get(reverse("fleet:technicians")).content.decode()
    client.post(url, {"gone": Certificate.objects.get().pk})
    assert not Certificate.objects.exists()
    assert Change.objects.filter(kind="technician").count() == 3
    first, renewed, gone = Change.objects.filter(kind="technician").order_by("pk")
    put_back_technician(change_id=gone.pk, **WHO)
    assert Certificate.objects.get().valid_until.year == 2027
    put_back_technician(change_id=renewed.pk, **WHO)
    assert Certificate.objects.get().valid_until.year == 2026
    put_back_technician(change_id=first.pk, **WHO)
    assert not Certificate.objects.exists()
    with pytest.raises(BadTechnician, match="already"):
        put_back_technician(change_id=first.pk, **WHO)


@pytest.mark.django_db
def test_an_account_belongs_to_one(company: Company, technician_user: User) -> None:
    build_technician("T1", user=technician_user)
    other = build_technician("T2")

    with pytest.raises(BadTechnician, match="another technician"):
        save_technician(technician_id=other.pk, code="", values={"user_id": technician_user.pk}, **WHO)
