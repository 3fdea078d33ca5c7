"""Devices and their tokens, as the page lists them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from fleet.models import DeviceToken


@dataclass(frozen=True, slots=True)
class TokenRow:
    """One token without its secret. `sites` is empty where it may report for every site."""

    pk: int
    name: str
    hint: str
    kinds: tuple[str, ...]
    sites: tuple[str, ...]
    is_limited: bool
    created_at: datetime
    created_by: str
    last_used_at: datetime | None
    calls: int
    revoked_at: datetime | None
    revoked_by: str


def device_tokens() -> tuple[TokenRow, ...]:
    """All tokens, those in use first, then the newest first."""
    words = dict(DeviceToken.Kind.choices)
    rows = [
        TokenRow(
            pk=token.pk,
            name=token.name,
            hint=token.hint,
            kinds=tuple(str(words.get(kind, kind)) for kind in token.kind_list),
            sites=tuple(sorted(site.code for site in token.sites.all())),
            is_limited=token.is_limited,
            created_at=token.created_at,
            created_by=token.created_by,
            last_used_at=token.last_used_at,
            calls=token.calls,
            revoked_at=token.revoked_at,
            revoked_by=token.revoked_by,
        )
        for token in DeviceToken.objects.prefetch_related("sites")
    ]
    return tuple(sorted(rows, key=lambda row: row.revoked_at is not None))
