"""Accounts as the administrator sees them."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, QuerySet

from fleet.models import SecondFactor, User


def accounts() -> QuerySet[User, User]:
    """All accounts, open ones first; `has_factor` says whether a code is asked for."""
    factor = SecondFactor.objects.filter(user=OuterRef("pk"), confirmed_at__isnull=False)
    return User.objects.annotate(has_factor=Exists(factor)).order_by("-is_active", "role", "username")
