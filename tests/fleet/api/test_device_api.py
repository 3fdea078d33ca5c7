"""The API of devices: tokens, scopes, checks, problem details, repeats, limits; and its page."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import get_resolver, reverse
from django.urls.resolvers import URLPattern, URLResolver

from fleet.access import DEVICES, ROLES, SELF_GUARDED
from fleet.api.door import described
from fleet.models import Company, DeviceToken, User
from fleet.services.company.device_tokens import (
    CALLS_A_MINUTE,
    TokenNotPossible,
    TooManyCalls,
    UnknownToken,
    admit_call,
    create_device_token,
    revoke_device_token,
)
from sites.models import BypassLog, Change, MeterReading, MeterVolume, Site
from tests.factories import build_controller, build_site

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 15, 13, 30, tzinfo=UTC)
KINDS = ("bypass", "readings", "volumes")
LOG = {"site": "CB-14", "controller": "A", "date": "2026-06-14", "starts_scheduled": 3, "starts_bypassed": 2}
READING = {
    "site": "CB-14", "meter_id": "m1", "read_at": "2026-06-14T09:30-06:00", "reading": 120.5, "unit": "m3",
}  # fmt: skip
VOLUME = {"site": "CB-14", "start": "2026-05-01", "end": "2026-06-01", "volume": 12, "unit": "m3"}


@pytest.fixture
def garden(company: Company) -> Site:
    """A site with a governed controller."""
    site = build_site()
    build_controller(site)
    build_controller(site, "B", governed=False)
    return site


def token(kinds: tuple[str, ...] = KINDS, sites: tuple[str, ...] = ()) -> str:
    return create_device_token(name="logger", kinds=kinds, site_codes=sites, by="ada", at=NOW).secret


def send(what: str, body: object, secret: str = "", **headers: Any) -> Any:
    text = body if isinstance(body, str | bytes) else json.dumps(body)
    if secret:
        headers["HTTP_AUTHORIZATION"] = f"Bearer {secret}"
    given = {"content_type": "application/json", **headers}
    return Client(raise_request_exception=True).post(f"/api/v1/{what}", text, **given)


def problem(response: Any, status: int) -> dict[str, Any]:
    assert response.status_code == status, response.content
    assert response["Content-Type"] == "application/problem+json"
    found: dict[str, Any] = json.loads(response.content)
    assert set(found) == {"type", "title", "status", "detail", "errors"}
    assert found["status"] == status
    return found


def test_a_log_comes_in_once_however_often_it_is_sent(garden: Site) -> None:
    secret = token()

    first = send("bypass-logs", {"entries": [LOG]}, secret)
    again = send("bypass-logs", {"entries": [LOG]}, secret)
    other = send("bypass-logs", {"entries": [{**LOG, "starts_bypassed": 1}]}, secret)

    assert first.json() == {"added": 1, "changed": 0, "unchanged": 0}
    assert again.json() == {"added": 0, "changed": 0, "unchanged": 1}
    assert other.json() == {"added": 0, "changed": 1, "unchanged": 0}
    log = BypassLog.objects.get()
    assert (log.starts_scheduled, log.starts_bypassed, log.method) == (3, 1, "logger")
    garden.refresh_from_db()
    assert garden.stale_from is not None


def test_readings_and_volumes_come_in_like_their_files(garden: Site) -> None:
    secret = token()

    assert send("meter-readings", {"entries": [READING]}, secret).json()["added"] == 1
    assert send("meter-readings", {"entries": [READING]}, secret).json()["unchanged"] == 1
    assert send("meter-volumes", {"entries": [VOLUME]}, secret).json()["added"] == 1
    assert send("meter-volumes", {"entries": [VOLUME]}, secret).json()["unchanged"] == 1
    assert MeterReading.objects.get().read_at == datetime(2026, 6, 14, 15, 30, tzinfo=UTC)
    assert MeterVolume.objects.get().volume_l == 12_000


def test_one_bad_entry_and_nothing_is_written_with_every_fault_named(garden: Site) -> None:
    entries = [LOG, {**LOG, "site": "CB-99", "date": "2026-06-13"}, {**LOG, "controller": "B"},
               {**LOG, "date": "2026-06-12", "starts_bypassed": 9}]  # fmt: skip

    found = problem(send("bypass-logs", {"entries": entries}, token()), 422)

    assert [one["pointer"] for one in found["errors"]] == [
        "/entries/1/site", "/entries/2/controller", "/entries/3/starts_bypassed",
    ]  # fmt: skip
    assert "a site of the book" in found["errors"][0]["detail"]
    assert not BypassLog.objects.exists()


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"entries": [{**LOG, "starts_bypassed": True}]}, "/entries/0/starts_bypassed"),
        ({"entries": [{**LOG, "starts_bypassed": "2"}]}, "/entries/0/starts_bypassed"),
        ({"entries": [{**LOG, "starts_bypassed": 10**30}]}, "/entries/0/starts_bypassed"),
        ({"entries": [{**LOG, "starts_bypassed": 1.5}]}, "/entries/0/starts_bypassed"),
        ({"entries": [{**LOG, "colour": "red"}]}, "/entries/0/colour"),
        ({"entries": [{**LOG, "date": "9999-12-31"}]}, "/entries/0/date"),
        ({"entries": [{**LOG, "date": "0001-01-01"}]}, "/entries/0/date"),
        ({"entries": [{**LOG, "note": "\ud800"}]}, "/entries/0/note"),
        ({"entries": [{**LOG, "note": "a\x00b"}]}, "/entries/0/note"),
        ({"entries": [{**LOG, "site": "CB\ud800"}]}, "/entries/0/site"),
        ({"entries": []}, "/entries"),
        ({"entries": [LOG] * 1001}, "/entries"),
        ({}, "/entries"),
    ],
)
def test_values_out_of_bounds_are_refused_where_they_stand(garden: Site, body: object, pointer: str) -> None:
    found = problem(send("bypass-logs", body, token()), 422)

    assert found["errors"][0]["pointer"] == pointer
    assert not BypassLog.objects.exists()


@pytest.mark.parametrize(
    "moment", ["0001-01-01T00:00+23:59", "9999-12-31T23:59-23:59", "2027-01-01T00:00Z", "2026-06-14 at noon"]
)
def test_moments_that_no_clock_shows_are_refused(garden: Site, moment: str) -> None:
    found = problem(send("meter-readings", {"entries": [{**READING, "read_at": moment}]}, token()), 422)

    assert found["errors"][0]["pointer"] == "/entries/0/read_at"


@pytest.mark.parametrize(
    "text",
    [
        '{"entries": [NaN]}',
        '{"entries"',
        b"\xff\xfe",
        "[" * 100_000,
        '{"a": ' + "9" * 5_000 + "}",
        " ",
        "[]",
        "null",
    ],
    ids=["nan", "cut", "not utf-8", "deep", "long number", "empty", "list", "null"],
)
def test_what_is_no_json_is_refused(garden: Site, text: str | bytes) -> None:
    problem(send("bypass-logs", text, token()), 400)


def test_without_a_token_nothing_opens_not_even_to_an_administrator(garden: Site) -> None:
    response = send("bypass-logs", {"entries": [LOG]})
    problem(response, 401)
    assert response["WWW-Authenticate"].startswith("Bearer")
    problem(send("bypass-logs", {"entries": [LOG]}, "rr_guess"), 401)
    problem(send("bypass-logs", {"entries": [LOG]}, HTTP_AUTHORIZATION="Basic YTpi"), 401)
    admin = User.objects.create_user(username="ada", password="garden-water-42", role="administrator")
    client = Client()
    client.force_login(admin, backend="django.contrib.auth.backends.ModelBackend")
    answer = client.post("/api/v1/bypass-logs", json.dumps({"entries": [LOG]}), "application/json")
    problem(answer, 401)


def test_a_token_reaches_its_kinds_and_sites_only(garden: Site) -> None:
    build_site("CB-15")
    meters = token(kinds=("readings",))
    problem(send("bypass-logs", {"entries": [LOG]}, meters), 403)
    here = token(sites=("CB-14",))
    other = send("bypass-logs", {"entries": [LOG, {**LOG, "site": "CB-15"}]}, here)
    assert problem(other, 403)["errors"][0]["pointer"] == "/entries/1/site"
    assert not BypassLog.objects.exists()
    assert send("bypass-logs", {"entries": [LOG]}, here).status_code == 200


def test_a_token_whose_sites_are_gone_reaches_none(garden: Site) -> None:
    other = build_site("CB-15")
    secret = token(sites=("CB-15",))
    other.delete()

    problem(send("bypass-logs", {"entries": [LOG]}, secret), 403)


def test_a_revoked_token_is_turned_away(garden: Site) -> None:
    secret = token()
    pk = DeviceToken.objects.get().pk

    assert revoke_device_token(token_id=pk, by="ada", at=NOW)
    assert not revoke_device_token(token_id=pk, by="ada", at=NOW)
    problem(send("bypass-logs", {"entries": [LOG]}, secret), 401)
    assert [change.action for change in Change.objects.filter(kind="device_token")] == ["changed", "added"]


def test_a_token_has_its_share_of_a_minute() -> None:
    secret = token()
    for _ in range(CALLS_A_MINUTE):
        admit_call(secret=secret, now=NOW)

    with pytest.raises(TooManyCalls) as caught:
        admit_call(secret=secret, now=NOW + timedelta(seconds=20))
    assert caught.value.wait_s == 41
    admit_call(secret=secret, now=NOW + timedelta(seconds=60))
    found = DeviceToken.objects.get()
    assert (found.calls, found.minute_calls) == (CALLS_A_MINUTE + 1, 1)
    assert found.last_used_at == NOW + timedelta(seconds=60)


def test_too_many_calls_are_told_when_to_come_back(garden: Site) -> None:
    secret = token()
    DeviceToken.objects.update(minute_start=datetime.now(UTC), minute_calls=CALLS_A_MINUTE)

    response = send("bypass-logs", {"entries": [LOG]}, secret)

    problem(response, 429)
    assert 1 <= int(response["Retry-After"]) <= 61


def test_large_and_foreign_bodies_are_refused_unread(garden: Site) -> None:
    secret = token()
    problem(send("bypass-logs", " " * 1_000_001, secret), 413)
    problem(send("bypass-logs", "a=b", secret, content_type="application/x-www-form-urlencoded"), 415)
    assert DeviceToken.objects.get().calls == 0


def test_other_ways_and_other_addresses_have_their_problems_too() -> None:
    response = Client().get("/api/v1/bypass-logs")
    problem(response, 405)
    assert response["Allow"] == "POST"
    problem(Client().get("/api/v2/anything"), 404)
    problem(Client().post("/api/v1/openapi"), 404)


def test_the_secret_is_kept_nowhere_and_tokens_are_checked() -> None:
    secret = token()
    stored = json.dumps(list(DeviceToken.objects.values()), default=str)
    assert secret not in stored
    assert secret not in json.dumps(list(Change.objects.values()), default=str)
    for given, said in (
        ({"name": " "}, "name"),
        ({"name": "x\ny"}, "name"),
        ({"kinds": ()}, "kinds"),
        ({"kinds": ("bypass", "money")}, "kinds"),
        ({"site_codes": ("CB-404",)}, "CB-404"),
    ):
        asked: dict[str, Any] = {"name": "x", "kinds": KINDS, "site_codes": (), **given}
        with pytest.raises(TokenNotPossible, match=said):
            create_device_token(**asked, by="ada", at=NOW)
    with pytest.raises(UnknownToken):
        admit_call(secret="", now=NOW)


SignIn = Callable[[User], Client]


def test_the_page_makes_a_token_tells_it_once_and_revokes_it(garden: Site, sign_in: SignIn) -> None:
    client = sign_in(
        User.objects.create_user(username="ada", password="garden-water-42", role="administrator")
    )
    address = reverse("fleet:devices")
    assert "None yet." in client.get(address).content.decode()

    wrong = client.post(address, {"name": "<b>yard", "kinds": "bypass", "sites": "CB-404"})
    assert wrong.status_code == 422
    assert "found CB-404" in wrong.content.decode()
    assert 'value="&lt;b&gt;yard"' in wrong.content.decode()
    made = client.post(address, {"name": "<b>yard", "kinds": ["bypass", "volumes"], "sites": "CB-14, CB-14"})
    page = made.content.decode()
    secret = page[page.index("rr_") :].split("<")[0]
    assert len(secret) > 40
    assert "no-store" in made["Cache-Control"]
    assert send("bypass-logs", {"entries": [LOG]}, secret).status_code == 200

    later = client.get(address).content.decode()
    assert secret not in later
    assert "&lt;b&gt;yard" in later
    client.post(reverse("fleet:device-revoke", args=[DeviceToken.objects.get().pk]))
    problem(send("bypass-logs", {"entries": [LOG]}, secret), 401)
    assert client.post(reverse("fleet:device-revoke", args=[0])).status_code == 404


def test_only_the_administrator_sees_devices(
    company: Company, dispatcher: User, manager: User, sign_in: SignIn
) -> None:
    for user in (dispatcher, manager):
        client = sign_in(user)
        assert client.get(reverse("fleet:devices")).status_code == 403
        assert client.post(reverse("fleet:device-revoke", args=[1])).status_code == 403
    assert not DeviceToken.objects.exists()


def test_the_document_is_ours_and_complete(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    assert Client().get(reverse("api:openapi")).status_code == 302
    found = sign_in(dispatcher).get(reverse("api:openapi")).json()

    assert found == json.loads(json.dumps(described()))
    assert set(found["paths"]) == {"/api/v1/bypass-logs", "/api/v1/meter-readings", "/api/v1/meter-volumes"}
    for call in (one["post"] for one in found["paths"].values()):
        assert set(call["responses"]) == {"200", "400", "401", "403", "413", "415", "422", "429"} or set(
            map(str, call["responses"])
        ) >= {"200", "401", "422", "429"}
        assert call["security"]


def _names(patterns: list[Any], space: str = "") -> list[str]:
    found = []
    for one in patterns:
        if isinstance(one, URLResolver):
            found += _names(one.url_patterns, f"{space}{one.namespace}:" if one.namespace else space)
        elif isinstance(one, URLPattern):
            found.append(f"{space}{one.name}")
    return found


def test_every_address_stands_in_one_table_of_who_may_open_it() -> None:
    names = {name for name in _names(get_resolver().url_patterns) if not name.startswith("admin:")}

    assert names - set(ROLES) - SELF_GUARDED - DEVICES == set()
    assert set(ROLES) & DEVICES == set()
