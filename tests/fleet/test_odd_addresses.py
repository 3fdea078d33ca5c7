"""Addresses with odd questions: a page answers or says no, and never breaks."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from fleet.models import Company, User

pytestmark = pytest.mark.django_db
PAGES = (
    "/week/", "/round/", "/sheets/", "/season/", "/day/", "/sites/", "/watch/", "/rules/", "/search/",
    "/weather/", "/map/zones.json",
)  # fmt: skip
ODD = (
    "x",
    "-1",
    "9999-12-31",
    "0001-01-01",
    "2026-02-30",
    "\u202e",
    "nan",
    "a" * 3000,
    "9" * 30,
    "2026-06-15T00",
    "a\x00b",
)
QUESTIONS = (
    "week", "date", "day", "month", "days", "page", "q", "show", "kind", "zone", "pick", "location", "point",
    "technician", "rule", "part", "for", "box",
)  # fmt: skip


@pytest.mark.parametrize("page", PAGES)
def test_no_question_breaks_a_page(
    company: Company, dispatcher: User, sign_in: Callable[[User], Client], page: str
) -> None:
    client = sign_in(dispatcher)
    for odd in ODD:
        answer = client.get(page, dict.fromkeys(QUESTIONS, odd))

        assert answer.status_code in (200, 302, 400, 404), (page, odd[:20])


@pytest.mark.parametrize("page", ["/water/", "/water/ledger.csv"])
def test_no_question_breaks_the_managers_pages(
    company: Company, manager: User, sign_in: Callable[[User], Client], page: str
) -> None:
    client = sign_in(manager)
    for odd in ODD:
        assert client.get(page, dict.fromkeys(QUESTIONS, odd)).status_code in (200, 302, 400, 404), odd[:20]


@pytest.mark.parametrize(
    "address",
    [
        "/sites/%00/",
        "/sites/%F0%9F%8C%B1/",
        "/sites/" + "x" * 2000 + "/",
        "/watch/x/y/",
        "/day/stops/" + "9" * 25 + "/",
    ],
)
def test_an_address_that_names_nothing_is_not_found(
    company: Company, dispatcher: User, sign_in: Callable[[User], Client], address: str
) -> None:
    assert sign_in(dispatcher).get(address).status_code == 404
