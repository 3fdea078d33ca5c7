"""No page offers a link or a button that its reader may not use."""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser

import pytest
from django.test import Client
from django.urls import Resolver404, resolve, reverse

from fleet.access import ROLES, VISITORS, may_see
from fleet.models import Company, User
from sites.models import Recommendation
from tests.fleet.access.every_address import every_address, things_of

pytestmark = pytest.mark.django_db
FEWEST = {"technician": 10, "dispatcher": 60, "manager": 50, "administrator": 70}


class Offers(HTMLParser):
    """Addresses that a page offers: links, and forms that have a button to send them by."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self._form = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note links, and the form that a button sends."""
        given = dict(attrs)
        if tag == "a":
            self.found.append(given.get("href") or "")
        elif tag == "form":
            self._form = given.get("action") or ""
        elif tag == "button" and given.get("type", "submit") == "submit":
            self.found.append(given.get("formaction") or self._form)

    def handle_endtag(self, tag: str) -> None:
        """A form has ended."""
        self._form = "" if tag == "form" else self._form


def offered(page: str) -> Iterator[str]:
    """Names of the views that a page offers."""
    reader = Offers()
    reader.feed(page)
    for address in reader.found:
        path = address.split("#")[0].split("?")[0]
        if not path.startswith("/") or path.startswith("/static/"):
            continue
        try:
            yield resolve(path).view_name
        except Resolver404:
            yield f"nothing at {path}"


def test_the_reader_of_offers_sees_links_and_buttons_and_no_more() -> None:
    page = '<a href="/week/?x=1">a</a><form action="/round/decide/"><input></form><form action="/people/">'

    assert list(offered(page + "<button>Go</button></form><a href='/nowhere/'>x</a>")) == [
        "fleet:week", "fleet:people", "nothing at /nowhere/",
    ]  # fmt: skip


@pytest.mark.parametrize("role", User.Role.values)
def test_no_page_offers_what_its_reader_may_not_do(role: str, company: Company) -> None:
    person = User.objects.create_user("one", password="garden-water-42", role=role)
    owner = person if role == "technician" else User.objects.create_user("ines", role="technician")
    words = things_of(owner, "CB-14")
    Recommendation.objects.update(is_change=True)
    client = Client(raise_request_exception=False)
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")

    read, dead = 0, set()
    for address in every_address():
        if "key" in address.words or address.name in VISITORS or not may_see(role, address.name):
            continue  # those of visitors are the same for everybody
        answer = client.get(reverse(address.name, kwargs=words[address.name]))
        if answer.status_code != 200 or "text/html" not in answer["Content-Type"]:
            continue
        read += 1
        dead |= {
            (address.name, name)
            for name in offered(answer.content.decode())
            if name.startswith("nothing") or (name in ROLES and not may_see(role, name))
        }

    assert dead == set()
    assert read >= FEWEST[role], read
