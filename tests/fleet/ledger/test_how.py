"""Every figure of the ledger's pages and papers leads to how it was made."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta
from html.parser import HTMLParser

import pytest
from django.test import Client
from django.utils import timezone

from fleet.models import LedgerPortfolio, Rebate, ServiceContract, Tariff, User
from fleet.selectors.company.company import company_day
from fleet.services.ledger.record import update_ledger
from sites.models import Site
from tests.fleet.ledger.test_service import UNTIL, book
from tests.fleet.ledger.test_visits import AUDIT

__all__ = ["book"]  # the fixture
pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]
_VOID = {"br", "hr", "img", "input", "link", "meta", "use", "path", "line", "rect", "circle", "source"}
_FIGURE = re.compile(r"\d")


class Walk(HTMLParser):
    """Sections and lone tables of a page's body: their words, figures and links, and the ids of the page."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: set[str] = set()
        self.sections: list[dict[str, list[str]]] = []
        self._open: list[tuple[str, dict[str, list[str]] | None]] = []
        self._figure = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a section, a figure's cell, a link or an id."""
        facts = dict(attrs)
        if facts.get("id"):
            self.ids.add(str(facts["id"]))
        if tag == "a" and self._section() is not None:
            self._section()["links"].append(facts.get("href") or "")  # type: ignore[index]
        if tag in _VOID:
            return
        section: dict[str, list[str]] | None = None
        if tag == "section" or (tag == "table" and self._section() is None):
            section = {"words": [], "figures": [], "links": [], "class": [facts.get("class") or ""]}
            self.sections.append(section)
        is_figure = "num" in (facts.get("class") or "").split() or tag == "b"
        self._open.append((("!" if is_figure else "") + tag, section))

    def handle_endtag(self, tag: str) -> None:
        """Close the tag and what was left open in it."""
        while self._open:
            name, _ = self._open.pop()
            if name.lstrip("!") == tag:
                return

    def handle_data(self, data: str) -> None:
        """Note words, and figures in their cells."""
        section = self._section()
        if section is None or not data.strip():
            return
        section["words"].append(data.strip())
        if any(name.startswith("!") for name, _ in self._open) and _FIGURE.search(data):
            section["figures"].append(data.strip())

    def _section(self) -> dict[str, list[str]] | None:
        return next((section for _, section in reversed(self._open) if section is not None), None)


@pytest.fixture
def pages(book: dict[str, Site], manager: User, sign_in: SignIn) -> Callable[[str], Walk]:
    """Pages of a book with every kind of figure: money, visits, a contract and a rebate."""
    Tariff.objects.create(
        supplier="Wend Valley Water", starts_on=date(2024, 1, 1), price_per_m3=2.0, currency="USD"
    )
    today = company_day(now=timezone.now())
    ServiceContract.objects.create(
        site=book["CB-01"], starts_on=today - timedelta(days=300), ends_on=today + timedelta(days=30),
        visits_included=4, price=600, currency="USD",
    )  # fmt: skip
    Rebate.objects.create(
        name="Sensor rebate", supplier="Wend Valley Water", starts_on=date(2025, 1, 1),
        ends_on=today + timedelta(days=100), amount=150, currency="USD", checked_on=today,
    )  # fmt: skip
    update_ledger(until_day=UNTIL)
    row = next(row for row in LedgerPortfolio.objects.all() if "visits" in row.values)
    row.values["visits"] = {"audit": AUDIT}
    row.save()
    client = sign_in(manager)

    def walk(path: str) -> Walk:
        page = client.get(path.format(rebate=Rebate.objects.get().pk))
        assert page.status_code == 200, path
        found = Walk()
        found.feed(page.content.decode())
        return found

    return walk


PAGES = (
    "/water/",
    "/water/parts/",
    "/water/parts/?by=soil&price=3",
    "/water/unjudged/",
    "/water/sites/CB-01/",
    "/water/sites/CB-01/paper/",
    "/water/report/",
    "/water/renewals/",
    "/water/rebates/",
    "/water/rebates/{rebate}/",
    "/water/rebates/{rebate}/CB-01/",
)


@pytest.mark.parametrize("path", PAGES)
def test_every_section_with_figures_leads_to_how_they_were_made(
    pages: Callable[[str], Walk], path: str
) -> None:
    found = pages(path)

    with_figures = [one for one in found.sections if one["figures"] and "how" not in one["class"][0].split()]
    bare = [
        f"{' '.join(one['words'])[:60]}: {one['figures'][:3]}"
        for one in with_figures
        if not any("#how" in link for link in one["links"])
    ]
    assert bare == []
    broken = [
        link
        for one in found.sections
        for link in one["links"]
        if link.startswith("#how") and link[1:] not in found.ids
    ]
    assert broken == []


def test_the_walk_sees_a_figure_without_a_way() -> None:
    walk = Walk()
    walk.feed(
        '<section><h2>x</h2><td class="num">12<br></td></section><section><b>3</b><a href="#how-1">1</a>'
    )

    assert [bool(one["figures"]) for one in walk.sections] == [True, True]
    assert [one["links"] for one in walk.sections] == [[], ["#how-1"]]
