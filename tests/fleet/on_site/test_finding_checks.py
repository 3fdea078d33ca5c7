"""The office checks findings: each effect is taken back or corrected; the customer gets a plain report."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fleet.models import Company, Finding, Flag, Photo, ReportLink, Stop, Submission, User, VisitNeed
from fleet.services.on_site.check_findings import (
    CannotCheck,
    accept_finding,
    accept_findings,
    correct_finding,
    input_of,
    settle_state,
    undo_finding,
)
from fleet.services.on_site.finding_input import BadFinding, FindingInput
from fleet.services.on_site.findings import keep_beside, record_finding
from fleet.services.on_site.report_links import (
    LinkIsOver,
    make_report_link,
    open_report_link,
    revoke_report_link,
    token_of,
)
from sites.models import Change, ProgramSet, Recommendation, Sensor, Zone
from sites.services.found_on_site import set_threshold
from tests.browser.phone_hand import picture
from tests.conftest import DAY, NOW
from tests.fleet.on_site.test_phone_sending import a_stop, body_of, post
from tests.fleet.on_site.test_photos import send
from tests.fleet.on_site.test_stop_pages_data import flagged_stop

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]


def whole_finding(stop: Stop, kind: str = "sensor_check", **other: Any) -> FindingInput:
    """A finding that changes everything that a finding can change."""
    need = VisitNeed.objects.get(kind=kind)
    given: dict[str, Any] = {
        "client_key": "whole-finding",
        "stop_id": stop.pk,
        "need_id": need.pk,
        "recorded_at": NOW,
        "verdict": "confirmed",
        "cause": "reads_wet",
        "threshold_kpa": 30.0,
        "turf": "patchy",
        "follow_up": "bring wire",
        "program_keyed_in": True,
        "dry_stations": (1,),
        **other,
    }
    return FindingInput(**given)


def book_now() -> dict[str, object]:
    """All that a finding may change."""
    sensor = Sensor.objects.get()
    return {
        "threshold": sensor.threshold_kpa,
        "turf": (sensor.turf_seen, sensor.turf_seen_on),
        "installed": sensor.installed_on,
        "margins": list(Zone.objects.order_by("pk").values_list("margin_factor", flat=True)),
        "flag": list(Flag.objects.values_list("closed_on", "closed_by", "truth")),
        "sets": list(ProgramSet.objects.values_list("as_of", "lines__letter", "lines__run_min")),
        "recommendation": Recommendation.objects.get().status,
        "open": sorted(VisitNeed.objects.filter(state="open").values_list("key", flat=True)),
    }


def test_each_effect_of_a_finding_is_kept_and_taken_back(company: Company) -> None:
    stop = flagged_stop()
    before = book_now()
    record_finding(finding=whole_finding(stop), by="ines")
    row = Finding.objects.get()
    assert {effect["what"] for effect in row.effects} == {
        "flag", "threshold", "turf", "program", "need", "raised",
    }  # fmt: skip
    assert book_now() != before

    done = undo_finding(finding_id=row.pk, by="hana", now=NOW, day=DAY)

    assert book_now() == before
    assert done.stays == ()
    row.refresh_from_db()
    assert (row.check_state, row.effects, row.checked_by) == ("undone", [], "hana")
    assert Change.objects.filter(kind="finding", reason="finding taken back").exists()
    with pytest.raises(CannotCheck, match="already"):
        undo_finding(finding_id=row.pk, by="hana", now=NOW, day=DAY)


def test_what_somebody_changed_since_stays_and_is_told(company: Company) -> None:
    stop = flagged_stop()
    record_finding(finding=whole_finding(stop), by="ines")
    set_threshold(controller_id=Sensor.objects.get().controller_id, threshold_kpa=50.0, by="hana", at=NOW)

    done = undo_finding(finding_id=Finding.objects.get().pk, by="hana", now=NOW, day=DAY)

    assert Sensor.objects.get().threshold_kpa == 50.0
    assert done.stays == ("The threshold is 30 kPa from now on.",)


def test_a_program_that_replaced_one_of_the_same_day_gives_it_back(company: Company) -> None:
    stop = flagged_stop()
    controller = Sensor.objects.get().controller
    kept = ProgramSet.objects.create(controller=controller, as_of=stop.route.day)
    kept.lines.create(letter="B", days="daily", starts="05:00", station=1, run_min=7, run_order=1)
    before = book_now()

    record_finding(finding=whole_finding(stop), by="ines")
    undo_finding(finding_id=Finding.objects.get().pk, by="hana", now=NOW, day=DAY)

    assert book_now() == before


def test_a_correction_is_the_same_as_a_right_finding_at_once(company: Company) -> None:
    stop = flagged_stop()
    other: dict[str, Any] = {"threshold_kpa": 50.0, "turf": "good", "verdict": "not_confirmed"}
    right = whole_finding(stop, cause="", follow_up="", dry_stations=(), **other)
    record_finding(finding=whole_finding(stop), by="ines")
    row = Finding.objects.get()

    correct_finding(finding_id=row.pk, finding=right, by="hana", now=NOW, day=DAY)

    row.refresh_from_db()
    assert (row.check_state, row.threshold_kpa, row.turf) == ("corrected", 50.0, "good")
    assert "dry_stations" not in row.answers
    sensor = Sensor.objects.get()
    assert (sensor.threshold_kpa, sensor.turf_seen) == (50.0, "good")
    assert Flag.objects.get().truth == "not_confirmed"
    assert not VisitNeed.objects.filter(origin="finding", state="open").exists()
    change = Change.objects.get(kind="finding")
    assert change.before is not None
    assert change.after is not None
    assert (change.before["threshold_kpa"], change.after["threshold_kpa"]) == (30.0, 50.0)
    # And back again: the needs that were withdrawn stand anew.
    correct_finding(finding_id=row.pk, finding=whole_finding(stop), by="hana", now=NOW, day=DAY)
    assert VisitNeed.objects.filter(origin="finding", state="open").count() == 2


def test_a_wrong_correction_changes_nothing(company: Company) -> None:
    stop = flagged_stop()
    record_finding(finding=whole_finding(stop), by="ines")
    before = book_now()

    with pytest.raises(BadFinding, match="offers 30, 40, 50"):
        correct_finding(
            finding_id=Finding.objects.get().pk,
            finding=whole_finding(stop, threshold_kpa=45.0),
            by="hana",
            now=NOW,
            day=DAY,
        )

    assert book_now() == before


def test_a_finding_kept_beside_changes_the_book_when_it_is_accepted(company: Company) -> None:
    stop = flagged_stop()
    before = book_now()
    keep_beside(finding=whole_finding(stop), visit_id=stop.visit_id or 0, technician_id=None)
    assert book_now() == before
    row = Finding.objects.get()
    assert accept_findings(finding_ids=[row.pk], by="hana", now=NOW) == 0

    accept_finding(finding_id=row.pk, by="hana", now=NOW)

    assert Sensor.objects.get().threshold_kpa == 30.0
    row.refresh_from_db()
    assert (row.check_state, input_of(row)) == ("accepted", whole_finding(stop))
    undo_finding(finding_id=row.pk, by="hana", now=NOW, day=DAY)
    assert book_now() == before


def test_a_new_sensor_counts_from_its_day_for_watch_and_ledger(company: Company) -> None:
    stop = flagged_stop()
    VisitNeed.objects.filter(kind="sensor_check").update(kind="sensor_install")
    before = Sensor.objects.get().installed_on

    record_finding(
        finding=whole_finding(stop, "sensor_install", turf="", program_keyed_in=False, follow_up=""),
        by="ines",
    )

    assert Sensor.objects.get().installed_on == stop.route.day != before
    undo_finding(finding_id=Finding.objects.get().pk, by="hana", now=NOW, day=DAY)
    assert Sensor.objects.get().installed_on == before


@pytest.mark.parametrize("holds", [True, False])
def test_a_state_kept_beside_is_decided_by_the_office(
    company: Company, technician_user: User, sign_in: SignIn, holds: bool
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    Stop.objects.filter(pk=stop.pk).update(state="not_possible")
    body = body_of(stop, technician_user, kind="state", fields={"state": "finished"})
    post(client, body)
    post(client, {**body, "resolve": "keep"})

    settle_state(submission_id=Submission.objects.get().pk, holds=holds, by="hana")

    assert Stop.objects.get().state == ("finished" if holds else "not_possible")
    with pytest.raises(CannotCheck):
        settle_state(submission_id=Submission.objects.get().pk, holds=holds, by="hana")


def test_the_page_shows_what_each_changed_and_the_forms_work(
    company: Company, dispatcher: User, manager: User, sign_in: SignIn
) -> None:
    stop = flagged_stop()
    record_finding(finding=whole_finding(stop, note="<script>alert(1)</script>"), by="ines")
    row = Finding.objects.get()
    client = sign_in(dispatcher)

    page = client.get(reverse("fleet:findings")).content.decode()
    assert "<b>1</b> finding to check" in page
    assert "The threshold is 30 kPa from now on." in page
    assert "<script>alert" not in page
    assert client.get(reverse("fleet:finding-correct", args=[row.pk])).status_code == 200
    client.post(reverse("fleet:finding-decide", args=[row.pk]), {"do": "accept"})
    row.refresh_from_db()
    assert row.check_state == "accepted"
    answer = client.post(
        reverse("fleet:finding-correct", args=[row.pk]),
        {"need": row.need_id, "verdict": "confirmed", "threshold_kpa": "50", "need_is_met": "yes"},
    )
    assert answer.status_code == 302
    assert Sensor.objects.get().threshold_kpa == 50.0
    client.post(reverse("fleet:finding-decide", args=[row.pk]), {"do": "undo"})
    assert Sensor.objects.get().threshold_kpa == 40.0
    for show in ("to_check", "beside", "decided", "undone", "x"):
        assert client.get(reverse("fleet:findings"), {"show": show, "q": "CB"}).status_code == 200
    read_only = sign_in(manager)
    assert read_only.get(reverse("fleet:findings")).status_code == 200
    assert read_only.post(reverse("fleet:finding-decide", args=[row.pk]), {"do": "undo"}).status_code == 403


def test_the_report_tells_the_customer_plainly_and_its_link_shows_nothing_else(
    company: Company, dispatcher: User, technician_user: User, sign_in: SignIn
) -> None:
    stop = a_stop(technician_user)
    assert stop.visit is not None
    own = sign_in(technician_user)
    send(own, stop, technician_user, picture(1))
    body = body_of(stop, technician_user)
    body["fields"] = {**body["fields"], "turf": "patchy", "note": "rude customer", "verdict": "not_confirmed"}
    post(own, body)
    other = a_stop(technician_user, "QT-02", order=2)
    office = sign_in(dispatcher)
    office.post(reverse("fleet:report-link", args=[stop.visit_id]))
    link = ReportLink.objects.get()
    address = reverse("fleet:customer-report", args=[token_of(link)])
    visitor = Client()

    answer = visitor.get(address)
    page = answer.content.decode()

    assert answer.status_code == 200
    assert "The lawn has patches" in page
    assert "the sensor works as it should" in page
    assert "9 Kiln Lane" in page
    for hidden in ("4471", "555 0100", "rude customer", "QT-02", "/sites/", "/week/"):
        assert hidden not in page
    assert answer["X-Robots-Tag"] == "noindex, nofollow"
    assert answer["Referrer-Policy"] == "no-referrer"
    assert "no-store" in answer["Cache-Control"]
    photo = Photo.objects.get()
    assert visitor.get(reverse("fleet:customer-photo", args=[token_of(link), photo.pk])).status_code == 200
    Photo.objects.filter(pk=photo.pk).update(visit=other.visit)
    assert visitor.get(reverse("fleet:customer-photo", args=[token_of(link), photo.pk])).status_code == 404
    link.refresh_from_db()
    assert link.opened == 1
    office.post(reverse("fleet:report-link-revoke", args=[link.pk]))
    assert visitor.get(address).status_code == 404


def test_a_link_ends_is_taken_back_and_cannot_be_forged(company: Company, technician_user: User) -> None:
    stop = a_stop(technician_user)
    made = make_report_link(visit_id=stop.visit_id or 0, days=30, by="hana", now=NOW)

    assert open_report_link(token=made.token, now=NOW + timedelta(days=29)) == stop.visit_id
    for token, now in (
        (made.token, NOW + timedelta(days=31)),
        (made.token[:-1] + ("A" if made.token[-1] != "A" else "B"), NOW),
        ("1", NOW),
        ("", NOW),
    ):
        with pytest.raises(LinkIsOver):
            open_report_link(token=token, now=now)
    assert revoke_report_link(link_id=made.link_id, now=NOW)
    with pytest.raises(LinkIsOver):
        open_report_link(token=made.token, now=NOW)
    assert timezone.is_aware(made.expires_at)
