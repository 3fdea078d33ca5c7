"""Program sheets printed to PDF by Chromium, the text read back: nothing cut, a page each, both systems."""

from __future__ import annotations

import io
import re
from datetime import timedelta
from typing import Any

import pytest
from pypdf import PdfReader

from fleet.calc.plan.workdays import monday_of
from fleet.models import Company, Route, Stop, User, Visit, VisitNeed
from fleet.selectors.programs.sheet import sheet_of
from sites.models import Controller, Recommendation, Site
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


LONG = "12045 North Old Meadowbrook Farm Boulevard, Building C, rear garden gate"


def full_day(stops: int) -> Route:
    """A route of so many stops, hours promised at each, every third garden with a very long address."""
    sites = list(Site.objects.order_by("code"))
    Site.objects.filter(pk__in=[site.pk for site in sites[::3]]).update(address=LONG)
    route = Route.objects.select_related("technician").order_by("day")[0]
    route.stops.all().delete()
    for number in range(stops):
        arrive = route.start_at + timedelta(minutes=30 * number)
        hours = (arrive - timedelta(minutes=40), arrive + timedelta(minutes=80))
        visit = Visit.objects.create(
            site=sites[number % len(sites)], week=monday_of(route.day), number=900 + number, state="told",
            told_at=hours[0], window_from=hours[0], window_to=hours[1], service_min=20, value_per_day=5,
        )  # fmt: skip
        need = VisitNeed.objects.create(
            key=f"full day {number}", site=visit.site, kind="winterization", reason="frost", parts="sensor",
            raised_on=route.day, service_min=20, value_per_day=5,
        )  # fmt: skip
        visit.needs.add(need)
        end = arrive + timedelta(minutes=20)
        Stop.objects.create(
            route=route,
            order=number + 1,
            visit=visit,
            arrive=arrive,
            depart=end,
            drive_min=12.5,
            drive_km=18.4,
        )
    return route


@pytest.mark.parametrize(("size", "system"), SYSTEMS)
@pytest.mark.parametrize("stops", [7, 15])
def test_a_days_route_sheet_is_one_page_and_nothing_of_it_is_cut(
    hana: Visitor, size: str, system: str, stops: int
) -> None:
    User.objects.update(units=system, clock_24h=system == "metric")
    route = full_day(stops)

    (text,) = pages_of(hana, f"/routes/sheet/?date={route.day}&technician={route.technician.code}", size)

    told = squeezed(text)
    assert squeezed(LONG) in told
    for words in ("Onthetruck", "Localrulesoftheroadcomefirst", "Printed"):
        assert words in told
    assert told.count("geo:") == stops
    assert cut_on(hana, 794 if size == "A4" else 816) == []


def test_the_page_says_how_to_save_a_sheet_as_pdf(hana: Visitor) -> None:
    row = longest()
    hana.open(f"/sites/{row.controller.site.code}/{row.controller.code}/sheet/")

    assert "Save as PDF" in hana.page.inner_text("nav.bar-top")
