"""Every address, by every method, for everybody: what happens stands in `role_matrix.csv`, row by row.

Methods that have no row there are served to nobody. `open` means past the guard, whatever the page then says.
After a wanted change, `ROLE_MATRIX=write pytest tests/fleet/access/test_role_matrix.py` writes the file anew;
read the difference before it is kept.
"""

from __future__ import annotations

import csv
import os
from pathlib import Path
from typing import Any, Final

import pytest
from django.contrib import admin
from django.db import transaction
from django.test import Client
from django.urls import reverse

from fleet.access import DEVICES, ROLES, RULE_CODES, SELF_GUARDED, THINGS, VISITORS
from fleet.models import Company, Tariff, User
from tests.fleet.access.every_address import a_file, admin_addresses, every_address, things_of

MATRIX: Final = Path(__file__).with_name("role_matrix.csv")
CALLERS: Final = (
    "visitor", "former", "technician_own", "technician_others", "dispatcher", "manager", "administrator",
)  # fmt: skip
# Addresses whose thing only a computation or a body makes; their own tests open them.
MADE_ELSEWHERE: Final = {
    "fleet:site-water-csv", "fleet:water-csv", "fleet:weather-reference", "fleet:rule-restore",
    "fleet:phone-photo", "fleet:water-gpkg",
}  # fmt: skip
OURS: Final = ("fleet", "sites", "weather")
METHODS: Final = ("GET", "POST", "PUT", "PATCH", "DELETE")
WORDS: Final = {401: "token", 403: "forbidden", 404: "not found", 405: "not served"}
Row = dict[str, str]
pytestmark = pytest.mark.django_db


@pytest.fixture
def clients(company: Company) -> dict[str, Client]:
    """A client for everybody; the former employee was signed in when the account was shut."""
    found = {"visitor": Client(raise_request_exception=False)}
    people = {role: _account(role) for role in User.Role.values}
    people["former"] = _account(User.Role.ADMINISTRATOR, "leah")
    for name, user in people.items():
        found[name] = Client(raise_request_exception=False)
        found[name].force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    User.objects.filter(username="leah").update(is_active=False)
    found["technician_own"] = found["technician_others"] = found.pop("technician")
    return found


def _account(role: str, name: str = "") -> User:
    """An account of a role."""
    return User.objects.create_user(
        username=name or role, password="garden-water-42", role=role, is_staff=role == "administrator"
    )


def outcome_of(answer: Any) -> str:
    """What an answer comes to: past the guard (`open`), or turned away and how."""
    if answer.status_code in (301, 302) and "/sign-in/" in answer.get("Location", ""):
        return "sign-in"
    if answer.status_code >= 500:
        return f"broken {answer.status_code}"
    return WORDS.get(answer.status_code, "open")


def ask(client: Client, method: str, address: str) -> Any:
    """One request, whose traces in the database and in the client are taken back."""
    cookies = client.cookies.output()
    kind = "application/json" if address.startswith("/api/") else "application/x-www-form-urlencoded"
    with transaction.atomic():
        answer = client.generic(method, address, content_type=kind)
        transaction.set_rollback(True)
    if client.cookies.output() != cookies:
        client.cookies.clear()
        client.cookies.load(cookies.replace("Set-Cookie: ", ""))
    return answer


def walked(clients: dict[str, Client]) -> list[Row]:
    """The matrix as it is: one row an address and method, methods that go the same way together."""
    own = things_of(User.objects.get(username="technician"), "CB-14")
    others = things_of(_account(User.Role.TECHNICIAN, "otis"), "QT-02")
    rows = []
    for address in every_address():
        by_method = {}
        for method in METHODS:
            outcomes = []
            for caller in CALLERS:
                words = dict((others if caller == "technician_others" else own)[address.name])
                if "key" in address.words:
                    words["key"] = a_file(clients["dispatcher"])
                outcomes.append(outcome_of(ask(clients[caller], method, reverse(address.name, kwargs=words))))
            by_method[method] = tuple(outcomes)
        for kept in dict.fromkeys(by_method.values()):
            if by_method["GET"] != kept and not {"open", "not found"} & set(kept):
                continue
            methods = " ".join(method for method in METHODS if by_method[method] == kept)
            rows.append(
                {
                    "address": address.name,
                    "method": methods,
                    **dict(zip(CALLERS, kept, strict=True)),
                }
            )
    return sorted(rows, key=lambda row: (row["address"], METHODS.index(row["method"].split()[0])))


def test_everybody_gets_what_the_matrix_says_and_nothing_else(clients: dict[str, Client]) -> None:
    found = walked(clients)
    if os.environ.get("ROLE_MATRIX") == "write":
        with MATRIX.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, ["address", "method", *CALLERS], lineterminator="\n")
            writer.writeheader()
            writer.writerows(found)
    with MATRIX.open(encoding="utf-8", newline="") as file:
        kept = list(csv.DictReader(file))

    assert [row for row in found if row not in kept] == []
    assert [row for row in kept if row not in found] == []


def test_the_matrix_itself_opens_to_nobody_too_much() -> None:
    with MATRIX.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    free = VISITORS | DEVICES | SELF_GUARDED

    assert not [row for row in rows if "broken" in " ".join(row.values())]
    for row in rows:
        name = row["address"]
        if name in free:
            continue
        assert {row["visitor"], row["former"]} <= {"sign-in"}, row
        for role in ("dispatcher", "manager", "administrator", "technician"):
            column = "technician_own" if role == "technician" else role
            assert row[column] != "open" or role in ROLES[name], row
    for name in set(ROLES) - free - MADE_ELSEWHERE:
        for role in ROLES[name] - {"technician"}:
            assert [row for row in rows if row["address"] == name and row[role] == "open"], (name, role)
    others = {row["address"] for row in rows if row["technician_others"] == "open"} - free
    assert not [name for name in others if {"pk", "code"} & set(_words(name))]


def _words(name: str) -> tuple[str, ...]:
    """The words of an address."""
    return next(address.words for address in every_address() if address.name == name)


def test_a_technician_gets_nothing_of_others_even_where_the_role_might(
    clients: dict[str, Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ROLES:
        monkeypatch.setitem(ROLES, name, frozenset(User.Role.values))
    own = things_of(User.objects.get(username="technician"), "CB-14")
    others = things_of(_account(User.Role.TECHNICIAN, "otis"), "QT-02")
    swapped = opened = 0
    for address in every_address():
        if not {"pk", "code", "key"} & set(address.words) or address.name in VISITORS:
            continue
        words = [own[address.name], others[address.name]]
        if "key" in address.words:
            words = [{"key": a_file(clients["dispatcher"])}] * 2
        elif {"pk", "code"} <= set(address.words):
            words += [own[address.name] | {"pk": others[address.name]["pk"]}]
        for method in ("GET", "POST"):
            first, *rest = (
                outcome_of(ask(clients["technician_own"], method, reverse(address.name, kwargs=one)))
                for one in words
            )
            opened += first == "open"
            swapped += len(rest)
            assert set(rest) == {"not found"}, (address.name, method, rest)
    assert swapped > 80
    assert opened > 30


def test_every_address_with_a_number_names_its_kind() -> None:
    numbered = {one.name for one in every_address() if "pk" in one.words and one.name not in VISITORS}
    codes = {one.name for one in every_address() if "code" in one.words}

    assert numbered == set(THINGS)
    assert {name for name in codes if name.startswith("fleet:rule-")} == RULE_CODES


def test_djangos_admin_opens_to_administrators_only(clients: dict[str, Client]) -> None:
    User.objects.update(is_staff=True, is_superuser=True)  # even if somebody ticked every box
    walked_names = set()
    for address in admin_addresses():
        words = {word: {"app_label": "fleet", "url": "x"}.get(word, "1") for word in address.words}
        try:
            url = reverse(address.name, kwargs=words)
        except Exception:  # noqa: BLE001 (the catch-all has no name)
            url = "/admin/nothing/"
        walked_names.add(address.name)
        for caller, client in clients.items():
            for method in ("GET", "POST"):
                outcome = outcome_of(ask(client, method, url))
                if caller in ("visitor", "former"):
                    assert outcome in ("sign-in", "open") if "login" in url else "sign-in", (caller, url)
                elif caller != "administrator" and "login" not in url:
                    assert outcome == "forbidden", (caller, url, outcome)
    assert len(walked_names) > 10
    # A change there leaves no trace in our history: whatever has a page of ours is changed there alone.
    assert {model for model in admin.site._registry if model._meta.app_label in OURS} == {Tariff}


def test_no_form_of_a_person_is_taken_without_its_token(clients: dict[str, Client]) -> None:
    own = things_of(User.objects.get(username="technician"), "CB-14")
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = clients["administrator"].cookies
    tried = 0
    for address in every_address():
        if address.name in DEVICES or "key" in address.words:
            continue
        answer = ask(strict, "POST", reverse(address.name, kwargs=own[address.name]))
        tried += 1
        assert answer.status_code in (403, 405), (address.name, answer.status_code)
    assert tried > 80


def test_every_address_is_in_one_table_of_access() -> None:
    names = {address.name for address in every_address()}
    known = set(ROLES) | DEVICES | SELF_GUARDED

    assert names - known == set()
    assert {name for name in known - names if not name.startswith("admin:")} == set()
