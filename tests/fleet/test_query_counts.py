"""How many queries each page asks, with one garden and with seven: `query_counts.csv`, which may only shrink.

After a wanted change, `QUERY_COUNTS=write pytest tests/fleet/test_query_counts.py` writes the file anew;
a page whose second number is the larger one asks for each garden by itself. Read what changed
before it is kept.
"""

from __future__ import annotations

import csv
import os
from pathlib import Path
from typing import Any, Final

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.models import Company, User
from tests.fleet.access.every_address import every_address, things_of

COUNTS: Final = Path(__file__).with_name("query_counts.csv")
MORE: Final = ("QT-02", "RW-03", "SN-04", "TB-05", "UB-06", "VC-07")
# Savepoints are the test's own: each request runs inside one.
NOT_ASKED: Final = ("SAVEPOINT", "RELEASE SAVEPOINT", "ROLLBACK TO SAVEPOINT")
Counts = dict[str, int]
pytestmark = pytest.mark.django_db


@pytest.fixture
def admin(company: Company) -> Client:
    """An administrator, who may open nearly all."""
    user = _account(User.Role.ADMINISTRATOR, "leah")
    client = Client(raise_request_exception=False)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def _account(role: str, name: str) -> User:
    return User.objects.create_user(username=name, password="garden-water-42", role=role)


def _counted(client: Client, words: dict[str, dict[str, Any]]) -> Counts:
    """Queries of every page that answers to this visitor, each asked for the second time."""
    found = {}
    for address in every_address():
        if "key" in address.words or address.name.startswith("api"):
            continue
        path = reverse(address.name, kwargs=words[address.name])
        if _ask(client, path)[1] != 200:
            continue
        found[address.name] = _ask(client, path)[0]
    return found


def _ask(client: Client, path: str) -> tuple[int, int]:
    """Queries and status of one request, whose traces are taken back."""
    with transaction.atomic():
        with CaptureQueriesContext(connection) as asked:
            answer = client.get(path)
            # A download is made while it is read.
            b"".join(answer) if answer.streaming else answer.content  # type: ignore[arg-type, unused-ignore]
        transaction.set_rollback(True)
    return sum(not query["sql"].startswith(NOT_ASKED) for query in asked), answer.status_code


def test_no_page_asks_more_than_is_written(admin: Client) -> None:
    words = things_of(_account(User.Role.TECHNICIAN, "ines"), "CB-14")
    one = _counted(admin, words)
    for code in MORE:
        things_of(_account(User.Role.TECHNICIAN, code.lower()), code)
    seven = _counted(admin, words)
    if os.environ.get("QUERY_COUNTS") == "write":
        with COUNTS.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(["page", "one_garden", "seven_gardens"])
            writer.writerows((name, one.get(name, ""), seven[name]) for name in sorted(seven))
    with COUNTS.open(encoding="utf-8", newline="") as file:
        kept = {row["page"]: row for row in csv.DictReader(file)}

    assert sorted(set(seven) - set(kept)) == []
    assert sorted(set(kept) - set(seven)) == []
    assert _above(one, kept, "one_garden") == {}
    assert _above(seven, kept, "seven_gardens") == {}


def _above(found: Counts, kept: dict[str, dict[str, str]], column: str) -> dict[str, tuple[int, int]]:
    """Pages that ask more than is written: number found, number written."""
    return {
        name: (count, int(kept[name][column]))
        for name, count in found.items()
        if count > int(kept[name][column])
    }


def test_the_written_counts_tell_no_page_that_asks_for_each_garden() -> None:
    with COUNTS.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))

    growing = {row["page"] for row in rows if int(row["seven_gardens"]) > int(row["one_garden"])}
    assert growing == set()
