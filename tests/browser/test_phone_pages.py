"""Pages of a visit on the phone and in the office: guidelines, targets for a gloved thumb, names."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from fleet.calc.on_site.phone_settings import PhoneSettings
from fleet.calc.on_site.sensor_reading import Fit, ReadingBands, tension_reading
from fleet.models import Finding, Stop, Visit
from fleet.selectors.on_site.photo_files import photo_folder
from fleet.services.on_site.finding_input import FindingInput
from fleet.services.on_site.findings import record_finding
from fleet.services.on_site.photos import PhotoSent, keep_photo
from fleet.services.on_site.report_links import make_report_link
from sites.models import Recommendation
from tests.browser.phone_hand import Phone, login_of, picture, stop_with_a_program, stops_of_today
from tests.browser.test_pages_in_chromium import CHROMIUM, Visitor, chromium, town

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium", "town"]
NOW = datetime(2026, 6, 15, 17, 0, tzinfo=UTC)
# Everything that takes a finger, with the label that is part of it; what lies in running text may be lower
# (WCAG 2.2, 2.5.8, exception "inline").
SMALL_TARGETS = """() => [...document.querySelectorAll('a[href], button, input, select, textarea, summary')].filter((one) => {
  if (one.type === 'hidden' || one.closest('[hidden], .vh, .skip, .legend') || one.matches('.vh')) return false;
  const box = (one.labels && one.labels.length && ['checkbox', 'radio', 'file'].includes(one.type) ? one.closest('label') || one.labels[0] : one).getBoundingClientRect();
  if (!box.width || !box.height) return false;
  if (one.tagName === 'A' && one.closest('p, dd, td, li') && getComputedStyle(one).display === 'inline') return false;
  return box.height < 47.5 || box.width < 47.5;
}).map((one) => `${one.tagName} ${one.className} ${(one.textContent || one.name).trim().slice(0, 30)} ${Math.round(one.getBoundingClientRect().width)} x ${Math.round(one.getBoundingClientRect().height)}`)"""  # noqa: E501
NAMELESS = """() => [...document.querySelectorAll('button, a[href], input:not([type=hidden]), select, textarea')].filter((one) => {
  if (one.closest('[hidden]')) return false;
  const label = one.labels && one.labels.length ? one.labels[0].textContent : '';
  return !(one.getAttribute('aria-label') || label || one.textContent || one.title || '').trim();
}).map((one) => one.outerHTML.slice(0, 80))"""  # noqa: E501


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_pages_of_the_phone_keep_the_guidelines_and_have_targets_for_a_gloved_thumb(
    town: None, live_server: Any, chromium: Any, theme: str
) -> None:
    stops = stops_of_today()
    person = Visitor(chromium, live_server.url, login_of(stops), (390, 844), theme)
    problems: dict[str, object] = {}
    assert stops[0].visit is not None
    code = stops[0].visit.site.code
    pages = ["/day/", "/day/waiting/", "/day/offline/", f"/sites/{code}/survey/"]
    for path in [*pages, *(f"/day/stops/{stop.pk}/" for stop in stops[:3])]:
        person.open(path)
        person.page.evaluate(
            "document.querySelectorAll('main details').forEach((one) => { one.open = true; })"
        )
        found = {
            "axe": person.violations(),
            "small": person.page.evaluate(SMALL_TARGETS),
            "nameless": person.page.evaluate(NAMELESS),
            "wide": person.page.evaluate("document.documentElement.scrollWidth") > 390,
        }
        if any(found.values()):
            problems[path] = {key: value for key, value in found.items() if value}

    assert problems == {}
    assert (person.complaints, person.outside) == ([], [])


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_pages_of_the_office_on_findings_keep_the_guidelines(
    town: None, live_server: Any, chromium: Any, theme: str
) -> None:
    stop = Stop.objects.filter(visit__isnull=False).first()
    assert stop is not None
    said = FindingInput(client_key="seen", stop_id=stop.pk, recorded_at=NOW, turf="patchy", note="Heads tilt")
    record_finding(finding=said, by="ines")
    made = make_report_link(visit_id=stop.visit_id or 0, days=3000, by="hana", now=NOW)
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900), theme)
    problems = {}
    for path in (
        "/findings/",
        f"/findings/{Finding.objects.get().pk}/correct/",
        f"/visits/{stop.visit_id}/report/",
        f"/report/{made.token}/",
    ):
        hana.open(path)
        found = hana.violations()
        if found:
            problems[path] = found

    assert problems == {}
    assert (hana.complaints, hana.outside) == ([], [])


def test_the_report_is_one_page_of_paper_with_a_whole_program_and_photos(
    town: None, live_server: Any, chromium: Any, settings: Any
) -> None:
    waiting = Recommendation.objects.filter(is_change=True, status__in=("recommended", "accepted"))
    row = max(waiting, key=lambda one: one.lines.count())
    stop = Stop.objects.filter(visit__site=row.controller.site).first()
    if stop is None:
        stop = Stop.objects.filter(visit__isnull=False).first()
        assert stop is not None
        Visit.objects.filter(stops=stop).update(site=row.controller.site)
        stop.refresh_from_db()
    said: dict[str, Any] = {"turf": "patchy", "note": "x", "parts_used": "2 splices", "follow_up": "wire"}
    keyed: dict[str, Any] = {"program_keyed_in": True, "program_ids": (row.pk,)}
    record_finding(finding=FindingInput("all-of-it", stop.pk, NOW, **said, **keyed), by="ines")
    for number in range(4):
        keep_photo(
            sent=PhotoSent(f"photo-{number}", picture(number), NOW, finding_key="all-of-it"),
            visit_id=stop.visit_id or 0,
            technician_id=stop.route.technician_id,
            settings=PhoneSettings(),
            folder=photo_folder(data_dir=settings.DATA_DIR),
            now=NOW,
        )
    made = make_report_link(visit_id=stop.visit_id or 0, days=3000, by="hana", now=NOW)
    page = chromium.new_page()

    page.goto(f"{live_server.url}/report/{made.token}/")
    page.wait_for_load_state("networkidle")
    pages = {}
    for size in ("A4", "Letter"):
        paper = page.pdf(format=size)
        pages[size] = paper.count(b"/Type /Page") - paper.count(b"/Type /Pages")

    assert page.locator(".repprog tbody tr").count() >= 3
    assert page.locator(".shots4 img").count() == 4
    assert pages == {"A4": 1, "Letter": 1}


def test_a_reading_is_told_at_once_as_the_server_tells_it(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.sign_in()
    phone.open(f"/day/stops/{stops[0].pk}/")

    for kohm, warm in (
        (0.05, 18.0),
        (0.3, 18.0),
        (2.0, 15.0),
        (5.0, 24.0),
        (7.9, 10.0),
        (12.0, 20.0),
        (80.0, 20.0),
    ):
        found = tension_reading(kohm, warm, Fit.SHOCK_1998, ReadingBands())
        told = phone.page.evaluate(
            "([kohm, warm]) => self.rootroundReading.reading(kohm, warm)", [kohm, warm]
        )
        if found.tension_kpa is not None:
            assert told.startswith(f"{found.tension_kpa:.0f} kPa"), told
        elif found.bound_kpa is not None:
            assert f"{found.bound_kpa:.0f} kPa" in told, told
        else:
            assert "kPa" not in told, told


def test_an_unlikely_number_is_asked_about_before_it_is_recorded(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.sign_in()
    phone.open(f"/day/stops/{stops[0].pk}/")

    phone.page.fill("#f-min", "700")
    phone.page.click("text=Record the finding")
    phone.page.wait_for_selector("text=One number is unlikely")
    assert Finding.objects.count() == 0
    phone.page.click("text=Record the finding")
    phone.page.wait_for_selector("text=The finding is recorded")

    assert Finding.objects.get().service_min == 700.0


def test_ticks_of_the_program_stay_without_network_and_through_a_reload(
    town: None, live_server: Any, chromium: Any
) -> None:
    stop = stop_with_a_program()
    phone = Phone(chromium, live_server, login_of([stop]))
    phone.start_shift()
    phone.open(f"/day/stops/{stop.pk}/")
    assert phone.page.locator("[data-line]").count() > 2
    phone.cut()

    line = phone.page.locator("[data-line]").nth(1)
    line.check()
    phone.wait_for_draft(stop.pk, line.get_attribute("data-line") or "", "true")
    phone.open(f"/day/stops/{stop.pk}/")
    phone.until("document.querySelectorAll('[data-line]')[1].checked")
    assert not phone.page.locator("[data-line]").nth(0).is_checked()


def test_the_own_place_is_drawn_on_the_map_and_kept_nowhere(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    assert stops[0].visit is not None
    site = stops[0].visit.site
    here = {"longitude": site.longitude, "latitude": site.latitude, "accuracy": 4}
    phone.context.grant_permissions(["geolocation"])
    phone.context.set_geolocation(here)
    phone.sign_in()
    phone.open(f"/day/stops/{stops[0].pk}/")
    asked: list[str] = []
    phone.page.on("request", lambda request: asked.append(request.post_data or ""))

    phone.page.click("text=Show where I stand")
    phone.page.wait_for_selector("text=You stand at the dot")
    x = float(phone.page.get_attribute("svg.lotmap .me .dot", "cx") or "nan")
    y = float(phone.page.get_attribute("svg.lotmap .me .dot", "cy") or "nan")

    assert 0 < x < 366
    assert 0 < y < 340
    phone.page.click("text=Stop showing where I stand")
    assert phone.page.locator("svg.lotmap .me").count() == 0
    assert not [body for body in asked if str(site.latitude)[:7] in body]
