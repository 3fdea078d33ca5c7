"""Clocks of gardens that were brought in before the company had one."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from django.db import transaction

from sites.models import Site
from sites.services.history import ChangeNote, record_changes

WITHOUT: Final = "UTC"
"""What a garden got for its clock while no company was founded."""


@transaction.atomic
def give_gardens_clock(*, timezone: str, by: str, at: datetime) -> int:
    """Give a clock to all gardens that have none of their own; how many there were.

    Parameters
    ----------
    timezone
        IANA name.
    by, at
        Who and when, for each garden's history.
    """
    codes = list(
        Site.objects.select_for_update()
        .filter(timezone=WITHOUT)
        .exclude(timezone=timezone)
        .values_list("code", flat=True)
    )
    Site.objects.filter(code__in=codes).update(timezone=timezone)
    before, after = {"timezone": WITHOUT}, {"timezone": timezone}
    record_changes(
        notes=[ChangeNote("site", code, code, dict(before), dict(after)) for code in codes], by=by, at=at
    )
    return len(codes)
