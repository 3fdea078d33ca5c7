"""The invented company from its files to its pages: every stage, twice, and every page for every role."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse

from fleet.access import ROLES, VISITORS, may_see
from fleet.demo.company import build_demo_company
from fleet.exports.kinds import KINDS, Span, as_csv
from fleet.models import Company, Finding, Quote, Rebate, RebateClaim, Stop, User, VisitNeed
from fleet.selectors.ledger.rebates import rebate_rows
from fleet.services.run_day import run_day
from sites.models import Recommendation, Site
from sites.services.record_programs import import_programs

TODAY = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 12, 30, tzinfo=UTC)


def _work(again: bool = True) -> list[str]:
    return list(run_day(day=TODAY, clock=lambda: NOW, seed=1, again=again, planning_s=1.0))


@pytest.fixture
def demo(db: None, settings: Any, tmp_path: Path) -> Company:
    """Eighteen gardens with one day's work done."""
    settings.DATA_DIR = tmp_path
    told: list[str] = []
    build_demo_company(data_dir=tmp_path, sites=18, seed=3, today=TODAY, tell=told.append)
    _work()
    return Company.objects.get()


def _csv(kind: str, span: Span) -> str:
    return as_csv(KINDS[kind].columns(False), KINDS[kind].rows(span, False))


WEEK = Span(week=TODAY)


def test_the_days_work_gives_programs_needs_and_routes_and_the_same_again(
    demo: Company, tmp_path: Path
) -> None:
    programs, balance = _csv("programs", WEEK), _csv("balance", Span(day=date(2026, 6, 14)))
    needs = sorted(VisitNeed.objects.values_list("key", "value_per_day", "reason"))

    _work()

    assert _csv("programs", WEEK) == programs
    assert _csv("balance", Span(day=date(2026, 6, 14))) == balance
    assert sorted(VisitNeed.objects.values_list("key", "value_per_day", "reason")) == needs
    assert Recommendation.objects.filter(adequacy_pct__gte=90).count() > Recommendation.objects.count() / 2
    # A crew has been at work: most timers are as they should be.
    assert 0 < Recommendation.objects.filter(is_change=True).count() < Recommendation.objects.count() / 2
    assert not Recommendation.objects.filter(window_used_min=None).exists()
    assert Stop.objects.filter(is_break=False).exists()
    path = tmp_path / "programs.csv"
    path.write_text(programs, encoding="utf-8")
    report = import_programs(path=path, by="test", now=NOW)
    assert report.problems == ()


def test_two_invented_suppliers_say_which_hours_a_site_may_water_next_week(
    demo: Company, client: Client
) -> None:
    hana = User.objects.get(username="hana")
    client.force_login(hana, backend="django.contrib.auth.backends.ModelBackend")
    listed = client.get("/rules/").content.decode()

    for code, supplier, words in (
        ("wend-odd-even", "Wend Valley Water", "odd house numbers, odd dates"),
        ("hillside-two-days", "Hillside Mutual", "two days a week"),
    ):
        assert code in listed
        assert supplier in listed
        site = Site.objects.filter(rule_set=code).exclude(address="").first()
        assert site is not None, code
        page = client.get(reverse("fleet:rule-set", args=[code]), {"site": site.code}).content.decode()
        assert f"{site.code} {site.address} may water" in page
        assert words in page
        assert "invented: " in page
        own = client.get(f"/sites/{site.code}/").content.decode()
        assert "When it may be watered" in own
        assert "every hour counts as open" not in own


def test_a_done_day_is_not_worked_on_again_by_the_night(demo: Company) -> None:
    assert _work(again=False) == []


def test_every_kind_of_export_holds_its_columns(demo: Company) -> None:
    for kind in KINDS:
        span = Span(week=TODAY) if kind == "programs" else Span(start=date(2026, 6, 1), end=date(2026, 6, 22))
        text = _csv(kind, span)
        assert text.splitlines()[0] == ",".join(KINDS[kind].columns(False)), kind
        _keeps_its_days(kind, text)
    assert "555-01" not in _csv("book", WEEK)


def _keeps_its_days(kind: str, text: str) -> None:
    """Days lie from the first to before the last, and every moment carries its offset."""
    table = list(csv.DictReader(io.StringIO(text)))
    assert table, kind
    for row in table:
        assert "2026-06-01" <= row.get("date", "2026-06-01") < "2026-06-22", kind
        for cell in row.values():
            if re.match(r"\d{4}-\d\d-\d\dT", cell):
                assert re.search(r"(Z|[+-]\d\d:\d\d)$", cell), (kind, cell)


def _office() -> dict[str, list[tuple[Any, ...]]]:
    """What the demo's office and people did before today, without keys of rows."""
    quotes = Quote.objects.values_list("site__code", "title", "state", "made_on", "decided_on")
    findings = Finding.objects.values_list("visit__site__code", "technician__code", "recorded_at", "note")
    claims = RebateClaim.objects.values_list("site__code", "state", "sent_on", "paid")
    return {
        "quotes": sorted(quotes, key=str),
        "findings": sorted(findings),
        "claims": sorted(claims, key=str),
    }


def test_the_office_has_quotes_in_every_state_findings_and_rebates_that_gardens_can_claim(
    demo: Company,
) -> None:
    del demo
    assert set(Quote.objects.values_list("state", flat=True)) == set(Quote.State.values)
    assert all(quote.lines.exists() for quote in Quote.objects.all())
    found = VisitNeed.objects.filter(origin="finding", quote__isnull=False)
    assert {need.quote.state for need in found if need.quote} == {"approved", "sent", "draft"}
    approved = found.get(quote__state="approved")
    assert approved.blocked_by == ""
    assert approved.visits.filter(week=TODAY).exists(), "the week takes in what the customer approved"
    assert not found.exclude(pk=approved.pk).filter(blocked_by="").exists()

    assert Finding.objects.filter(check_state="to_check").exists()
    begun = Stop.objects.filter(route__day__lt=TODAY, visit__isnull=False)
    assert set(begun.values_list("state", flat=True)) == {"finished"}

    standings: dict[str, int] = {}
    for rebate in Rebate.objects.all():
        for row in rebate_rows(rebate=rebate, today=TODAY):
            standings[row.standing.state] = standings.get(row.standing.state, 0) + 1
    assert {"open", "sensor", "late", "outside"} <= set(standings)


@pytest.mark.django_db
def test_the_same_seed_invents_the_same_friday_quotes_and_claims(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path
    told, steps = [], list[str]()
    for _ in range(2):
        with transaction.atomic():
            build_demo_company(data_dir=tmp_path, sites=9, seed=5, today=TODAY, tell=steps.append)
            told.append(_office())
            transaction.set_rollback(True)

    assert told[0] == told[1]
    assert len(told[0]["findings"]) == 6


def _addresses() -> dict[str, str]:
    """One address of every page that answers to GET."""
    governed = Recommendation.objects.filter(controller__governed=True)
    controller = governed.select_related("controller__site").first()
    stop = Stop.objects.filter(visit__isnull=False).first()
    if controller is None or stop is None:
        raise AssertionError("the demo has no program or no stop")
    site, code = controller.controller.site.code, controller.controller.code
    by_name: dict[str, list[Any]] = {
        "fleet:site": [site], "fleet:site-shapes": [site], "fleet:site-zones-csv": [site],
        "fleet:site-water-csv": [site], "fleet:sheet": [site, code], "fleet:stop-move": [stop.pk],
        "fleet:stop": [stop.pk], "fleet:stop-map": [stop.pk], "fleet:water-site": [site],
        "fleet:watch": [site, code], "fleet:what-if": [site, code], "fleet:program-year": [site, code],
        "fleet:round-edit": [controller.pk], "fleet:survey": [site], "fleet:site-audits": [site],
        "fleet:siting": [site, code], "fleet:siting-shapes": [site, code],
        "fleet:installation-sheet": [site, code], "fleet:zone-audit": [site, code, 1],
    }  # fmt: skip
    posts = {
        "fleet:week-plan", "fleet:week-publish", "fleet:week-undo", "fleet:stop-lock", "fleet:stop-state",
        "fleet:stop-finding", "fleet:round-decide", "fleet:home", "fleet:round-decide-many",
        "fleet:weather-order", "fleet:season-rule", "fleet:rules-switch",
    }  # fmt: skip
    found = {}
    for name in sorted(set(ROLES) - posts):
        try:
            found[name] = reverse(name, args=by_name.get(name, []))
        except Exception:  # noqa: BLE001, S112 (a page that is not there yet, or needs other words)
            continue
    return found


def test_every_page_opens_for_its_roles_only(demo: Company) -> None:
    for role in User.Role.values:
        User.objects.create_user(username=f"one-{role}", password="garden-water-42", role=role)
    addresses = _addresses()
    assert len(addresses) > 12
    for name, address in addresses.items():
        if name == "fleet:map-zones":
            address += "?box=-104.72,41.18,-104.66,41.22"
        visitor = Client().get(address)
        assert visitor.status_code == (200 if name in VISITORS else 302), name
        assert name in VISITORS or reverse("login") in visitor["Location"], name
        for role in User.Role.values:
            client = Client()
            client.force_login(
                User.objects.get(username=f"one-{role}"), backend="django.contrib.auth.backends.ModelBackend"
            )
            status = client.get(address).status_code
            if not may_see(role, name):
                assert status == 403, (name, role)
            elif status == 405:
                continue  # answers to POST only; its own tests send one
            elif role == User.Role.TECHNICIAN and re.search(r"/sites/|/stops/|/routes/", address):
                assert status == 404, (name, role)  # nobody's own garden or route
            else:
                assert status == 200, (name, role)


def test_a_technician_sees_own_stops_and_no_other(demo: Company) -> None:
    ines = User.objects.get(username="ines")
    client = Client()
    client.force_login(ines, backend="django.contrib.auth.backends.ModelBackend")
    own = Stop.objects.filter(visit__isnull=False, route__technician__user=ines).first()
    other = Stop.objects.filter(visit__isnull=False).exclude(route__technician__user=ines).first()

    if own is not None:
        assert client.get(reverse("fleet:stop", args=[own.pk])).status_code == 200
    assert other is not None
    assert client.get(reverse("fleet:stop", args=[other.pk])).status_code == 404


@pytest.mark.parametrize("name", ["${alert(1)}", "<script>alert(1)</script>", "{{7*7}}"])
def test_a_hostile_name_is_shown_as_text(demo: Company, name: str) -> None:
    site = Site.objects.exclude(controllers=None).order_by("code").first()
    assert site is not None
    Site.objects.filter(pk=site.pk).update(name=name, address=name)
    hana = User.objects.get(username="hana")
    client = Client()
    client.force_login(hana, backend="django.contrib.auth.backends.ModelBackend")

    page = client.get(reverse("fleet:site", args=[site.code])).content.decode()

    assert "<script>alert" not in page
    scripts = " ".join(re.findall(r"<script[^>]*>(.*?)</script>", page, re.S))
    assert "alert(1)" not in scripts
    assert "49" not in re.findall(r"<title>(.*?)</title>", page)[0] or "49" in site.code
