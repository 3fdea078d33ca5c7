"""Places held for customers on the phone: whose time is over is freed, before anything is planned."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from fleet.models import HeldWindow, Stop, Visit

NOT_CONFIRMED = "not_confirmed"
NOT_CONFIRMED_WORDS = "Its held hours were not confirmed in time; the next plan takes it in."


@transaction.atomic
def free_expired(*, now: datetime) -> int:
    """Give back every place whose time is over; how many."""
    return give_back(list(HeldWindow.objects.filter(expires_at__lte=now)))


def give_back(holds: list[HeldWindow]) -> int:
    """Take these holds away with their places; a visit that gave its own place up waits with that reason."""
    waiting = [hold.wanted_id for hold in holds]
    Visit.objects.filter(pk__in=[hold.place_id for hold in holds]).delete()
    served = Stop.objects.filter(visit_id__in=waiting).values("visit_id")
    Visit.objects.filter(pk__in=waiting).exclude(pk__in=served).update(
        unserved_code=NOT_CONFIRMED, unserved_reason=NOT_CONFIRMED_WORDS, unserved_change=""
    )
    return len(holds)
