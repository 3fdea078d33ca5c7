"""Every page in its odd states: nothing brought yet, a night that broke, old weather, another role's page."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from fleet.access import ROLES, may_see
from fleet.models import Company, StageRun, Technician, User
from tests.conftest import DAY, NOW
from tests.factories import build_location, build_site
from tests.fleet.access.every_address import every_address
from tests.weather.test_selectors import build_day

SignIn = Callable[[User], Client]
pytestmark = pytest.mark.django_db
# Addresses without words in them that every test can ask for.
PLAIN = [address.name for address in every_address() if not address.words and address.name in ROLES]
# Pages of lists: with nothing in them, each says so in words of its own.
LISTS = (
    "visits", "technicians", "quotes", "contracts", "stock", "findings", "site-list", "sensor-places",
    "season", "sheets", "watch-list", "round", "rules", "water", "water-parts", "water-report",
    "water-renewals", "rebates",
    "water-unjudged", "calls", "operations", "devices", "week",
)  # fmt: skip
# Pages on which an administrator reads what to type on the server.
SERVER_WORDS = {"fleet:first-steps", "fleet:operations"}
NONSENSE = re.compile(r">\s*(None|nan|NaN|inf|\[\]|\{\}|Undefined)\s*<|\bNone[,.]|manage\.py")


def account(role: str) -> User:
    """A person of a role."""
    return User.objects.create_user(f"one-{role}", password="garden-water-42", role=role)


def read(client: Client, name: str) -> str:
    """The page, after its redirects; empty where the address serves no page to a reader."""
    answer = client.get(reverse(name), follow=True)
    if answer.status_code in (400, 404, 405) or "text/html" not in answer.get("Content-Type", ""):
        return ""
    assert answer.status_code == 200, (name, answer.status_code)
    return str(answer.content.decode())


@pytest.mark.parametrize("has_company", [False, True], ids=["no company", "a company"])
@pytest.mark.parametrize("role", User.Role.values)
def test_with_nothing_brought_every_page_answers_in_words(
    role: str, has_company: bool, sign_in: SignIn
) -> None:
    if has_company:
        Company.objects.create(pk=1, name="Marlow & Finch Garden Water", timezone="America/Denver")
    client = sign_in(account(role))

    read_pages = 0
    for name in PLAIN:
        if not may_see(role, name):
            continue
        page = read(client, name)
        read_pages += bool(page)
        body = re.sub(r"<(script|style)\b.*?</\1>", "", page, flags=re.S)
        found = NONSENSE.search(body)
        allowed = name in SERVER_WORDS or name == "fleet:home"
        assert found is None or (allowed and found.group() == "manage.py"), (name, found)
        for answer in re.findall(r'<p class="answer">(.*?)</p>', page, flags=re.S):
            assert re.sub(r"<[^>]+>", "", answer).strip(), name

    assert read_pages > 5


@pytest.mark.parametrize("name", LISTS)
def test_an_empty_list_says_so_and_why(name: str, company: Company, sign_in: SignIn) -> None:
    page = read(sign_in(account(User.Role.ADMINISTRATOR)), f"fleet:{name}")

    assert re.search(r'class="blank">\s*<h2>[^<]{4,}</h2>', page) or "No sheet for this day" in page
    assert re.search(r'class="blank">\s*<h2>[^<]+</h2>\s*<p class="note">', page) or "No sheet" in page


@pytest.mark.parametrize("name", ["fleet:water-csv", "fleet:water-gpkg"])
def test_a_file_of_an_empty_ledger_leads_to_the_page_that_says_why(
    name: str, company: Company, sign_in: SignIn
) -> None:
    page = read(sign_in(account(User.Role.MANAGER)), name)

    assert "Nothing is in the ledger yet." in page


def test_without_a_company_every_page_says_that_nothing_runs_by_night(sign_in: SignIn) -> None:
    build_site("CB-14")
    words = "Nothing runs by night: no company is founded"

    for role, leads in ((User.Role.ADMINISTRATOR, True), (User.Role.MANAGER, False)):
        client = sign_in(account(role))
        for name in ("fleet:water", "fleet:visits", "fleet:site-list"):
            page = read(client, name)
            assert words in page, name
            assert (f'href="{reverse("fleet:company")}">{words}' in page) == leads, (name, role)
    Company.objects.create(pk=1, name="Marlow & Finch Garden Water", timezone="America/Denver")
    assert words not in read(client, "fleet:water")


def test_the_week_of_a_company_without_people_or_weather_leads_to_the_first_steps(
    company: Company, sign_in: SignIn
) -> None:
    build_site("CB-14")
    client = sign_in(account(User.Role.DISPATCHER))

    assert reverse("fleet:first-steps") in read(client, "fleet:week")
    page = read(client, "fleet:first-steps")
    assert "Next: weather for its locations." in page
    assert 'href="/bring/"' in page


def test_old_weather_is_called_old_on_every_page(company: Company, sign_in: SignIn) -> None:
    location = build_location()
    build_day(location, DAY - timedelta(days=11))
    location.newest_day = DAY - timedelta(days=11)
    location.save()
    build_site("CB-14")
    client = sign_in(account(User.Role.MANAGER))

    for name in ("fleet:water", "fleet:visits", "fleet:site-list", "fleet:round", "weather:page"):
        assert "11 days old" in read(client, name), name

    location.newest_day = DAY - timedelta(days=1)
    location.save()
    assert "days old" not in read(client, "fleet:water")


def test_a_night_that_broke_is_told_on_every_page_until_it_is_done(company: Company, sign_in: SignIn) -> None:
    run = StageRun.objects.create(
        stage="update_balance", day=DAY, state="failed", asked_at=NOW, error="<b>disk"
    )
    StageRun.objects.create(stage="look_at_file", scope="x", day=DAY, state="failed", asked_at=NOW)
    build_site("CB-14")
    dispatcher = sign_in(account(User.Role.DISPATCHER))

    for name in ("fleet:week", "fleet:visits", "fleet:round", "fleet:watch-list"):
        page = read(dispatcher, name)
        assert "Not done last night: water balance</b>" in page, name
        assert "<b>disk" not in page
    administrator = sign_in(account(User.Role.ADMINISTRATOR))
    assert f'<a href="{reverse("fleet:operations")}">Not done last night' in read(
        administrator, "fleet:round"
    )

    StageRun.objects.filter(pk=run.pk).update(state="done")
    assert "Not done last night" not in read(dispatcher, "fleet:week")


@pytest.mark.parametrize("role", User.Role.values)
def test_a_page_of_another_role_is_refused_in_words_and_shows_nothing_of_it(
    role: str, company: Company, sign_in: SignIn
) -> None:
    build_site("CB-14", name="Okafor garden")
    Technician.objects.create(
        code="T1", name="Ines Calder", start_latitude=41, start_longitude=-104, end_latitude=41,
        end_longitude=-104, shift_start="08:00", shift_end="16:00",
    )  # fmt: skip
    client = sign_in(account(role))

    refused = 0
    for name in PLAIN:
        if may_see(role, name):
            continue
        answer = client.get(reverse(name))
        page = answer.content.decode()
        refused += 1
        assert answer.status_code == 403, name
        assert "This page is for another role.</b> Nothing was changed." in page, name
        assert "Okafor" not in page, name
        assert 'href="/"' in page, name

    assert refused > 0 or role == User.Role.ADMINISTRATOR
