"""Program sheets printed to PDF by Chromium, the text read back: nothing cut, a page each, both systems."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from pypdf import PdfReader

from fleet.models import Company, Stop, User
from fleet.selectors.programs.sheet import sheet_of
from sites.models import Controller, Recommendation
from tests.browser.test_pages_in_chromium import (  # noqa: F401
    CHROMIUM,
    Visitor,
    chromium,
    town,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
SYSTEMS = [("A4", "metric"), ("Letter", "us")]


def pages_of(visitor: Visitor, path: str, size: str) -> list[str]:
    """Text of every page that the print dialogue would save."""
    visitor.open(path)
    paper = visitor.page.pdf(format=size, prefer_css_page_size=False)
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(paper)).pages]


def squeezed(text: str) -> str:
    """Without blanks, with one apostrophe: a PDF sets words apart as it likes."""
    return re.sub(r"\s", "", text).replace("\u02bc", "\u2019")


CUT = """() => {
  const sheet = document.querySelector("article.a4").getBoundingClientRect();
  return [...document.querySelectorAll("article.a4 *")].filter(one => {
    const style = getComputedStyle(one), box = one.getBoundingClientRect();
    const wider = one.clientWidth > 1 && one.scrollWidth > one.clientWidth + 1;
    const beyond = !one.closest("svg") && box.right > sheet.right + 1;
    return box.width && ((wider && style.overflowX !== "visible") || beyond);
  }).map(one => one.outerHTML.slice(0, 90));
}"""


# A bar drawn as a background would not be printed.
BAR = """getComputedStyle(document.querySelector(".sh-steps .ch"), "::before").borderLeftWidth"""


def cut_on(visitor: Visitor, width_px: int) -> list[str]:
    """What is cut or stands beyond the edge of a sheet of so many CSS pixels."""
    visitor.page.emulate_media(media="print")
    visitor.page.set_viewport_size({"width": width_px, "height": 1100})
    found: list[str] = visitor.page.evaluate(CUT)
    visitor.page.emulate_media(media="screen")
    return found


@pytest.fixture
def hana(town: None, live_server: Any, chromium: Any) -> Visitor:  # noqa: F811
    return Visitor(chromium, live_server.url, "hana", (1440, 900))


def longest() -> Recommendation:
    """The changed program of most lines: the fullest sheet."""
    rows = Recommendation.objects.filter(is_change=True).select_related("controller__site")
    return max(rows, key=lambda row: row.lines.count())


@pytest.mark.parametrize(("size", "system"), SYSTEMS)
def test_the_technicians_sheet_is_one_page_with_every_step_and_caution(
    hana: Visitor, size: str, system: str
) -> None:
    User.objects.update(units=system)
    row = longest()
    controller: Controller = row.controller
    sheet = sheet_of(controller=controller, answer=row, day=row.week)

    (text,) = pages_of(hana, f"/sites/{controller.site.code}/{controller.code}/sheet/", size)

    told = squeezed(text)
    for letter in sheet.letters:
        for step in letter.steps:
            assert squeezed(step.new) in told, (letter.letter, step.label)
            assert squeezed(step.label) in told
    for caution in sheet.cautions:
        assert squeezed(caution) in told
    assert "Unplugthetransformer" in told
    assert f"Sheet{controller.site.code}{controller.code}" in told
    assert "page1of1" in told
    assert ("gal" in text) == (system == "us")
    assert hana.page.evaluate(BAR) == "5px"
    # A4 and Letter are 794 and 816 CSS pixels wide.
    assert cut_on(hana, 794 if size == "A4" else 816) == []


@pytest.mark.parametrize(("size", "system"), SYSTEMS)
def test_the_homeowners_sheet_is_one_page_in_plain_words_and_their_units(
    hana: Visitor, size: str, system: str
) -> None:
    User.objects.update(units=system)
    row = longest()

    (text,) = pages_of(hana, f"/sites/{row.controller.site.code}/{row.controller.code}/sheet/?for=home", size)

    told = squeezed(text)
    for words in ("Whenitwatersnow", "Whattoexpect", "Howyoucanhelp", "haveburiedlineslocatedfirst"):
        assert words in told
    assert row.controller.site.customer == "" or squeezed(row.controller.site.customer) in told
    assert ("gallons" in text or "gal " in text) == (system == "us")
    assert not re.search(r"\bkPa\b|\bETL\b|depletion", text)


@pytest.mark.parametrize("who", ["", "&for=home"])
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_all_sheets_of_a_day_are_one_a_page_in_the_order_of_the_routes(
    hana: Visitor, size: str, who: str
) -> None:
    today = Company.objects.get().demo_today
    Recommendation.objects.filter(is_change=True).update(status="accepted")
    stops = Stop.objects.filter(route__day__gte=today, visit__isnull=False).order_by("route__day")
    day = next(
        stop.route.day
        for stop in stops
        if Recommendation.objects.filter(controller__site=stop.visit.site, is_change=True).exists()  # type: ignore[union-attr]
    )

    pages = pages_of(hana, f"/sheets/?date={day}{who}", size)

    wanted = hana.page.locator("article.a4").count()
    assert wanted >= 1
    assert len(pages) == wanted
    heads = hana.page.locator("article.a4 h1").all_inner_texts()
    feet = hana.page.locator("article.a4 footer span:first-child").all_text_contents()
    for text, head, foot in zip(pages, heads, feet, strict=True):
        assert squeezed(head) in squeezed(text)
        assert squeezed(foot) in squeezed(text)


def test_the_page_says_how_to_save_a_sheet_as_pdf(hana: Visitor) -> None:
    row = longest()
    hana.open(f"/sites/{row.controller.site.code}/{row.controller.code}/sheet/")

    assert "Save as PDF" in hana.page.inner_text("nav.bar-top")
