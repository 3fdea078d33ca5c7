"""Headers and cookies: on every answer, whatever answers, also where something went wrong."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, User
from sites.models import Site
from tests.fleet.access.every_address import every_address, things_of
from weather.models import Location

WANTED = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin or no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Strict-Transport-Security": "max-age=31536000; includeSubDomains; preload",
}
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def behind_tls(settings: Any) -> None:
    """The headers of an installation with ROOTROUND_HTTPS."""
    settings.SECURE_HSTS_SECONDS = 31_536_000
    settings.SECURE_HSTS_INCLUDE_SUBDOMAINS = settings.SECURE_HSTS_PRELOAD = True
    settings.SECURE_SSL_REDIRECT = True


def lacking(answer: Any) -> list[str]:
    """What an answer lacks of the headers, and what its policy allows too much."""
    policy = answer.get("Content-Security-Policy", "unsafe-")
    parts = {name: value for name, _, value in (part.strip().partition(" ") for part in policy.split(";"))}
    found = [name for name, values in WANTED.items() if answer.get(name) not in values.split(" or ")]
    shut = ("default-src", "object-src", "base-uri", "frame-ancestors")
    found += [name for name in shut if parts.get(name) != "'none'"]
    own = re.compile(r"'self'( 'nonce-[^']+')?")
    found += [name for name in ("script-src", "style-src") if not own.fullmatch(parts.get(name, ""))]
    if "unsafe-" in policy or "*" in "".join(parts.values()):
        found.append("policy too wide")
    return found


def odd_answers(client: Client, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[str, Any, int]]:
    """Answers that no page gives: name, answer, the status it must have."""
    yield "static file", client.get("/static/fleet/css/base.css", secure=True), 200
    yield "missing static file", client.get("/static/fleet/css/none.css", secure=True), 404
    yield "no such page", client.get("/nothing/here/", secure=True), 404
    yield "forbidden", client.get(reverse("fleet:people"), secure=True), 403
    yield "wrong method", client.put(reverse("fleet:week"), secure=True), 405
    yield "foreign host", client.get("/words/", secure=True, headers={"Host": "elsewhere.example"}), 400
    forger = Client(enforce_csrf_checks=True)
    yield "forged form", forger.post(reverse("login"), {"username": "hana"}, secure=True), 403
    yield "no slash", client.get("/words", secure=True), 301

    def broken(*args: object, **kwargs: object) -> None:
        raise RuntimeError

    monkeypatch.setattr("fleet.views.words.render", broken)
    yield "broken page", client.get(reverse("fleet:words"), secure=True), 500


def test_every_answer_carries_every_header(
    company: Company, dispatcher: User, technician_user: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    things = things_of(technician_user, "CB-14")
    client = Client(raise_request_exception=False)
    client.force_login(dispatcher, backend="django.contrib.auth.backends.ModelBackend")
    lacks = {}
    for address in every_address():
        if address.name.startswith("fleet:bring-"):
            continue
        words = things[address.name]
        for name, asking in (("dispatcher", client), ("visitor", Client(raise_request_exception=False))):
            if address.name == "logout":
                continue
            answer = asking.get(reverse(address.name, kwargs=words), secure=True)
            if lacking(answer):
                lacks[f"{address.name} {name}"] = lacking(answer)
    for name, answer, status in odd_answers(client, monkeypatch):
        assert answer.status_code == status, name
        if lacking(answer):
            lacks[name] = lacking(answer)

    assert lacks == {}


def test_plain_http_is_led_to_https(company: Company) -> None:
    answer = Client().get("/words/")

    assert answer.status_code == 301
    assert answer["Location"] == "https://testserver/words/"
    assert "frame-ancestors 'none'" in answer["Content-Security-Policy"]


def test_cookies_belong_to_this_host_alone_under_https() -> None:
    names = ["SESSION_COOKIE", "CSRF_COOKIE"]
    what = ["NAME", "SECURE", "HTTPONLY", "SAMESITE", "DOMAIN", "PATH"]
    say = (
        "import json; from django.conf import settings;"
        f" print(json.dumps([[getattr(settings, n + '_' + w) for w in {what}] for n in {names}]))"
    )
    environment = {"DJANGO_SETTINGS_MODULE": "fleet.config.settings", "ROOTROUND_HTTPS": "true"}

    told = subprocess.run(
        [sys.executable, "-c", say], env=environment, capture_output=True, text=True, check=True
    )

    session, form = json.loads(told.stdout)
    assert session == ["__Host-rootround", True, True, "Lax", None, "/"]
    assert form == ["__Host-rootround-form", True, True, "Lax", None, "/"]


def test_no_answer_lets_another_origin_read_it(company: Company, dispatcher: User) -> None:
    client = Client(headers={"Origin": "https://elsewhere.example"})
    client.force_login(dispatcher, backend="django.contrib.auth.backends.ModelBackend")

    for address in ("/words/", "/api/v1/openapi.json", "/static/fleet/css/base.css"):
        assert "Access-Control-Allow-Origin" not in client.get(address, secure=True)


def test_files_are_named_by_us(company: Company, dispatcher: User, technician_user: User) -> None:
    things_of(technician_user, "CB-14")
    dispatcher.role = User.Role.ADMINISTRATOR
    dispatcher.save()
    Site.objects.filter(code="CB-14").update(code='CB"; filename=evil.exe')
    client = Client()
    client.force_login(dispatcher, backend="django.contrib.auth.backends.ModelBackend")

    named = {}
    for name, words in (
        ("fleet:site-zones-csv", {"code": 'CB"; filename=evil.exe'}),
        ("fleet:customer-data", {"code": 'CB"; filename=evil.exe'}),
        ("weather:location-csv", {"pk": Location.objects.get().pk}),
    ):
        answer = client.get(reverse(name, kwargs=words), {"name": "evil.exe"}, secure=True)
        assert answer.status_code == 200, name
        named[name] = answer["Content-Disposition"]

    for told in named.values():
        assert re.fullmatch(r'attachment; filename="[\w-]+\.\w+"', told), told
