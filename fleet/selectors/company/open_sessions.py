"""Where a person is signed in."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Final
from zoneinfo import ZoneInfo

from django.contrib.auth import HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.models import Session
from django.utils.crypto import constant_time_compare

from fleet.models import User
from fleet.selectors.company.company import the_company

_BROWSERS: Final = (
    ("Edg", "Edge"), ("OPR/", "Opera"), ("Firefox/", "Firefox"), ("Chrome/", "Chrome"), ("Safari/", "Safari"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class OpenSession:
    """One device on which a person is signed in; `which` names it without giving its key away."""

    which: str
    device: str
    began: datetime | None
    seen: datetime | None
    is_here: bool


def open_sessions(*, user: User, here: str, now: datetime) -> list[OpenSession]:
    """The open sessions of a person, this one (whose key is `here`) first, then the newest.

    Sessions are signed bundles, so all that have not ended are read: some hundreds in a company.
    """
    company = the_company()
    zone = ZoneInfo(company.timezone) if company else UTC
    seal, found = user.get_session_auth_hash(), []
    for row in Session.objects.filter(expire_date__gt=now):
        said = row.get_decoded()
        if said.get(SESSION_KEY) != str(user.pk) or not constant_time_compare(
            said.get(HASH_SESSION_KEY, ""), seal
        ):
            continue
        found.append(
            OpenSession(
                which=session_name(row.session_key),
                device=device_words(said.get("agent", "")),
                began=_moment(said.get("began"), zone),
                seen=_moment(said.get("seen"), zone),
                is_here=row.session_key == here,
            )
        )
    newest = datetime.min.replace(tzinfo=UTC)
    found.sort(key=lambda one: one.seen or newest, reverse=True)
    return sorted(found, key=lambda one: not one.is_here)


def session_name(key: str) -> str:
    """A session's name for forms: its key cannot be told from it."""
    return hashlib.sha256(key.encode()).hexdigest()[:24]


def device_words(agent: str) -> str:
    """What a browser says of itself, in words; `unknown device` where it says nothing."""
    browser = next((word for sign, word in _BROWSERS if sign in agent), "")
    if not agent:
        return "unknown device"
    where = "phone" if "Mobile" in agent else "computer"
    return f"{browser} on a {where}" if browser else where.capitalize()


def _moment(seconds: float | None, zone: tzinfo) -> datetime | None:
    """A time stamp as a moment of the company's clock."""
    return None if seconds is None else datetime.fromtimestamp(seconds, tz=zone)
