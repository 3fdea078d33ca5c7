"""Keeps the leaks that meters show."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction

from fleet.calc.ledger.leaks import Leak, find_leaks
from fleet.models import MeterLeak
from fleet.selectors.ledger.meter_leaks import DAYS_BACK, quick_days

OPEN_DAYS = 14  # without newer reads a leak is no longer called running


@dataclass(frozen=True, slots=True)
class LeaksFound:
    """What a search found."""

    meters: int
    open: int

    def summary(self) -> str:
        """One line."""
        return f"{self.meters} meters read at least daily, {self.open} that do not stand still"


@transaction.atomic
def update_leaks(*, day: date) -> LeaksFound:
    """Search the meters that are read at least daily; twice gives the same rows.

    Leaks from before the searched days stay; one that reaches into them keeps its first day.

    Parameters
    ----------
    day
        Day before which reads count.
    """
    first = day - timedelta(days=DAYS_BACK)
    count = 0
    MeterLeak.objects.filter(until__lte=day - timedelta(days=OPEN_DAYS)).update(is_open=False)
    for meter_ids, days in quick_days(day=day):
        count += len(meter_ids)
        own = MeterLeak.objects.filter(meter_id__in=meter_ids, until__gt=first)
        earlier = {leak.meter_id: leak for leak in own.filter(since__lt=first)}
        newest = {int(m): d.item() for m, d in zip(days.meter, days.day, strict=True)}
        rows = [
            _row(leak, newest[leak.meter], earlier.get(leak.meter), first, day) for leak in find_leaks(days)
        ]
        own.delete()
        MeterLeak.objects.bulk_create(rows, batch_size=500)
    return LeaksFound(count, MeterLeak.objects.filter(is_open=True).count())


def _row(leak: Leak, newest: date, earlier: MeterLeak | None, first: date, day: date) -> MeterLeak:
    """A leak as it is kept."""
    since, until = date.fromisoformat(leak.since), date.fromisoformat(leak.until)
    litres = leak.litres
    if earlier is not None and since == first:
        litres += (since - earlier.since).days * 24.0 * leak.rate_l_h
        since = earlier.since
    still = until > newest and until > day - timedelta(days=OPEN_DAYS)
    return MeterLeak(
        meter_id=leak.meter,
        since=since,
        until=until,
        rate_l_h=round(leak.rate_l_h, 2),
        litres=round(litres, 1),
        basis=leak.basis,
        is_open=still,
    )
