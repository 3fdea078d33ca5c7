"""Signing in, the second factor, sessions that end, and the administrator's page of people."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fleet.calc.totp import hotp_code, totp_step
from fleet.models import AuditEntry, Company, SecondFactor, User
from fleet.services.company.second_factor import (
    MOST_FAILURES,
    ask_code,
    begin_second_factor,
    confirm_second_factor,
    secret_shown,
)
from sites.models import Change

SignIn = Callable[[User], Client]
PASSWORD = "garden-water-42"
pytestmark = pytest.mark.django_db


@pytest.fixture
def administrator(db: None) -> User:
    """Leah keeps the installation."""
    return User.objects.create_user("leah", password=PASSWORD, role=User.Role.ADMINISTRATOR)


def code_of(user: User, *, steps: int = 0) -> str:
    """What the phone shows now, or some steps later."""
    text = secret_shown(factor=SecondFactor.objects.get(user=user)).text
    secret = base64.b32decode(text + "=" * (-len(text) % 8))
    return hotp_code(secret, totp_step(timezone.now().timestamp()) + steps)


def with_factor(user: User) -> tuple[str, ...]:
    """Set the factor up; the recovery codes. The code of the step before is used up by it."""
    begin_second_factor(user_id=user.pk, at=timezone.now())
    return confirm_second_factor(user_id=user.pk, code=code_of(user, steps=-1), at=timezone.now())


def give_password(client: Client, user: User) -> Any:
    """Send the first form."""
    return client.post(reverse("login"), {"username": user.username, "password": PASSWORD, "next": "/words/"})


def is_in(client: Client) -> bool:
    """Whether a client is signed in."""
    return client.get(reverse("fleet:words")).status_code == 200


def test_without_a_second_factor_the_password_signs_in(client: Client, manager: User) -> None:
    assert give_password(client, manager)["Location"] == "/words/"
    assert is_in(client)


def test_with_one_the_password_alone_signs_nobody_in(client: Client, manager: User) -> None:
    with_factor(manager)

    answer = give_password(client, manager)

    assert answer["Location"] == reverse("login-code")
    assert not is_in(client)
    wrong = client.post(reverse("login-code"), {"code": "000000"})
    assert wrong.status_code == 422
    assert not is_in(client)
    assert client.post(reverse("login-code"), {"code": code_of(manager)})["Location"] == "/words/"
    assert is_in(client)


def test_the_code_page_opens_to_nobody_who_gave_no_password(client: Client, manager: User) -> None:
    with_factor(manager)

    assert client.get(reverse("login-code"))["Location"] == reverse("login")
    assert client.post(reverse("login-code"), {"code": code_of(manager)})["Location"] == reverse("login")
    assert not is_in(client)


@pytest.mark.parametrize("change", ["password", "shut", "factor", "late"])
def test_what_waits_for_a_code_ends_with_what_it_rests_on(
    client: Client, manager: User, change: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with_factor(manager)
    give_password(client, manager)
    code = code_of(manager)
    if change == "password":
        manager.set_password("another-long-one")
        manager.save()
    elif change == "shut":
        User.objects.update(is_active=False)
    elif change == "factor":
        SecondFactor.objects.all().delete()
    else:
        session = client.session
        session["waits_for_code"] |= {"since": (timezone.now() - timedelta(minutes=6)).isoformat()}
        session.save()

    assert client.post(reverse("login-code"), {"code": code})["Location"] == reverse("login")
    assert not is_in(client)


def test_a_code_counts_once_and_a_recovery_code_once(manager: User) -> None:
    codes, now = with_factor(manager), timezone.now()
    code = code_of(manager)

    assert ask_code(user_id=manager.pk, code=f"{code[:3]} {code[3:]}", at=now).fits
    assert not ask_code(user_id=manager.pk, code=code, at=now).fits
    recovered = ask_code(user_id=manager.pk, code=codes[0].upper(), at=now)
    assert recovered.fits
    assert recovered.was_recovery
    assert not ask_code(user_id=manager.pk, code=codes[0], at=now).fits
    kept = SecondFactor.objects.get()
    assert len(kept.recovery_hashes) == 9
    assert not set(codes) & set(kept.recovery_hashes)


def test_too_many_wrong_codes_shut_the_door_for_a_while(manager: User) -> None:
    codes, now = with_factor(manager), timezone.now()
    for _ in range(MOST_FAILURES):
        assert not ask_code(user_id=manager.pk, code="1", at=now).fits

    assert not ask_code(user_id=manager.pk, code=codes[0], at=now + timedelta(minutes=14)).fits
    assert ask_code(user_id=manager.pk, code=codes[0], at=now + timedelta(minutes=16)).fits


def test_a_stolen_row_gives_no_code_without_the_key(manager: User, settings: Any) -> None:
    with_factor(manager)
    before = code_of(manager, steps=1)
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "another key"

    assert code_of(manager, steps=1) != before
    assert ask_code(user_id=manager.pk, code=before, at=timezone.now()).fits  # by the key in use before


def test_wrong_passwords_shut_the_door_and_it_opens_after_the_pause(client: Client, manager: User) -> None:
    for _ in range(8):
        answer = client.post(reverse("login"), {"username": manager.username, "password": "wrong"})
    assert answer.status_code == 429
    assert "15 minutes" in answer.content.decode()
    assert give_password(client, manager).status_code == 429

    from axes.models import AccessAttempt

    AccessAttempt.objects.update(attempt_time=timezone.now() - timedelta(minutes=16))
    assert give_password(client, manager).status_code == 302


@pytest.mark.parametrize("do", ["role", "shut", "reset", "sessions"])
def test_sessions_end_when_the_administrator_changes_the_account(
    sign_in: SignIn, manager: User, administrator: User, do: str
) -> None:
    theirs, ours = Client(), sign_in(administrator)
    theirs.force_login(manager, backend="django.contrib.auth.backends.ModelBackend")
    assert is_in(theirs)

    ours.post(reverse("fleet:person", args=[manager.pk]), {"do": do, "role": "dispatcher"})

    assert not is_in(theirs)
    if do == "shut":
        ours.post(reverse("fleet:person", args=[manager.pk]), {"do": "open"})
        assert not is_in(theirs)  # the old session does not come back with the account
    assert Change.objects.filter(kind="account", by="leah", key=manager.username).exists()


def test_a_changed_password_ends_the_other_sessions_and_keeps_this_one(
    sign_in: SignIn, manager: User
) -> None:
    other, here = Client(), sign_in(manager)
    other.force_login(manager, backend="django.contrib.auth.backends.ModelBackend")
    form = {"old_password": PASSWORD, "new_password1": "water in the root zone", "new_password2": "water in the root zone"}  # fmt: skip # noqa: E501

    assert here.post(reverse("fleet:account-password"), form).status_code == 302
    assert is_in(here)
    assert not is_in(other)
    short = {"old_password": "water in the root zone", "new_password1": "short", "new_password2": "short"}
    assert here.post(reverse("fleet:account-password"), short).status_code == 422


def test_an_invited_person_sets_the_own_password_once(sign_in: SignIn, administrator: User) -> None:
    form = {"username": "noor", "first_name": "Noor", "last_name": "Hale", "role": "technician"}
    page = sign_in(administrator).post(reverse("fleet:people"), form).content.decode()
    link = re.findall(r"http://testserver(/invitation/[^<]+)<", page)[0]
    guest, words = Client(), "a long enough one"
    shown = guest.get(link, follow=True)

    assert "Noor Hale" in shown.content.decode()
    place = shown.redirect_chain[-1][0]
    assert guest.post(place, {"new_password1": words, "new_password2": words})["Location"] == "/sign-in/"
    guest.post(reverse("login"), {"username": "noor", "password": words})
    assert is_in(guest)
    assert "opens nothing any more" in Client().get(link, follow=True).content.decode()
    again = sign_in(administrator).post(reverse("fleet:people"), form | {"username": "NOOR"})
    assert again.status_code == 422


def test_the_company_keeps_an_administrator(sign_in: SignIn, administrator: User) -> None:
    client, place = sign_in(administrator), reverse("fleet:person", args=[administrator.pk])
    for form in ({"do": "shut"}, {"do": "role", "role": "manager"}, {"do": "nonsense"}):
        client.post(place, form)

    administrator.refresh_from_db()
    assert administrator.is_active
    assert administrator.role == User.Role.ADMINISTRATOR


def test_a_role_may_be_made_to_have_a_second_factor(
    company: Company, sign_in: SignIn, administrator: User, settings: Any
) -> None:
    settings.SECOND_FACTOR_ROLES = ["administrator"]
    client = sign_in(administrator)

    assert client.get(reverse("fleet:people"))["Location"] == reverse("fleet:account-factor")
    client.get(reverse("fleet:account-factor"))
    code = code_of(administrator)
    wrong = client.post(reverse("fleet:account-factor"), {"code": code, "password": "wrong"})
    assert wrong.status_code == 422
    page = client.post(reverse("fleet:account-factor"), {"code": code, "password": PASSWORD})
    assert page.content.decode().count('class="secret"') == 10
    assert client.get(reverse("fleet:people")).status_code == 200
    refused = client.post(reverse("fleet:account-factor"), {"password": PASSWORD})
    assert "needs a second factor" in refused.content.decode()
    assert AuditEntry.objects.filter(kind="account", what="second factor set up").count() == 1


def test_preferences_are_kept_and_nonsense_is_refused(sign_in: SignIn, technician_user: User) -> None:
    client = sign_in(technician_user)
    client.post(reverse("fleet:account"), {"units": "us", "clock": "12", "theme": "contrast"})
    client.post(reverse("fleet:account"), {"units": "cubits", "clock": "24", "theme": "plaid"})

    technician_user.refresh_from_db()
    assert (technician_user.units, technician_user.clock_24h, technician_user.theme) == (
        "us",
        False,
        "contrast",
    )
    assert 'data-chosen="contrast"' in client.get(reverse("fleet:account")).content.decode()


def test_the_account_made_on_the_command_line_is_the_administrators() -> None:
    call_command("createsuperuser", username="root", email="", interactive=False, verbosity=0)

    assert User.objects.get().role == User.Role.ADMINISTRATOR
