"""Sessions: how long they last, where one is signed in, and ending the others."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fleet.models import Company, SecondFactor, User
from fleet.selectors.company.open_sessions import device_words, open_sessions, session_name
from fleet.services.company.accounts import throw_old_sessions
from sites.models import Change
from tests.factories import build_site

SignIn = Callable[[User], Client]
PASSWORD = "garden-water-42"
PHONE = "Mozilla/5.0 (X) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/120.0 Mobile Safari/537.36"
pytestmark = pytest.mark.django_db


def is_in(client: Client) -> bool:
    """Whether a client is signed in."""
    return client.get(reverse("fleet:words")).status_code == 200


def signed_in(user: User, agent: str = "") -> Client:
    """Another device on which a person has given the password."""
    client = Client(headers={"User-Agent": agent})
    client.post(reverse("login"), {"username": user.username, "password": PASSWORD})
    assert is_in(client)
    return client


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[timedelta], None]:
    """Moves the clock that sessions are held against."""
    start = timezone.now()

    def to(after: timedelta) -> None:
        now: datetime = start + after
        monkeypatch.setattr("fleet.session_limits.timezone.now", lambda: now)

    return to


@pytest.mark.parametrize(
    ("role", "idle_h", "stays"),
    [
        ("dispatcher", 3.9, True),
        ("dispatcher", 4.1, False),
        ("administrator", 4.1, False),
        ("technician", 30.0, True),
        ("technician", 36.1, False),
    ],
)
def test_an_idle_session_ends(clock: Any, company: Company, role: str, idle_h: float, stays: bool) -> None:
    client = signed_in(User.objects.create_user("noa", password=PASSWORD, role=role))

    clock(timedelta(hours=idle_h))

    assert is_in(client) is stays
    assert Session.objects.filter(expire_date__gt=timezone.now()).exists() is stays


def test_a_busy_session_ends_too(clock: Any, company: Company, dispatcher: User) -> None:
    client = signed_in(dispatcher)
    for hours in range(3, 16, 3):
        clock(timedelta(hours=hours))
        assert is_in(client)

    clock(timedelta(hours=16.1))

    assert not is_in(client)


def test_what_a_page_asks_by_itself_keeps_nobody_in(clock: Any, company: Company, dispatcher: User) -> None:
    client = signed_in(dispatcher)
    for hours in (1, 2, 3, 3.9):
        clock(timedelta(hours=hours))
        assert client.get(reverse("fleet:week-live")).status_code == 200

    clock(timedelta(hours=4.1))

    assert client.get(reverse("fleet:week-live")).status_code == 302


def test_the_limits_are_settings(clock: Any, company: Company, dispatcher: User, settings: Any) -> None:
    settings.IDLE_MINUTES, settings.SESSION_HOURS = 10, 1
    client = signed_in(dispatcher)
    clock(timedelta(minutes=9))
    assert is_in(client)

    clock(timedelta(minutes=20))

    assert not is_in(client)


def test_everybody_sees_the_own_sessions_and_no_others(
    company: Company, dispatcher: User, manager: User
) -> None:
    here, there = signed_in(dispatcher), signed_in(dispatcher, PHONE)
    signed_in(manager)
    key = here.session.session_key or ""

    found = open_sessions(user=dispatcher, here=key, now=timezone.now())

    assert [(one.device, one.is_here) for one in found] == [
        ("unknown device", True),
        ("Chrome on a phone", False),
    ]
    page = here.get(reverse("fleet:account")).content.decode()
    assert "Chrome on a phone" in page
    assert (there.session.session_key or "x") not in page


def test_a_single_session_is_ended_with_the_password_alone(company: Company, dispatcher: User) -> None:
    here, lost, kept = signed_in(dispatcher), signed_in(dispatcher, PHONE), signed_in(dispatcher)
    which = session_name(lost.session.session_key or "")
    address = reverse("fleet:account-sessions")

    here.post(address, {"do": "chosen", "which": which, "password": "guessed"})
    assert is_in(lost)
    here.post(address, {"do": "chosen", "which": which, "password": PASSWORD})

    assert (is_in(here), is_in(lost), is_in(kept)) == (True, False, True)
    assert Change.objects.get(kind="account").after == {"sessions": "1 ended"}


def test_all_others_end_and_a_strangers_never(company: Company, dispatcher: User, manager: User) -> None:
    here, other, ruth = signed_in(dispatcher), signed_in(dispatcher), signed_in(manager)
    address = reverse("fleet:account-sessions")
    name = session_name(ruth.session.session_key or "")

    here.post(address, {"do": "chosen", "which": name, "password": PASSWORD})
    here.post(address, {"do": "others", "password": PASSWORD})

    assert (is_in(here), is_in(other), is_in(ruth)) == (True, False, True)


def test_a_session_gets_a_new_key_at_sign_in_and_none_after_sign_out(company: Company, manager: User) -> None:
    client = Client()
    client.get(reverse("login"))
    client.post(reverse("login"), {"username": manager.username, "password": PASSWORD})
    first = client.cookies["rootround"].value
    client.post(reverse("login"), {"username": manager.username, "password": PASSWORD})
    second = client.cookies["rootround"].value

    client.post(reverse("logout"))
    client.cookies["rootround"] = second

    assert first != second
    assert len(second) == 32  # of 36 signs each: 165 bits from the system's own source
    assert not is_in(client)
    assert not Session.objects.exists()


def test_sessions_that_have_ended_are_thrown_away(company: Company, dispatcher: User) -> None:
    signed_in(dispatcher)
    ended = signed_in(dispatcher).session.session_key
    Session.objects.filter(pk=ended).update(expire_date=timezone.now() - timedelta(minutes=1))

    assert throw_old_sessions(now=timezone.now()) == 1
    assert Session.objects.count() == 1


@pytest.mark.parametrize(
    ("agent", "words"),
    [
        ("", "unknown device"),
        ("curl/8", "Computer"),
        (PHONE, "Chrome on a phone"),
        ("Mozilla/5.0 (X11) Gecko/20100101 Firefox/130.0", "Firefox on a computer"),
    ],
)
def test_a_device_is_told_in_words(agent: str, words: str) -> None:
    assert device_words(agent) == words


@pytest.mark.parametrize(
    "after", ["https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)"]
)
def test_the_sign_in_leads_nowhere_else(company: Company, manager: User, after: str) -> None:
    answer = Client().post(
        reverse("login"), {"username": manager.username, "password": PASSWORD, "next": after}
    )

    assert answer["Location"] == reverse("fleet:home")


def test_the_way_out_stands_on_every_page(company: Company, dispatcher: User, technician_user: User) -> None:
    build_site()
    for user, pages in ((dispatcher, ("week", "visits", "round", "account")), (technician_user, ("day",))):
        client = signed_in(user)
        for page in pages:
            shown = client.get(reverse(f"fleet:{page}"))
            assert shown.status_code == 200, page
            assert f'action="{reverse("logout")}"' in shown.content.decode(), page


def test_factors_change_with_the_password_alone(company: Company, manager: User) -> None:
    client = signed_in(manager)
    wanted = "another-garden-water"

    client.post(
        reverse("fleet:account-password"),
        {"old_password": "guessed", "new_password1": wanted, "new_password2": wanted},
    )
    refused = client.post(reverse("fleet:account-factor"), {"password": "guessed", "code": "000000"})

    manager.refresh_from_db()
    assert manager.check_password(PASSWORD)
    assert refused.status_code == 422
    assert not SecondFactor.objects.filter(confirmed_at__isnull=False).exists()
