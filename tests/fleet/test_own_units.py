"""Who reads US customary units reads no metric figure, and nobody reads a unit that print has no sign for."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from django.test import Client

from fleet.demo.company import build_demo_company
from fleet.models import Flag, Stop, User, VisitNeed
from fleet.quantities import told
from fleet.services.run_day import run_day

TODAY = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 12, 30, tzinfo=UTC)
METRIC = re.compile(
    r"(?<![\w/])\d[\d., \u2009\u202f]*\s?"
    r"(?:mm|cm|m³|m²|m3|m2|km|m|L/min|L|litres?|degC|°C|m/s|mm/h|mm/day)(?![\w²³])"
    r"|, (?:mm|m³|m²|km|L|°C|m/s|mm/h|mm/day)(?![\w²³/.])"
)
UNSIGNED = re.compile(r"degC|\bm3\b|\bkm2\b")
# What stands in metric units for everybody, page by page, and why.
ALLOWED: dict[str, tuple[str, ...]] = {
    "/prices/": ("m³", "m²", "km"),  # settings are kept and typed in SI
    "/parts/": (" m",),  # wire and dripline are counted in the unit of the catalogue
    "/account/": ("litres", "°C"),  # explains both systems
    "/draw/": ("cm", "1 m"),  # one key moves a corner by a round step of the drawing
    "/keys/": ("cm", "1 m"),
    "/audit/": ("2.2 m/s",),  # both systems side by side
    "/weather/": ("mm", "2 m/s", "2 m.", "km"),  # the standard height, methods, a published comparison
    "/label/": ("mm",),  # the size of paper
    "/water/": ("m³", "m3", "litre"),  # a supplier's price and reads, as the supplier writes them
    "/day/stops/": (" m (", "m on"),  # a part's own unit
    "/round/": (),
}


@pytest.fixture
def town(db: None, settings: Any, tmp_path: Path) -> None:
    """Twelve gardens with one day's work done."""
    settings.DATA_DIR = tmp_path
    build_demo_company(data_dir=tmp_path, sites=12, seed=5, today=TODAY, tell=lambda _: None)
    list(run_day(day=TODAY, clock=lambda: NOW, seed=1, planning_s=1.0))


def addresses() -> list[str]:
    """Pages with figures, of things that are there."""
    flag = Flag.objects.select_related("controller__site").first()
    stop = Stop.objects.filter(visit__isnull=False).order_by("pk").first()
    need = VisitNeed.objects.order_by("pk").first()
    assert flag is not None
    assert stop is not None
    assert need is not None
    code, controller = flag.controller.site.code, flag.controller.code
    garden = f"/sites/{code}/"
    return [
        "/week/", "/visits/", f"/visits/{need.pk}/", "/sites/", garden, f"{garden}draw/",
        f"{garden}{controller}/sheet/", f"{garden}{controller}/year/", f"{garden}{controller}/what-if/",
        f"{garden}{controller}/siting/", f"{garden}{controller}/installation/", f"{garden}audits/",
        f"{garden}{controller}/1/audit/", "/watch/", f"/watch/{code}/{controller}/", "/round/", "/season/",
        "/sensor-places/", "/sheets/", "/prices/", "/parts/", "/rules/", "/weather/", "/water/",
        f"/water/sites/{code}/", "/water/parts/", "/water/report/", "/routes/sheet/?technician=T1",
        f"/day/stops/{stop.pk}/", f"/day/stops/{stop.pk}/map/", "/words/", "/account/", "/keys/",
    ]  # fmt: skip


def text_of(page: str) -> str:
    """What is read on a page, tags apart."""
    bare = re.sub(r"<(script|style)\b.*?</\1>", " ", page, flags=re.S)
    return re.sub(r"[ \n\t]+", " ", html.unescape(re.sub(r"<[^>]+>", " ", bare)))


def allowed_at(path: str) -> tuple[str, ...]:
    """What the longest entry that is part of an address lets pass."""
    found = [words for part, words in ALLOWED.items() if part in path]
    return tuple(word for words in found for word in words)


def test_a_us_reader_meets_no_metric_figure(town: None, sign_in: Callable[[User], Client]) -> None:
    reader = User.objects.create_user("leah", role=User.Role.ADMINISTRATOR, units="us")
    client = sign_in(reader)

    found = {}
    for path in addresses():
        answer = client.get(path)
        assert answer.status_code == 200, path
        text, passed = text_of(answer.content.decode()), allowed_at(path)
        bare = [
            text[max(0, hit.start() - 40) : hit.end() + 15]
            for hit in METRIC.finditer(text)
            if not any(word in text[hit.start() : hit.end() + 4] for word in passed)
        ]
        if bare:
            found[path] = bare[:4]

    assert found == {}, found


def test_every_unit_has_its_sign(town: None, sign_in: Callable[[User], Client]) -> None:
    client = sign_in(User.objects.create_user("leah", role=User.Role.ADMINISTRATOR))

    found = {}
    for path in addresses():
        text = text_of(client.get(path).content.decode())
        if hit := UNSIGNED.search(text):
            found[path] = text[max(0, hit.start() - 40) : hit.end() + 15]

    assert found == {}, found


@pytest.mark.parametrize(
    ("stored", "metric", "us"),
    [
        ("saves 29.0 m3 in four weeks", "saves 29.0 m³ in four weeks", "saves 7,661 gal in four weeks"),
        ("104 mm of rain", "104 mm of rain", "4.09 in of rain"),
        ("10 kohm at 20 degC", "10 kohm at 20 °C", "10 kohm at 68 °F"),
        ("165 km of driving", "165 km of driving", "103 mi of driving"),
        ("part m3x10", "part m3x10", "part m3x10"),
    ],
)
def test_sentences_of_the_book_are_told_in_the_readers_units(stored: str, metric: str, us: str) -> None:
    assert told(stored, is_us=False) == metric
    assert told(stored, is_us=True) == us
