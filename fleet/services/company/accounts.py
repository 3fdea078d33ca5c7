"""Accounts of people: invited, given another role, shut and opened, their sessions ended."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.contrib.auth import SESSION_KEY
from django.contrib.auth.tokens import default_token_generator
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from fleet.models import User
from fleet.selectors.company.open_sessions import session_name
from sites.services.history import ChangeNote, record_changes


class AccountNotPossible(ValueError):
    """What was asked of an account cannot be done; the message is a sentence for the page."""


@dataclass(frozen=True, slots=True)
class Invitation:
    """The words of a link by which a person sets a password: it opens once and for a few days."""

    user_id: int
    name: str
    uid: str
    token: str


@transaction.atomic
def invite_person(
    *, username: str, first_name: str, last_name: str, role: str, by: str, at: datetime
) -> Invitation:
    """A new account without a password, and the link to set one; raises `AccountNotPossible`."""
    username = username.strip()
    try:
        UnicodeUsernameValidator()(username)
    except ValidationError as error:
        raise AccountNotPossible("Name to sign in: expected letters, digits and @ . + - _ only") from error
    if len(username) > 150 or role not in User.Role.values:
        raise AccountNotPossible("Expected a name of at most 150 letters and one of the four roles")
    if User.objects.filter(username__iexact=username).exists():
        raise AccountNotPossible(f"There is an account {username} already")
    user = User(
        username=username, first_name=first_name.strip()[:150], last_name=last_name.strip()[:150], role=role
    )
    user.set_unusable_password()
    user.save()
    _note(user, None, {"role": role, "active": True}, by, at)
    return _invitation(user)


@transaction.atomic
def reset_access(*, user_id: int, by: str, at: datetime) -> Invitation:
    """Take the password away, end all sessions, and give a new link to set one."""
    user = _account(user_id)
    user.set_unusable_password()
    user.session_epoch += 1
    user.save(update_fields=["password", "session_epoch"])
    _note(user, {"password": "set"}, {"password": "to be set anew"}, by, at)
    return _invitation(user)


@transaction.atomic
def change_role(*, user_id: int, role: str, by: str, at: datetime) -> bool:
    """Give an account another role, which ends its sessions; whether anything changed."""
    user = _account(user_id)
    if role not in User.Role.values:
        raise AccountNotPossible("Expected one of the four roles")
    if role == user.role:
        return False
    before = user.role
    _not_the_last(user)
    rights = role == User.Role.ADMINISTRATOR
    user.role, user.is_staff, user.is_superuser = role, user.is_staff and rights, user.is_superuser and rights
    user.save(update_fields=["role", "is_staff", "is_superuser"])
    _note(user, {"role": before}, {"role": role}, by, at)
    return True


@transaction.atomic
def set_account_active(*, user_id: int, is_active: bool, by: str, at: datetime) -> bool:
    """Shut an account, which ends its sessions, or open it again; whether anything changed."""
    user = _account(user_id)
    if user.is_active == is_active:
        return False
    if not is_active:
        if user.get_username() == by:
            raise AccountNotPossible("Nobody shuts the own account; another administrator can")
        _not_the_last(user)
    user.is_active, user.session_epoch = is_active, user.session_epoch + 1
    user.save(update_fields=["is_active", "session_epoch"])
    _note(user, {"active": not is_active}, {"active": is_active}, by, at)
    return True


@transaction.atomic
def end_sessions(*, user_id: int, by: str, at: datetime) -> None:
    """End all sessions of an account."""
    user = _account(user_id)
    User.objects.filter(pk=user_id).update(session_epoch=F("session_epoch") + 1)
    _note(user, {"sessions": "open"}, {"sessions": "ended"}, by, at)


@transaction.atomic
def end_chosen_sessions(*, user_id: int, names: Collection[str], at: datetime) -> int:
    """End single sessions of an account by the names that `open_sessions` gives; how many ended."""
    user = _account(user_id)
    keys = {
        row.session_key
        for row in Session.objects.filter(expire_date__gt=at)
        if session_name(row.session_key) in names and row.get_decoded().get(SESSION_KEY) == str(user_id)
    }
    Session.objects.filter(session_key__in=keys).delete()
    if keys:
        _note(user, {"sessions": "open"}, {"sessions": f"{len(keys)} ended"}, user.get_username(), at)
    return len(keys)


def throw_old_sessions(*, now: datetime) -> int:
    """Throw away sessions that have ended by their age; how many went."""
    return Session.objects.filter(expire_date__lt=now).delete()[0]


@transaction.atomic
def set_own_password(*, user_id: int, password: str, at: datetime) -> User:
    """Another password, checked by the form before; every session but the one that asks ends."""
    user = _account(user_id)
    user.set_password(password)
    user.save(update_fields=["password"])
    _note(user, {"password": "set"}, {"password": "set anew"}, user.get_username(), at)
    return user


@transaction.atomic
def set_preferences(*, user_id: int, units: str, clock_24h: bool, theme: str) -> None:
    """How a person reads numbers, times and colours; raises `AccountNotPossible`."""
    if units not in User.Units.values or theme not in ("", *User.Theme.values):
        raise AccountNotPossible("Expected one of the choices of the form")
    User.objects.filter(pk=user_id).update(units=units, clock_24h=clock_24h, theme=theme)


def _account(user_id: int) -> User:
    """The account, held until the change is written."""
    user = User.objects.select_for_update().filter(pk=user_id).first()
    if user is None:
        raise AccountNotPossible("There is no such account")
    return user


def _not_the_last(user: User) -> None:
    """Refuse what would leave the company without an administrator."""
    others = User.objects.filter(role=User.Role.ADMINISTRATOR, is_active=True).exclude(pk=user.pk)
    if user.role == User.Role.ADMINISTRATOR and not others.exists():
        raise AccountNotPossible("This is the last administrator; make another one first")


def _invitation(user: User) -> Invitation:
    """A link's words."""
    uid = urlsafe_base64_encode(force_bytes(user.pk))
    return Invitation(user.pk, str(user), uid, default_token_generator.make_token(user))


def _note(
    user: User, before: dict[str, object] | None, after: dict[str, object], by: str, at: datetime
) -> None:
    """One entry of the history."""
    note = ChangeNote("account", user.get_username(), "", before, after, thing_id=user.pk)
    record_changes(notes=[note], by=by, at=at)
