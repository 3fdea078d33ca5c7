"""Whoever writes the plan holds it: of two changes at the same time the second sees the first."""

from __future__ import annotations

from fleet.models import Company


def hold_plan() -> None:
    """Hold the plan until this transaction ends; others that write it wait."""
    list(Company.objects.select_for_update().values_list("pk"))
