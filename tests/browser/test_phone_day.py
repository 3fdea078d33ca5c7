"""The day on the phone: the truck's stock, how late it runs by the clock, the reader's units, paper."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db.models import F
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.plan.running_late import Leg, expected_arrivals
from fleet.models import Company, Finding, Part, PartForKind, Route, Stop, User
from fleet.selectors.company.company import company_day
from fleet.selectors.company.stock import stock_of
from fleet.services.company.stock import move_parts, truck_of
from sites.calc.audit.entry import AuditEntry, audit_figures
from sites.models import Recommendation, ZoneAudit
from tests.browser.phone_hand import Phone, cut_once, login_of, stops_of_today
from tests.browser.test_pages_in_chromium import CHROMIUM, chromium, town
from tests.factories import build_need

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium", "town"]
# Metric units in words of a page; kPa of the soil and mm2 of a wire are the trade's own everywhere.
BOTH = re.compile(r"[\d.,]+(?: to [\d.,]+)? ?\w+ \([\d.,]+(?: to [\d.,]+)? ?(?:ft|in|mph|gal)\)")
METRIC = re.compile(r"\d\s?(?:°C|degC|mm(?!2|²)|cm|m|km|m²|L|L/min|mm/h|m/s|m[³3])(?![\w²³/])")


def a_truck(stops: list[Stop], **counts: int) -> tuple[int, Part]:
    """The truck of the person who drives, with parts; a splice is needed for the first stop's kind."""
    place = truck_of(technician_id=stops[0].route.technician_id)
    now = datetime(2026, 6, 14, 18, tzinfo=UTC)
    for code, count in counts.items():
        Part.objects.get_or_create(code=code, defaults={"name": f"invented {code}"})
        if count:
            move_parts(source_id=None, target_id=place.pk, counts={code: count}, by="hana", now=now)
    part = Part.objects.get(code="splice9")
    assert stops[0].visit is not None
    need = stops[0].visit.needs.first()
    assert need is not None
    PartForKind.objects.create(kind=need.kind, part=part, count=2)
    return place.pk, part


def test_parts_are_picked_without_network_and_leave_the_truck_once(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    place, part = a_truck(stops, splice9=3, fuse9=1)
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    assert "Invented splice9" in (phone.page.text_content(".truck") or "")
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    row = phone.page.locator("[data-part][data-name='invented splice9']")
    phone.page.click("[data-parts] > summary")
    assert "3 pieces on the truck" in row.inner_text()

    for _ in range(2):
        row.get_by_role("button", name="more").click()
    phone.page.fill("[data-part-find]", "fuse")
    assert phone.page.locator("[data-part]:visible").count() == 2  # what is counted stays in sight
    phone.record("Two splices")
    phone.page.wait_for_selector("text=is kept on this phone")
    phone.until("document.querySelector('[data-parts]').textContent.includes('2 of them in findings not')")
    assert row.locator("input").input_value() == ""
    phone.line.cut = cut_once("/day/send/", "after")
    phone.mend()
    phone.send()
    phone.wait_until_empty()

    assert ("POST", "/day/send/", "after") in phone.line.log
    assert Finding.objects.get().parts == {"splice9": 2}
    assert stock_of(place_ids=[place])[place, part.pk] == 1
    # The next page brings the new count, also to what lies on the phone.
    phone.open("/day/")
    phone.until("self.rootroundStore.meta('pack').then(p => Boolean(p))")
    phone.open(f"/day/stops/{stops[0].pk}/")
    assert "1 piece on the truck" in (row.text_content() or "")
    assert phone.complaints == []


minutes = st.integers(0, 90)
states = st.sampled_from(["ahead", "on_the_way", "at_the_gate", "finished", "not_possible"])


def test_the_phone_reckons_the_lateness_as_the_server_does(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    _as_of_now(stops)
    phone = Phone(chromium, live_server, login_of(stops))
    phone.sign_in()
    phone.open("/day/")
    begin = datetime(2026, 6, 15, 14, tzinfo=UTC)

    @given(
        st.lists(
            st.tuples(minutes, minutes, minutes, states, st.none() | minutes, st.booleans()), max_size=6
        ),
        st.integers(0, 600),
    )
    def same(rows: list[tuple[int, int, int, str, int | None, bool]], clock: int) -> None:
        at, legs = begin, []
        for drive, wait, length, state, since, is_break in rows:
            arrive = at + timedelta(minutes=drive + wait)
            at = arrive + timedelta(minutes=length)
            moved = None if since is None else arrive + timedelta(minutes=since - 30)
            legs.append(Leg(arrive, at, float(drive), state, moved, is_break))
        now = begin + timedelta(minutes=clock)
        said = phone.page.evaluate(
            "([legs, now]) => self.rootroundLate.expected(legs, now)",
            [
                [
                    {
                        "what": "break" if leg.is_break else "visit",
                        "arrive": leg.arrive.timestamp() * 1000,
                        "depart": leg.depart.timestamp() * 1000,
                        "drive": leg.drive_min,
                        "state": leg.state,
                        "at": None if leg.state_at is None else leg.state_at.timestamp() * 1000,
                    }
                    for leg in legs
                ],
                now.timestamp() * 1000,
            ],
        )
        assert [one / 1000 for one in said] == [one.timestamp() for one in expected_arrivals(legs, now)]

    same()


def _as_of_now(stops: list[Stop]) -> None:
    """The plan of the fixed day becomes today's, its first stop in ten minutes."""
    Company.objects.update(demo_today=None)
    now = timezone.now()
    late = now + timedelta(minutes=10) - stops[0].arrive
    route = stops[0].route
    Stop.objects.filter(route=route).update(arrive=F("arrive") + late, depart=F("depart") + late)
    Route.objects.filter(pk=route.pk).update(
        day=company_day(now=now), start_at=F("start_at") + late, end_at=F("end_at") + late
    )


def test_the_lateness_grows_by_the_clock_without_network_and_without_a_new_page(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    _as_of_now(stops)
    Stop.objects.filter(pk=stops[0].pk).update(drive_min=8.0)
    phone = Phone(chromium, live_server, login_of(stops))
    phone.page.clock.install()
    phone.start_shift()
    phone.until("document.querySelector('[data-late]').hidden")
    phone.cut()
    phone.open("/day/")

    phone.page.clock.fast_forward("42:00")
    phone.until("/Running (39|40|41) minutes late/.test(document.querySelector('[data-late]').textContent)")
    row = phone.page.locator(f"[data-stop-row='{stops[0].pk}']")
    assert "expected" in row.inner_text()
    # At the gate it is late by what the clock says now; done, the next one is.
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.push("on_the_way")
    phone.push("at_the_gate")
    phone.push("finished")
    phone.page.wait_for_url("**/day/")
    phone.until("document.querySelectorAll('[data-stop-row].done').length === 1")
    phone.until("document.querySelector('[data-stop-row].done [data-expected]').textContent === ''")
    assert Stop.objects.get(pk=stops[0].pk).state == "ahead"
    assert phone.complaints == []


def test_a_reader_of_us_units_meets_no_metric_ones_on_the_phone(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    login = login_of(stops)
    User.objects.filter(username=login).update(units="us")
    phone = Phone(chromium, live_server, login)
    phone.sign_in()
    found: dict[str, list[str]] = {}
    codes = [stop.visit.site.code for stop in stops if stop.visit is not None]
    waiting = Recommendation.objects.filter(controller__site__code__in=codes).select_related(
        "controller__site"
    )
    sheets = {f"/sites/{row.controller.site.code}/{row.controller.code}/sheet/" for row in waiting}
    more = [f"/sites/{code}/survey/" for code in codes] + sorted(sheets)
    assert sheets
    for path in ["/day/", *(f"/day/stops/{stop.pk}/{of}" for stop in stops for of in ("", "map/")), *more]:
        phone.page.goto(f"{phone.line.url}{path}")
        text = phone.page.evaluate("document.querySelector('main').textContent.replace(/\\s+/g, ' ')")
        # Where both are told, `1.5 m (5 ft)`, nobody is left alone with the metric one.
        text = BOTH.sub("", text)
        hits = [text[max(0, hit.start() - 30) : hit.end() + 10] for hit in METRIC.finditer(text)]
        if hits:
            found[path] = hits

    assert found == {}
    # It is all there to be read: areas and depths of a survey are fields with their unit beside.
    phone.page.goto(f"{phone.line.url}/sites/{codes[0]}/survey/")
    units = set(phone.page.locator(".with-unit > span").all_text_contents())
    assert {"in", "min", "kPa", "%"} <= units
    assert units.isdisjoint({"mm", "m²", "m", "L/min", "°C"})


def test_a_stop_is_two_pages_of_paper_at_most_and_its_map_is_one(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.sign_in()
    pages: dict[str, int] = {}
    for stop in stops[:4]:
        for more in ("", "map/"):
            phone.page.goto(f"{phone.line.url}/day/stops/{stop.pk}/{more}")
            for size in ("A4", "Letter"):
                paper = phone.page.pdf(format=size, margin=dict.fromkeys(("top", "bottom"), "10mm"))
                count = paper.count(b"/Type /Page") - paper.count(b"/Type /Pages")
                pages[f"{'map' if more else 'stop'} {size}"] = max(
                    count, pages.get(f"{'map' if more else 'stop'} {size}", 0)
                )

    assert pages["map A4"] == pages["map Letter"] == 1
    assert max(pages["stop A4"], pages["stop Letter"]) <= 2


def an_audit(stops: list[Stop]) -> Stop:
    """The first stop is also for an audit."""
    visit = stops[0].visit
    assert visit is not None
    visit.needs.add(build_need(visit.site, kind="audit"))
    return stops[0]


def test_cans_are_entered_without_network_and_the_audit_arrives_once(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    stop = an_audit(stops)
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.cut()
    phone.open(f"/day/stops/{stop.pk}/")
    catch = [38, 42, 35, 29, 40, 41, 33, 30, 36, 37, 44, 28, 39, 31, 34, 43, 40, 38, 36, 29, 35, 33, 41, 30]
    for number, value in enumerate(catch, start=1):
        phone.page.fill(f"[data-draft=can-{number}]", str(value))
    phone.page.fill("#a-run", "10")
    phone.wait_for_draft(stop.pk, "can-24", "30")
    # The phone goes out and comes back: what was read of the cans stands there again.
    phone.open(f"/day/stops/{stop.pk}/")
    phone.until("document.querySelector('[data-draft=can-24]').value === '30'")
    phone.page.fill("#a-opening", "80")
    entry = AuditEntry(catch_ml=tuple(map(float, catch)), throat_area_cm2=80.0, run_min=10.0)
    figures = audit_figures(entry)
    assert f"Uniformity {figures.distribution_uniformity:.2f}" in phone.page.inner_text("[data-audit-said]")
    assert f"Rate {figures.precipitation_rate_mm_h:.0f} mm/h" in phone.page.inner_text("[data-audit-said]")
    phone.page.click("text=Record the audit")
    phone.page.wait_for_selector("[data-audit-told]:has-text('is kept on this phone')")
    phone.wait_for_count(1)

    cuts = iter(["before", "after"])
    phone.line.cut = lambda method, path: next(cuts, "") if (method, path[-7:]) == ("POST", "/audit/") else ""
    phone.mend()
    for _ in range(3):
        phone.send()
    phone.page.wait_for_selector("[data-audit-told]:has-text('is recorded')")
    phone.wait_until_empty()

    kept = ZoneAudit.objects.get()
    assert kept.catch_ml == catch
    assert kept.distribution_uniformity == figures.distribution_uniformity
    assert kept.zone.distribution_uniformity == figures.distribution_uniformity
    assert phone.complaints == []


def test_an_audit_that_the_book_refuses_goes_back_into_its_form(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    stop = an_audit(stops)
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.open(f"/day/stops/{stop.pk}/")
    for number, value in enumerate((0, 0, 40, 60), start=1):
        phone.page.fill(f"[data-draft=can-{number}]", str(value))
    phone.page.fill("#a-run", "10")
    phone.page.fill("#a-opening", "80")
    assert "mend the heads" in phone.page.inner_text("[data-audit-said]")
    phone.page.click("text=Record the audit")
    phone.page.wait_for_selector("[data-audit-told]:has-text('not taken')")

    phone.page.goto(f"{phone.line.url}/day/waiting/")
    phone.page.click("text=Back to the form")
    phone.page.wait_for_url(f"**/day/stops/{stop.pk}/")
    phone.until("document.querySelector('[data-draft=can-4]').value === '60'")

    assert ZoneAudit.objects.count() == 0
    assert phone.queue() == []
