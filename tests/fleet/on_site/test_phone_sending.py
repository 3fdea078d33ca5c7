"""What a phone sends: taken once, from its owner, by both clocks; both versions stay where the plan moved."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.on_site.phone_clock import RIGHT_WITHIN_S, moments, skew_words
from fleet.calc.on_site.phone_settings import PhoneSettings, phone_settings
from fleet.models import Company, Finding, Route, Stop, Submission, User, Visit
from fleet.selectors.on_site.phone_facts import owner_of, seals_of
from fleet.selectors.on_site.stop_ticket import BadTicket, read_ticket, ticket_for
from fleet.services.on_site.stop_states import set_stop_state
from sites.models import Controller, ProgramSet, Recommendation, Site
from tests.conftest import DAY, NOW
from tests.factories import build_controller, build_need, build_site, build_technician, build_visit

SignIn = Callable[[User], Client]


def a_stop(user: User, code: str = "CB-14", *, order: int = 1) -> Stop:
    """A stop of today at a garden of its own."""
    from fleet.models import Technician

    person = Technician.objects.filter(user=user).first() or build_technician(
        f"T-{user.username}", user=user, name=user.get_full_name()
    )
    route, _ = Route.objects.get_or_create(
        technician=person,
        day=DAY,
        defaults={"start_at": NOW, "end_at": NOW + timedelta(hours=8), "planned_at": NOW},
    )
    site = Site.objects.filter(code=code).first() or build_site(code, gate_code="4471", phone="555 0100")
    visit = build_visit(site)
    visit.needs.add(build_need(site, controller=build_controller(site)))
    return Stop.objects.create(
        route=route, order=order, visit=visit, arrive=NOW, depart=NOW + timedelta(minutes=40)
    )


def body_of(stop: Stop, user: User, **other: Any) -> dict[str, Any]:
    """What a phone of ours sends."""
    at = timezone.now().timestamp() * 1000
    need = stop.visit.needs.get().pk if stop.visit else ""
    return {
        "key": "k" * 12,
        "owner": owner_of(user=user),
        "kind": "finding",
        "ticket": ticket_for(stop=stop, user=user),
        "said_at": at,
        "sent_at": at,
        "fields": {"need": str(need), "note": "splice dry", "need_is_met": "yes"},
        **other,
    }


def post(client: Client, body: object) -> Any:
    """Send a body as JSON."""
    return client.post(reverse("fleet:phone-send"), json.dumps(body), content_type="application/json")


pytestmark = pytest.mark.django_db


def test_the_same_key_is_taken_once_and_gets_the_same_answer(
    company: Company, technician_user: User, sign_in: SignIn
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    body = body_of(stop, technician_user)

    first, again = post(client, body), post(client, body)

    assert (first.status_code, again.status_code) == (200, 200)
    assert (first.json()["is_new"], again.json()["is_new"]) == (True, False)
    assert first.json()["words"] == again.json()["words"] == ["The need is met."]
    assert Finding.objects.count() == Submission.objects.count() == 1


@pytest.mark.parametrize("body", ["[" * 40_000, '{"a":' * 9_000, "{", "null", "[]"])
def test_what_is_no_plain_json_is_refused_with_a_word(
    company: Company, technician_user: User, sign_in: SignIn, body: str
) -> None:
    client = sign_in(technician_user)

    answer = client.post(reverse("fleet:phone-send"), body, content_type="application/json")

    assert (answer.status_code, answer.json()["outcome"]) == (400, "refused")


def test_nobody_sends_under_anothers_name_or_with_anothers_ticket(
    company: Company, technician_user: User, stranger: User, sign_in: SignIn
) -> None:
    stop = a_stop(technician_user)
    body, client = body_of(stop, technician_user), sign_in(stranger)

    as_owner = post(client, body)
    own_name = post(client, {**body, "owner": owner_of(user=stranger)})
    forged = post(client, {**body, "owner": owner_of(user=stranger), "ticket": "1:2:3"})

    assert [one.status_code for one in (as_owner, own_name, forged)] == [403, 403, 403]
    assert Submission.objects.count() == Finding.objects.count() == 0


def test_a_key_of_somebody_else_gives_nothing_away(
    company: Company, technician_user: User, stranger: User, sign_in: SignIn
) -> None:
    own, theirs = a_stop(technician_user), a_stop(stranger, "QT-02")
    post(sign_in(technician_user), body_of(own, technician_user))

    answer = post(sign_in(stranger), body_of(theirs, stranger))

    assert answer.status_code == 403
    assert "splice" not in answer.content.decode()


def test_a_ticket_grows_old(company: Company, technician_user: User) -> None:
    text = ticket_for(stop=a_stop(technician_user), user=technician_user)

    assert read_ticket(text=text, user_id=technician_user.pk, today=DAY, days=30).day == DAY
    with pytest.raises(BadTicket, match="too long ago"):
        read_ticket(text=text, user_id=technician_user.pk, today=DAY + timedelta(days=31), days=30)


@pytest.mark.parametrize("change", ["moved", "given", "gone", "cancelled", "closed"])
def test_both_versions_are_kept_where_the_plan_changed_meanwhile(
    company: Company, technician_user: User, stranger: User, sign_in: SignIn, change: str
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    body = body_of(stop, technician_user)
    other = a_stop(stranger, "QT-02")
    if change == "moved":
        route = Route.objects.create(
            technician=stop.route.technician,
            day=DAY + timedelta(days=1),
            start_at=NOW,
            end_at=NOW,
            planned_at=NOW,
        )
        Stop.objects.filter(pk=stop.pk).update(route=route)
    elif change == "given":
        Stop.objects.filter(pk=stop.pk).update(route=other.route, order=9)
    elif change == "gone":
        stop.delete()
    elif change == "cancelled":
        Visit.objects.filter(stops=stop).update(state="cancelled")
    else:
        Stop.objects.filter(pk=stop.pk).update(state="not_possible")
        body = {**body, "kind": "state", "fields": {"state": "finished"}}

    asked = post(client, body)
    kept = post(client, {**body, "resolve": "keep"})

    assert (asked.status_code, kept.status_code) == (409, 200)
    assert "meanwhile" in asked.json()["words"][0]
    row = Submission.objects.get()
    assert (row.outcome, row.payload["fields"]) == ("aside", body["fields"])
    if body["kind"] == "finding":
        finding = Finding.objects.get()
        assert (finding.check_state, finding.effects) == ("beside", [])
        assert stop.visit is not None
        assert stop.visit.needs.get().state == "open"


def test_what_is_thrown_away_after_the_question_is_still_known_to_the_server(
    company: Company, technician_user: User, sign_in: SignIn
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    body = body_of(stop, technician_user)
    Visit.objects.update(state="cancelled")
    post(client, body)

    assert post(client, {**body, "resolve": "drop"}).json()["outcome"] == "dropped"
    assert Submission.objects.get().payload["fields"]["note"] == "splice dry"
    assert Finding.objects.count() == 0


def test_a_finding_that_cannot_be_is_refused_with_its_reason_and_kept_aside(
    company: Company, technician_user: User, sign_in: SignIn
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    wrong = body_of(stop, technician_user)
    wrong["fields"] = {**wrong["fields"], "service_min": "lots"}

    answer = post(client, wrong)

    assert answer.status_code == 422
    assert "'lots', expected a number" in answer.json()["words"][0]
    assert Submission.objects.get().payload["fields"]["service_min"] == "lots"


@pytest.mark.parametrize(
    "body",
    [
        [],
        {},
        {"kind": "finding"},
        {"kind": "flood"},
        {"key": 7},
        {"key": "x"},
        {"said_at": "x"},
        {"said_at": 1e300},
        {"said_at": float("nan")},
        {"fields": {"note": 3}},
        {"fields": []},
        {"resolve": "maybe"},
        {"ticket": None},
        {"owner": None},
    ],
    ids=str,
)
def test_what_no_phone_of_ours_sends_is_refused_and_writes_nothing(
    company: Company, technician_user: User, sign_in: SignIn, body: Any
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    whole = {**body_of(stop, technician_user), **body} if body else body

    status = post(client, whole).status_code

    assert status in (400, 403) or body == {"kind": "finding"}
    assert Finding.objects.count() == (1 if body == {"kind": "finding"} else 0)


@given(skew_s=st.floats(-90_000, 90_000), ago_s=st.floats(0, 200_000))
def test_a_wrong_clock_is_taken_out_whatever_it_says(skew_s: float, ago_s: float) -> None:
    received = datetime(2026, 6, 15, 18, 0, tzinfo=UTC)
    truly = received - timedelta(seconds=ago_s)
    skew = timedelta(seconds=skew_s)

    found = moments(truly + skew, received + skew, received)

    assert abs((found.happened_at - truly).total_seconds()) <= RIGHT_WITHIN_S + 1e-3
    assert found.happened_at <= received
    assert abs(found.skew_s - skew_s) < 1e-3


def test_the_clock_is_told_in_words() -> None:
    assert skew_words(3720) == "The phone's clock is 1 h 2 min ahead."
    assert skew_words(-600) == "The phone's clock is 10 min behind."
    assert skew_words(30) == ""


def test_keys_of_the_seal_are_ones_own_and_survive_a_new_secret(
    technician_user: User, stranger: User, settings: Any
) -> None:
    before = seals_of(user=technician_user)
    assert before != seals_of(user=stranger)
    assert len(bytes.fromhex(before[0])) == 32

    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "another"

    assert seals_of(user=technician_user)[1] == before[0]


def test_numbers_of_the_company_stand_in_place_of_ours() -> None:
    own = phone_settings({"phone.days_back": 2, "phone.nonsense": 3, "days_ahead": 9})

    assert (own.days_back, own.days_ahead) == (2.0, PhoneSettings().days_ahead)
    with pytest.raises(ValueError, match="0 or more"):
        PhoneSettings(days_back=-1)


def test_worker_manifest_and_offline_page_come_without_a_session_and_hold_nothing_of_the_company(
    company: Company, technician_user: User, client: Client
) -> None:
    a_stop(technician_user)

    worker = client.get("/worker.js")
    manifest = client.get(reverse("fleet:phone-manifest"))
    offline = client.get(reverse("fleet:phone-offline"))

    assert worker["Content-Type"].startswith("text/javascript")
    assert worker["Service-Worker-Allowed"] == "/"
    assert "no-cache" in worker["Cache-Control"]
    assert "unsafe" not in worker["Content-Security-Policy"]
    assert manifest["Content-Type"] == "application/manifest+json"
    assert manifest.json()["start_url"] == reverse("fleet:day")
    for answer in (worker, manifest, offline):
        assert answer.status_code == 200
        assert "CB-14" not in answer.content.decode()


def test_the_pack_holds_own_pages_only_and_another_version_after_a_change(
    company: Company, technician_user: User, stranger: User, sign_in: SignIn
) -> None:
    own, theirs = a_stop(technician_user), a_stop(stranger, "QT-02")
    client = sign_in(technician_user)

    first = client.get(reverse("fleet:phone-pack"))
    same = client.get(reverse("fleet:phone-pack")).json()
    Site.objects.filter(code="CB-14").update(gate_code="9999")
    after = client.get(reverse("fleet:phone-pack")).json()

    assert "no-store" in first["Cache-Control"]
    assert reverse("fleet:stop", args=[own.pk]) in first.json()["urls"]
    assert reverse("fleet:stop", args=[theirs.pk]) not in first.json()["urls"]
    assert same["version"] == first.json()["version"] != after["version"]
    assert all(client.get(url).status_code == 200 for url in first.json()["urls"])


def test_a_stop_says_how_late_the_day_runs_by_the_clock(
    company: Company, technician_user: User, sign_in: SignIn
) -> None:
    now = timezone.now()
    Company.objects.update(demo_today=None, timezone="UTC")
    first, second = a_stop(technician_user), a_stop(technician_user, "QT-02", order=2)
    Route.objects.update(day=now.date())
    Stop.objects.filter(pk=first.pk).update(
        arrive=now - timedelta(minutes=90), depart=now - timedelta(minutes=50), state="at_the_gate",
        state_at=now - timedelta(minutes=90),
    )  # fmt: skip
    Stop.objects.filter(pk=second.pk).update(arrive=now - timedelta(minutes=40), depart=now, drive_min=10)
    Visit.objects.filter(stops=second).update(
        window_from=now - timedelta(hours=2), window_to=now - timedelta(minutes=5), told_at=now
    )

    page = sign_in(technician_user).get(reverse("fleet:day")).content.decode()

    assert "Promised to <b>QT-02</b>" in page
    assert "expected" in page
    set_stop_state(stop_id=first.pk, state="finished", at=now)
    assert "Running 50 minutes late" in sign_in(technician_user).get(reverse("fleet:day")).content.decode()


def test_pages_of_the_day_are_sent_small(company: Company, technician_user: User, sign_in: SignIn) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)

    answer = client.get(reverse("fleet:stop", args=[stop.pk]), headers={"accept-encoding": "gzip"})

    assert answer["Content-Encoding"] == "gzip"
    assert len(answer.content) < 15_000


def test_what_was_keyed_in_is_what_the_sheet_said_when_the_phone_took_it_along(
    company: Company, technician_user: User, sign_in: SignIn
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    controller = Controller.objects.get()
    rows = [
        Recommendation.objects.create(
            controller=controller, week=DAY - timedelta(days=7 * back), is_change=True, computed_on=DAY
        )
        for back in (1, 0)
    ]
    for number, row in enumerate(rows):
        row.lines.create(letter="A", days="daily", starts="05:00", station=1, run_min=5 + number, run_order=1)
    body = body_of(stop, technician_user)
    body["fields"] = {**body["fields"], "program_keyed_in": "yes", "programs": str(rows[0].pk)}

    assert post(client, body).status_code == 200

    assert [line.run_min for line in ProgramSet.objects.get().lines.all()] == [5.0]
    page = client.get(reverse("fleet:stop", args=[stop.pk])).content.decode()
    assert "Program to key in" in page
    assert "6 min" in page
