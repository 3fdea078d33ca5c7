"""Tokens of devices: made, revoked, and asked at every call, with its share of a minute."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import F, Q

from fleet.models import DeviceToken
from sites.models import Site
from sites.services.history import ChangeNote, record_changes

CALLS_A_MINUTE: Final = 60
MOST_ENTRIES: Final = 1_000  # of a call
_MINUTE: Final = timedelta(minutes=1)
_MARK: Final = "rr_"


class TokenNotPossible(ValueError):
    """A token that cannot be made; the message names the field and what was expected."""


class UnknownToken(LookupError):
    """No such token, or one that was revoked."""


class TooManyCalls(RuntimeError):
    """The token has used its share of this minute."""

    def __init__(self, wait_s: int) -> None:
        super().__init__(f"at most {CALLS_A_MINUTE} calls a minute")
        self.wait_s = wait_s


@dataclass(frozen=True, slots=True)
class NewToken:
    """A token just made; `secret` is told this once and kept nowhere."""

    pk: int
    name: str
    secret: str


@dataclass(frozen=True, slots=True)
class Device:
    """A device that may call. `sites` is None where it may report for every site."""

    pk: int
    name: str
    kinds: frozenset[str]
    sites: frozenset[str] | None


@transaction.atomic
def create_device_token(
    *, name: str, kinds: Collection[str], site_codes: Collection[str], by: str, at: datetime
) -> NewToken:
    """Make a token for a device.

    Parameters
    ----------
    name
        What the device is called.
    kinds
        What it may send; at least one.
    site_codes
        The only sites that it may report for; empty: every site.
    by, at
        Who makes it, and when.
    """
    name = name.strip()
    if not name or len(name) > 80 or not name.isprintable():
        raise TokenNotPossible("name: expected 1 to 80 characters of plain text")
    wanted = [kind for kind in DeviceToken.Kind.values if kind in kinds]
    if not wanted or len(wanted) != len(set(kinds)):
        raise TokenNotPossible("kinds: expected at least one of " + ", ".join(DeviceToken.Kind.values))
    sites = list(Site.objects.filter(code__in=set(site_codes)))
    unknown = sorted(set(site_codes) - {site.code for site in sites})
    if unknown:
        raise TokenNotPossible(f"sites: expected sites of the book, found {unknown[0]}")
    secret = _MARK + secrets.token_urlsafe(32)
    token = DeviceToken.objects.create(
        name=name,
        token_hash=_hash(secret),
        hint=secret[:8],
        kinds=";".join(wanted),
        is_limited=bool(sites),
        created_at=at,
        created_by=by[:150],
    )
    token.sites.set(sites)
    kept: dict[str, object] = {"name": name, "kinds": wanted, "sites": sorted(site.code for site in sites)}
    record_changes(notes=[ChangeNote("device_token", f"{token.pk} {name}", "", None, kept)], by=by, at=at)
    return NewToken(token.pk, name, secret)


@transaction.atomic
def revoke_device_token(*, token_id: int, by: str, at: datetime) -> bool:
    """Take a token's right to call, for good; False where it had none any more."""
    changed = DeviceToken.objects.filter(pk=token_id, revoked_at__isnull=True).update(
        revoked_at=at, revoked_by=by[:150]
    )
    if not changed:
        return False
    name = DeviceToken.objects.values_list("name", flat=True).get(pk=token_id)
    note = ChangeNote("device_token", f"{token_id} {name}", "", {"revoked": False}, {"revoked": True})
    record_changes(notes=[note], by=by, at=at)
    return True


def admit_call(*, secret: str, now: datetime) -> Device:
    """The device of a token, its call counted; raises `UnknownToken` or `TooManyCalls`.

    Parameters
    ----------
    secret
        The token as the device sent it.
    now
        The moment.
    """
    token = DeviceToken.objects.filter(token_hash=_hash(secret), revoked_at__isnull=True).first()
    if token is None:
        raise UnknownToken("no such token")
    _count(token, now)
    codes = frozenset(token.sites.values_list("code", flat=True)) if token.is_limited else None
    return Device(token.pk, token.name, frozenset(token.kind_list), codes)


def _count(token: DeviceToken, now: datetime) -> None:
    """One call more of this minute, or `TooManyCalls`."""
    own = DeviceToken.objects.filter(pk=token.pk)
    is_over = Q(minute_start__isnull=True) | Q(minute_start__lte=now - _MINUTE) | Q(minute_start__gt=now)
    used = {"last_used_at": now, "calls": F("calls") + 1}
    if own.filter(is_over).update(minute_start=now, minute_calls=1, **used):
        return
    if own.filter(minute_calls__lt=CALLS_A_MINUTE).update(minute_calls=F("minute_calls") + 1, **used):
        return
    start = token.minute_start or now
    raise TooManyCalls(max(1, int((start + _MINUTE - now).total_seconds()) + 1))


def _hash(secret: str) -> str:
    """What is kept of a token: 256 random bits need no slow hash."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()
