"""Which balances are out of date, and from which day on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date

from django.db.models import Q

from sites.models import Site


def mark_sites_stale(*, since: Mapping[int, date]) -> int:
    """Number of sites newly marked: their balance is out of date from a day on; an earlier mark stays."""
    by_day: dict[date, list[int]] = defaultdict(list)
    for site_id, day in since.items():
        by_day[day].append(site_id)
    changed = 0
    for day, site_ids in by_day.items():
        changed += (
            Site.objects.filter(pk__in=site_ids)
            .filter(Q(stale_from__isnull=True) | Q(stale_from__gt=day))
            .update(stale_from=day)
        )
    return changed
