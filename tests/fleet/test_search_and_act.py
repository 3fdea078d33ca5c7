"""One box for gardens, people, pages and actions: each finds what the own role may open, and no more."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from fleet.access import ROLES, may_see
from fleet.doings import DOINGS, doings_for
from fleet.models import Company, User
from fleet.places import PLACES
from tests.factories import build_site, build_technician
from tests.fleet.on_site.test_phone_sending import a_stop

SignIn = Callable[[User], Client]


def find(client: Client, text: str) -> str:
    """The page of what was found."""
    return client.get(reverse("fleet:search"), {"q": text}).content.decode()


@pytest.mark.parametrize("role", User.Role.values)
def test_a_role_is_offered_only_what_it_may_open(role: str) -> None:
    offered = {one.name for one in doings_for(role=role, text="")}

    assert {name for name in offered if not name.startswith("admin:") and not may_see(role, name)} == set()
    assert ("admin:index" in offered) == (role == "administrator")
    assert {name for group in PLACES[role] for name in group} <= offered


def test_every_doing_has_an_address_of_its_own_words() -> None:
    assert {one.name for one in DOINGS} <= set(ROLES) | {"admin:index"}
    assert len({one.says for one in DOINGS}) == len(DOINGS)
    assert all(one.url.startswith("/") for one in DOINGS)


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("bring", "Bring a file"), ("import up", "Bring a file"), ("PASSWORD", "Change your password"),
        ("keyb", "Keys of every page"), ("metric", "Your settings: units, clock, colours"),
    ],
)  # fmt: skip
def test_words_find_what_they_mean(text: str, first: str) -> None:
    assert doings_for(role="dispatcher", text=text)[0].says == first


@pytest.mark.django_db
def test_a_technician_finds_the_own_gardens_only_and_no_colleagues(
    company: Company, technician_user: User, stranger: User, sign_in: SignIn
) -> None:
    a_stop(technician_user)
    a_stop(stranger, "QT-02")
    client = sign_in(technician_user)

    assert "CB-14" in find(client, "okafor")
    assert "QT-02" not in find(client, "okafor")
    assert client.get(reverse("fleet:search"), {"q": "CB-14"})["Location"] == reverse(
        "fleet:site", args=["CB-14"]
    )
    assert "Otis Lund" not in find(client, "otis")
    assert "Invite" not in find(client, "people")


@pytest.mark.django_db
def test_a_dispatcher_finds_gardens_people_and_actions(
    company: Company, dispatcher: User, technician_user: User, sign_in: SignIn
) -> None:
    a_stop(technician_user)
    build_technician("T-noor", name="Noor Hale")
    client = sign_in(dispatcher)

    assert "Noor Hale: today" in find(client, "noor")
    page = find(client, "visit")
    assert "Enter a visit" in page
    assert len(re.findall(r"data-hit autofocus", page)) == 1
    assert "Nothing found" in find(client, "qqq<b>")
    assert "<b>qqq" not in find(client, "<b>qqq")


@pytest.mark.django_db
def test_suggestions_are_few_and_only_what_the_role_may_open(
    company: Company, sign_in: SignIn, dispatcher: User, technician_user: User
) -> None:
    for number in range(9):
        build_site(f"CB-{number}", name="<b>Okafor</b> garden", customer="N. Okafor")

    def lines(user: User, text: str) -> list[dict[str, str]]:
        answer = sign_in(user).get(reverse("fleet:search-suggest"), {"q": text})
        return list(answer.json()["lines"])

    gardens = lines(dispatcher, "okafor")
    assert [line["kind"] for line in gardens] == ["garden"] * 5
    assert gardens[0] == {"words": "CB-0 <b>Okafor</b> garden", "kind": "garden", "url": "/sites/CB-0/"}
    assert "N. Okafor" not in str(gardens)
    assert lines(technician_user, "okafor") == []
    assert [line["url"] for line in lines(dispatcher, "bring a")] == [reverse("fleet:bring")]
    assert lines(technician_user, "bring a") == lines(dispatcher, "  ") == []


@pytest.mark.django_db
def test_the_first_day_leads_to_bringing_weather_and_inviting(company: Company, sign_in: SignIn) -> None:
    administrator = User.objects.create_user("leah", role=User.Role.ADMINISTRATOR)
    client = sign_in(administrator)

    page = client.get(reverse("fleet:home"), follow=True).content.decode()
    for name in ("fleet:bring", "weather:page", "fleet:people"):
        assert f'href="{reverse(name)}"' in page
    done = page.count(">done<")
    User.objects.create_user("hana", role=User.Role.DISPATCHER)
    assert client.get(reverse("fleet:first-steps")).content.decode().count(">done<") == done + 1
