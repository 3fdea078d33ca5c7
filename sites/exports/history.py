"""The history of changes as rows of its export."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from typing import Final

from sites.exports.book import PRIVATE
from sites.models import Change

COLUMNS: Final = ("at", "by", "site", "kind", "key", "action", "before", "after", "reason")


def rows(
    *, start: date | None = None, end: date | None = None, private: bool = False
) -> Iterator[dict[str, object]]:
    """Changes, oldest first; contacts, access notes and gate codes in them only where private is wanted.

    Parameters
    ----------
    start, end
        First day, and the day after the last (UTC); None leaves that side open.
    private
        Whether private fields keep their values; otherwise it is only told that they changed.
    """
    changes = Change.objects.order_by("at", "id")
    if start is not None:
        changes = changes.filter(at__date__gte=start)
    if end is not None:
        changes = changes.filter(at__date__lt=end)
    fields = ("at", "by", "site_code", "kind", "key", "action", "before", "after", "reason")
    for at, by, site, kind, key, action, before, after, reason in changes.values_list(*fields).iterator():
        yield {
            "at": at.isoformat(),
            "by": by,
            "site": site,
            "kind": kind,
            "key": key,
            "action": action,
            "before": _told(before, private=private),
            "after": _told(after, private=private),
            "reason": reason,
        }


def _told(fields: dict[str, object] | None, *, private: bool) -> str:
    """Fields as JSON text, without what is private unless wanted."""
    if fields is None:
        return ""
    told = {name: value if private or name not in PRIVATE else "(private)" for name, value in fields.items()}
    return json.dumps(told, sort_keys=True, ensure_ascii=False)
