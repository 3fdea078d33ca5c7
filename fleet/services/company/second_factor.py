"""The second factor of an account: set up, confirmed, asked at sign-in, taken away."""

from __future__ import annotations

import base64
import hashlib
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from urllib.parse import quote, urlencode

from django.conf import settings
from django.db import transaction
from django.utils.crypto import salted_hmac

from fleet.calc.totp import step_of_code
from fleet.models import AuditEntry, SecondFactor, User
from fleet.services.company.audit import record_audit

RECOVERY_CODES: Final = 10
MOST_FAILURES: Final = 5
SHUT_FOR: Final = timedelta(minutes=15)
_SALT: Final = "fleet.second-factor"


@dataclass(frozen=True, slots=True)
class SecretShown:
    """What the phone takes in: as a line of text, and as the address that a QR code carries."""

    text: str
    address: str


@dataclass(frozen=True, slots=True)
class CodeAsked:
    """Whether a code fits, whether it was one for recovery, and until when nothing is taken."""

    fits: bool
    was_recovery: bool = False
    shut_until: datetime | None = None


def secret_shown(*, factor: SecondFactor, issuer: str = "Rootround") -> SecretShown:
    """The secret of a factor that is being set up."""
    text = base64.b32encode(next(_secrets_of(factor))).decode().rstrip("=")
    label = quote(f"{issuer}:{factor.user.get_username()}")
    return SecretShown(text, f"otpauth://totp/{label}?{urlencode({'secret': text, 'issuer': issuer})}")


@transaction.atomic
def begin_second_factor(*, user_id: int, at: datetime) -> SecondFactor:
    """The factor of an account that is being set up; one that is confirmed stays."""
    fresh = {"seed": secrets.token_hex(32), "made_at": at}
    factor, _ = SecondFactor.objects.select_related("user").get_or_create(user_id=user_id, defaults=fresh)
    return factor


@transaction.atomic
def confirm_second_factor(*, user_id: int, code: str, at: datetime) -> tuple[str, ...]:
    """Recovery codes, told this once, where the code fits; empty where it does not."""
    factor = SecondFactor.objects.filter(user_id=user_id, confirmed_at__isnull=True).first()
    if factor is None or not _take_code(factor, _plain(code), at):
        return ()
    codes = tuple(base64.b32encode(secrets.token_bytes(10)).decode().lower() for _ in range(RECOVERY_CODES))
    SecondFactor.objects.filter(pk=factor.pk).update(
        confirmed_at=at, recovery_hashes=[_hash(one) for one in codes], failures=0, shut_until=None
    )
    _note(factor.user.get_username(), "second factor set up", at)
    return codes


@transaction.atomic
def drop_second_factor(*, user_id: int, by: str, at: datetime) -> bool:
    """Take a factor away; whether there was one."""
    name = User.objects.values_list("username", flat=True).get(pk=user_id)
    gone = SecondFactor.objects.filter(user_id=user_id).delete()[0] > 0
    if gone:
        _note(by, f"second factor of {name} taken away", at)
    return gone


def has_second_factor(*, user_id: int) -> bool:
    """Whether an account is asked for a code at sign-in."""
    return SecondFactor.objects.filter(user_id=user_id, confirmed_at__isnull=False).exists()


@transaction.atomic
def ask_code(*, user_id: int, code: str, at: datetime) -> CodeAsked:
    """Take a code at sign-in, of the clock or for recovery; each once, and none while too many were wrong."""
    factor = SecondFactor.objects.select_for_update().get(user_id=user_id, confirmed_at__isnull=False)
    if factor.shut_until is not None and factor.shut_until > at:
        return CodeAsked(fits=False, shut_until=factor.shut_until)
    said = _plain(code)
    if _take_code(factor, said, at):
        SecondFactor.objects.filter(pk=factor.pk).update(failures=0, shut_until=None)
        return CodeAsked(fits=True)
    if _hash(said) in factor.recovery_hashes:
        left = [one for one in factor.recovery_hashes if one != _hash(said)]
        SecondFactor.objects.filter(pk=factor.pk).update(recovery_hashes=left, failures=0, shut_until=None)
        _note(factor.user.get_username(), f"recovery code used, {len(left)} left", at)
        return CodeAsked(fits=True, was_recovery=True)
    failures = factor.failures + 1
    shut = at + SHUT_FOR if failures >= MOST_FAILURES else None
    SecondFactor.objects.filter(pk=factor.pk).update(
        failures=0 if shut is not None else failures, shut_until=shut
    )
    return CodeAsked(fits=False, shut_until=shut)


def _take_code(factor: SecondFactor, code: str, at: datetime) -> bool:
    """Whether a code of the clock fits and was not taken before; it is taken by this."""
    for secret in _secrets_of(factor):
        step = step_of_code(secret, code, time_s=at.timestamp(), after_step=factor.last_step)
        if step is not None:
            taken = SecondFactor.objects.filter(pk=factor.pk, last_step__lt=step).update(last_step=step)
            return taken == 1
    return False


def _secrets_of(factor: SecondFactor) -> Iterator[bytes]:
    """The secret by the key in use, then by keys in use before: a stolen database alone gives none."""
    for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS):
        yield salted_hmac(_SALT, factor.seed, secret=key, algorithm="sha256").digest()[:20]


def _plain(code: str) -> str:
    """A code without what people put between its letters."""
    return "".join(code.split()).replace("-", "").lower()[:64]


def _hash(code: str) -> str:
    """What is kept of a recovery code: 80 random bits need no slow hash."""
    return hashlib.sha256(code.encode("utf-8", "replace")).hexdigest()


def _note(by: str, what: str, at: datetime) -> None:
    """One line of the audit log."""
    record_audit(by=by, what=what, at=at, kind=AuditEntry.Kind.ACCOUNT)
