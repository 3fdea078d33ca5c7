"""Links by which a customer opens the report of one visit: signed, ending, and taken back at any time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.core import signing
from django.db import transaction
from django.db.models import F

from fleet.models import ReportLink, Visit

_SALT: Final = "fleet.visit-report"


class LinkIsOver(LookupError):
    """The link is none of ours, has ended, or was taken back; the page says the same for all three."""


@dataclass(frozen=True, slots=True)
class LinkMade:
    """A new link: its row, and the signed word that stands in its address."""

    link_id: int
    token: str
    expires_at: datetime


@transaction.atomic
def make_report_link(*, visit_id: int, days: float, by: str, now: datetime) -> LinkMade:
    """Make a link to the report of a visit; raises `LinkIsOver` where there is no such visit."""
    if not Visit.objects.filter(pk=visit_id).exists():
        raise LinkIsOver(str(visit_id))
    link = ReportLink.objects.create(
        visit_id=visit_id, made_at=now, made_by=by[:150], expires_at=now + timedelta(days=days)
    )
    return LinkMade(link.pk, token_of(link), link.expires_at)


@transaction.atomic
def revoke_report_link(*, link_id: int, now: datetime) -> bool:
    """Take a link back; whether it still opened."""
    return bool(ReportLink.objects.filter(pk=link_id, revoked_at__isnull=True).update(revoked_at=now))


@transaction.atomic
def open_report_link(*, token: str, now: datetime, counts: bool = True) -> int:
    """The visit whose report a link opens; raises `LinkIsOver`."""
    try:
        link_id = int(signing.Signer(salt=_SALT).unsign_object(token))
    except (signing.BadSignature, ValueError, TypeError) as error:
        raise LinkIsOver(token[:20]) from error
    rows = ReportLink.objects.filter(pk=link_id, revoked_at__isnull=True, expires_at__gt=now)
    visit_id = rows.values_list("visit_id", flat=True).first()
    if visit_id is None:
        raise LinkIsOver(token[:20])
    if counts:
        rows.update(opened=F("opened") + 1)
    return visit_id


def token_of(link: ReportLink) -> str:
    """The signed word of a link, always the same."""
    return signing.Signer(salt=_SALT).sign_object(link.pk)
