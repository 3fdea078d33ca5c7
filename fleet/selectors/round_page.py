"""The weekly round's page: which programs change, what is at stake, and what was decided."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q, QuerySet, Sum
from django.db.models.functions import Abs

from sites.models import Recommendation
from sites.models.choices import ProgramStatus

PAGE_SIZE: Final = 40
# Filter -> (word, condition).
FILTERS: Final[dict[str, tuple[str, Q]]] = {
    "decide": ("To decide", Q(is_change=True, status=ProgramStatus.RECOMMENDED)),
    "accepted": ("Accepted", Q(status=ProgramStatus.ACCEPTED)),
    "held": ("Held", Q(status=ProgramStatus.HELD)),
    "keyed_in": ("Keyed in", Q(status=ProgramStatus.KEYED_IN)),
    "short": ("Fall short", ~Q(binding_limit="") & Q(window_used_min__isnull=False)),
    "none": ("None possible", Q(window_used_min__isnull=True)),
    "small": ("Too small to matter", Q(is_change=False)),
}


@dataclass(frozen=True, slots=True)
class RoundTotals:
    """Sums of a week over the programs that are worth changing."""

    programs: int
    changes: int
    litres_change: float  # new less now
    dry_days_spared: float
    money: float

    @property
    def litres_saved(self) -> float:
        """Litres that the changes save; below 0 where they use more [L]."""
        return -self.litres_change


@dataclass(frozen=True, slots=True)
class Choice:
    """A filter with its count."""

    key: str
    word: str
    count: int


@dataclass(frozen=True, slots=True)
class RoundPage:
    """One page of the list. `week` is None where no round ran yet."""

    week: date | None
    totals: RoundTotals
    choices: tuple[Choice, ...]
    page: Page[Recommendation]
    most_minutes: float


def newest_week() -> date | None:
    """The newest week with a round."""
    return Recommendation.objects.order_by("-week").values_list("week", flat=True).first()


def round_page(*, week: date | None, show: str, page: int) -> RoundPage:
    """Recommendations of a week under a filter, the most water at stake first."""
    rows = Recommendation.objects.filter(week=week) if week else Recommendation.objects.none()
    counts = rows.aggregate(**{key: Count("pk", filter=condition) for key, (_, condition) in FILTERS.items()})
    shown = (
        rows.filter(FILTERS[show][1])
        .select_related("controller__site")
        .prefetch_related("lines")
        .order_by(Abs("water_at_stake_l").desc(), "controller__site__code", "controller__code")
    )
    listed = Paginator(shown, PAGE_SIZE).get_page(page)
    minutes = [value for row in listed for value in (row.minutes_now, row.minutes_new) if value is not None]
    return RoundPage(
        week=week,
        totals=_totals(rows),
        choices=tuple(Choice(key, word, counts[key]) for key, (word, _) in FILTERS.items()),
        page=listed,
        most_minutes=max(minutes, default=1.0),
    )


def _totals(rows: QuerySet[Recommendation]) -> RoundTotals:
    """Sums over the changes."""
    sums = rows.filter(is_change=True).aggregate(
        changes=Count("pk"),
        litres=Sum("water_at_stake_l"),
        dry=Sum("dry_zone_days_spared"),
        money=Sum("money_at_stake"),
    )
    return RoundTotals(
        programs=rows.count(),
        changes=sums["changes"],
        litres_change=-(sums["litres"] or 0.0),
        dry_days_spared=sums["dry"] or 0.0,
        money=sums["money"] or 0.0,
    )
