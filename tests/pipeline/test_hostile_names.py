"""No page, map or file takes a name for code, whoever typed it and whoever looks."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Iterator
from datetime import UTC, date, datetime
from html import escape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from fleet.demo.company import build_demo_company
from fleet.exports.kinds import KINDS, Span, as_csv
from fleet.models import Stop, User, Visit, VisitNeed
from fleet.services.run_day import run_day
from sites.models import Change, Controller, Recommendation, RuleSet, ZoneAudit
from tests.pipeline.hostile import FORMULA, HOSTILE, write_hostile_names
from weather.calc.csv_cells import FORMULA_SIGNS
from weather.models import Location

TODAY = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 12, 30, tzinfo=UTC)
TOO_FEW = 25  # pages that a dispatcher can open in this company; fewer means that the walk lost its way


@pytest.fixture
def hostile_company(db: None, settings: Any, tmp_path: Path) -> None:
    """Twelve gardens with one day's work done, everything in them named by somebody with bad intent."""
    settings.DATA_DIR = tmp_path
    told: list[str] = []
    build_demo_company(data_dir=tmp_path, sites=12, seed=5, today=TODAY, tell=told.append, begins_today=True)
    list(run_day(day=TODAY, clock=lambda: NOW, seed=1, planning_s=1.0))
    write_hostile_names()


def addresses() -> Iterator[str]:
    """Every address of the product that can be made with what the company holds."""
    station = Controller.objects.filter(zones__isnull=False, sensor__isnull=False).order_by("pk")[0]
    zone = station.zones.order_by("station")[0]
    rule_set = RuleSet.objects.order_by("pk").first()
    keys: dict[str, dict[str, object]] = {
        "pk": {
            "stop": Stop.objects.filter(visit__isnull=False).order_by("pk")[0].pk,
            "visit": Visit.objects.order_by("pk")[0].pk,
            "need": VisitNeed.objects.order_by("pk")[0].pk,
            "round": Recommendation.objects.order_by("pk")[0].pk,
            "location": Location.objects.order_by("pk")[0].pk,
            "rule": Change.objects.order_by("pk")[0].pk,
            "audit": getattr(ZoneAudit.objects.order_by("pk").first(), "pk", 1),
        },
    }
    given: dict[str, object] = {
        "code": station.site.code,
        "controller": station.code,
        "station": zone.station,
        "day": TODAY.isoformat(),
    }
    for space, pattern in _patterns(get_resolver().url_patterns):
        names = list(pattern.pattern.converters)
        words = {name: given[name] for name in names if name in given}
        if space == "fleet" and (pattern.name or "").startswith("rule-") and rule_set is not None:
            words |= {"code": rule_set.code} if "code" in names else {}
        for name in set(names) - set(words):
            kinds = keys.get(name, {"": 1})
            words[name] = next(
                (key for kind, key in kinds.items() if kind in (pattern.name or "")),
                next(iter(kinds.values())),
            )
        address = reverse(f"{space}:{pattern.name}" if space else str(pattern.name), kwargs=words)
        if pattern.name == "map-zones":
            west, south = float(station.site.longitude or 0), float(station.site.latitude or 0)
            address += f"?box={west - 0.005},{south - 0.005},{west + 0.005},{south + 0.005}"
        yield address


def _patterns(patterns: Any, space: str = "") -> Iterator[tuple[str, URLPattern]]:
    """All named addresses but the admin's, which is Django's own."""
    for one in patterns:
        if isinstance(one, URLResolver):
            if one.app_name != "admin":
                yield from _patterns(one.url_patterns, one.app_name or space)
        elif one.name:
            yield space, one


class Danger(HTMLParser):
    """What in a page would run: handlers, foreign images, and code that is no JSON."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self.runs = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note handlers, and images that no page of ours asks for."""
        given = dict(attrs)
        self.runs = tag == "script" and given.get("type") != "application/json"
        self.found += [f"{tag} {name}" for name in given if name.startswith("on")]
        self.found += [
            f"{tag} {name}"
            for name in ("src", "href")
            if (given.get(name) or "").startswith(("x", "javascript:"))
        ]

    def handle_endtag(self, tag: str) -> None:
        """A script has ended."""
        self.runs = self.runs and tag != "script"

    def handle_data(self, data: str) -> None:
        """Note names inside a script that runs."""
        if self.runs and ("alert(1)" in data or "${" in data):
            self.found.append(data[:80])


def danger_in(page: str) -> list[str]:
    """What in a page would run."""
    reader = Danger()
    reader.feed(page)
    return reader.found


def test_the_reader_of_pages_sees_what_would_run() -> None:
    assert danger_in(f"<p>{escape(HOSTILE)}</p>") == []
    assert danger_in(f"<script>{HOSTILE}</script>")
    assert danger_in(f"<p>{HOSTILE}</p>")
    assert danger_in('<a href="javascript:alert(1)">x</a>')


BINARY_KINDS = ("application/geopackage+sqlite3", "application/zip")
PLAIN_KINDS = ("text/csv", "text/calendar", "image/svg+xml", "application/openmetrics-text")


@pytest.mark.usefixtures("hostile_company")
def test_no_page_map_or_file_takes_a_name_for_code() -> None:
    known = list(addresses())
    opened: dict[str, list[str]] = {}
    for login in ("hana", "ines", "ruth"):
        client = Client()
        user = User.objects.get(username=login)
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        opened[login] = [address for address in known if _opens_harmlessly(client, address)]

    assert len(opened["hana"]) >= TOO_FEW, opened["hana"]
    assert len(opened["ines"]) >= 3
    assert len(opened["ruth"]) >= 3


@pytest.mark.usefixtures("hostile_company")
def test_no_file_gives_a_spreadsheet_a_formula() -> None:
    write_hostile_names(FORMULA, FORMULA)
    told = 0
    for name, text in _csv_files():
        for row in csv.reader(io.StringIO(text)):
            told += f"'{FORMULA}" in row
            formulas = [cell for cell in row if cell.startswith(FORMULA_SIGNS) and not _is_number(cell)]
            assert formulas == [], (name, formulas)

    assert told >= TOO_FEW


def _csv_files() -> Iterator[tuple[str, str]]:
    """Every CSV file that the product gives: pages, exports with and without what is private, zips."""
    client = Client()
    administrator = User.objects.create_user("leah", role=User.Role.ADMINISTRATOR)
    client.force_login(administrator, backend="django.contrib.auth.backends.ModelBackend")
    files = []
    for address in addresses():
        answer = client.get(address) if "sign-out" not in address else None
        if answer is None or answer.status_code != 200:
            continue
        kind, content = answer["Content-Type"].split(";")[0], answer.getvalue()
        if kind == "text/csv":
            files.append((address, content.decode()))
        elif kind == "application/zip":
            with zipfile.ZipFile(io.BytesIO(content)) as archive:
                names = [name for name in archive.namelist() if name.endswith(".csv")]
                files += [(f"{address} {name}", archive.read(name).decode()) for name in names]
    assert len(files) >= 6
    yield from files
    weeks = Span(week=TODAY)
    for name, kind_of_export in KINDS.items():
        for private in (False, True):
            spans = {"flags": Span(as_of=TODAY), "needs": Span()}
            rows = kind_of_export.rows(spans.get(name, weeks), private)
            yield name, as_csv(kind_of_export.columns(private), rows)


def _is_number(text: str) -> bool:
    """Whether a cell is a plain number."""
    return re.fullmatch(r"[+-]?[0-9.]+(e[+-]?[0-9]+)?", text) is not None


def _opens_harmlessly(client: Client, address: str) -> bool:
    """Whether a page opens; fails where it takes a name for code."""
    if "sign-out" in address:
        return False
    answer = client.get(address)
    if answer.status_code != 200:
        assert answer.status_code in (302, 403, 404, 405), address
        return False
    kind = answer["Content-Type"].split(";")[0]
    assert answer["X-Content-Type-Options"] == "nosniff", address
    if kind in BINARY_KINDS:
        return True
    text = answer.getvalue().decode()
    if kind in ("application/json", "application/manifest+json", "application/geo+json"):
        json.loads(text)
    elif kind == "text/html":
        assert danger_in(text) == [], address
    elif kind == "text/javascript":
        assert "alert(1)" not in text, address
    else:
        assert kind in PLAIN_KINDS, address
    return True
